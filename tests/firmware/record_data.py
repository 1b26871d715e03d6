"""Records tests/data/firmware again: `python -m tests.firmware.record_data`; needs the compiler and emulator.

The files let decoders be tested where neither compiler nor emulator is at hand.
"""

import json
import tempfile
from pathlib import Path

from tests.firmware.emulated import ROOT, Bench

FOLDER = ROOT / "tests" / "data" / "firmware"
SCENARIO = {"rpm": 6000, "rate_error": 0.017, "amplitude": 0.5, "lag": 30, "noise": 290e-6, "seconds": 1.5}
FILES = {
    "binary_3200.stream": ("START_RATE=2",),
    "text_800.stream.csv": ("START_RATE=0", "START_TEXT=1"),
    "roll_over.stream": ("START_RATE=1", "T_HI0=0xFFF0"),
    "line_too_slow.stream": ("START_RATE=2", "BAUD=115200"),
}


def main():
    FOLDER.mkdir(exist_ok=True)
    truth = {"scenario": SCENARIO}
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        bench.build()
        for name, defines in FILES.items():
            run = bench.run(*defines, **SCENARIO)
            (FOLDER / name).write_bytes(run.sent)
            keys = ("first_sample", "sample_ticks", "made", "lost", "bytes")
            truth[name] = {"defines": defines, **{key: run.truth[key] for key in keys}}
    (FOLDER / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()

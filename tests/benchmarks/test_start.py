"""Start-up of the command line against importing numpy, as a ratio within one run."""

import subprocess
import sys

import pytest


@pytest.mark.benchmark(group="start")
def test_yardstick_import_numpy(benchmark):
    benchmark(subprocess.run, [sys.executable, "-c", "import numpy"], check=True)


@pytest.mark.benchmark(group="start")
def test_help(benchmark):
    program = "import sys; sys.argv = ['balancer', '--help']; from balancer.cli import main; main()"
    benchmark(subprocess.run, [sys.executable, "-c", program], check=True, stdout=subprocess.DEVNULL)

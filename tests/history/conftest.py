import subprocess
import sys
import time
from pathlib import Path

import pytest

from balancer.history.store import Store


class Writers:
    """Programs that write to a store, each a process of its own."""

    def __init__(self, forker):
        self._forker = forker

    def start(self, home, said, count=100_000):
        """Start one that keeps runs and says so of each in a file; gives its process id."""
        self._forker.stdin.write(f"{home}\t{said}\t{count}\n")
        self._forker.stdin.flush()
        return int(self._forker.stdout.readline())

    @staticmethod
    def wait_for_more(said, more=1):
        size = said.stat().st_size if said.exists() else 0
        latest = time.monotonic() + 60
        while not (said.exists() and said.stat().st_size >= size + more):
            assert time.monotonic() < latest, "the writer does not write"
            time.sleep(0.002)

    @staticmethod
    def wait_for_end(process):
        latest = time.monotonic() + 60
        while Path(f"/proc/{process}").exists():
            assert time.monotonic() < latest, "the writer does not end"
            time.sleep(0.002)


@pytest.fixture
def home(tmp_path):
    return tmp_path / "home"


@pytest.fixture
def store(home):
    with Store.open(home) as opened:
        yield opened


@pytest.fixture(scope="session")
def writers():
    if not Path("/proc/self").exists():
        pytest.skip("needs fork and /proc")
    command = [sys.executable, str(Path(__file__).parent / "forker.py")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as forker:
        yield Writers(forker)
        forker.stdin.close()

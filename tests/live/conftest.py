"""A simulated run as bytes, and boards on pseudo terminals: every test makes its own, with its own link."""

import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from balancer.recording.stream_writer import make_stream_packets, make_stream_text
from balancer.simulator.presets import coastal_propeller
from balancer.units import rad_s_from_rpm


@pytest.fixture(scope="session")
def fast_run():
    """3,200 samples a second of three axes, and 150 marks."""
    bench = coastal_propeller(1)
    sensor = replace(bench.sensor, rate=3200.0, bandwidth=1600.0, drop_probability=0.0)
    return replace(bench, sensor=sensor).record(speed=rad_s_from_rpm(9000), duration=8.0, seed=2)


@pytest.fixture(scope="session")
def fast_file(fast_run, tmp_path_factory):
    path = tmp_path_factory.mktemp("runs") / "fast.stream"
    path.write_bytes(make_stream_packets(fast_run))
    return path


@pytest.fixture(scope="session")
def text_file(tmp_path_factory):
    run = coastal_propeller(1).record(speed=rad_s_from_rpm(5200), duration=3.0, seed=2)
    path = tmp_path_factory.mktemp("runs") / "run.stream.csv"
    path.write_bytes(make_stream_text(run))
    return path


class Board:
    """The process that plays the board; `link` is the name of its port."""

    def __init__(self, folder, path, rate, seconds):
        pytest.importorskip("pty", reason="pseudo terminals are not to be had on this system")
        self.link = folder / f"port-{path.stem}"
        script = Path(__file__).parent / "feeder.py"
        command = [sys.executable, str(script), str(path), str(self.link), str(rate), str(seconds)]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        while not self.link.is_symlink():
            assert self._process.poll() is None

    def sent(self):
        """Wait until all is sent; give the bytes sent and those that found no room."""
        return tuple(int(number) for number in self._process.stdout.readline().split())

    def unplug(self):
        """Hang up, as when the plug is pulled."""
        self._process.stdin.close()
        self._process.wait(timeout=10)
        self._process.stdout.close()

    def kill(self):
        if self._process.poll() is None:
            self._process.kill()
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()


@pytest.fixture
def plug_in(tmp_path):
    boards = []

    def plug(path, rate, seconds, folder=tmp_path):
        boards.append(Board(folder, path, rate, seconds))
        return boards[-1]

    yield plug
    for board in boards:
        board.kill()


@pytest.fixture
def pipe():
    """Both ends of a pipe, closed afterwards."""
    ends = list(os.pipe())
    yield ends
    for end in ends:
        try:
            os.close(end)
        except OSError:
            continue


@pytest.fixture(autouse=True)
def _no_thread_is_left():
    before = threading.active_count()
    yield
    assert threading.active_count() <= before + 1  # the watcher of a pipe may still be about to end

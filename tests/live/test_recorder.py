"""The recorder: what is on the disk when, how it ends, and what it says."""

import errno
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from balancer.errors import OperationError
from balancer.live.follow import FollowedFile
from balancer.live.recorder import Plan, Recorder
from balancer.live.replay import FileSource
from balancer.live.source import ClosingSource
from balancer.procedure.measure import measure
from balancer.recording.files import read
from balancer.simulator.live_source import SimulatedSource
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.wording import recording_lines, recording_text
from tests.packets import Board, run

NOW = float("inf")
ROOT = Path(__file__).parents[2]


def at_once(path):
    return FileSource(str(path), speed=NOW)


def start(*arguments, **more):
    code = "import sys; from balancer.cli import main; sys.argv[0] = 'balancer'; main()"
    command = [sys.executable, "-c", code, "record", *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)


def wait_for(condition, seconds=20.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)


class Scripted(ClosingSource):
    """Gives pieces one after the other, then ends in some way."""

    def __init__(self, pieces, end="ended", trouble=""):
        super().__init__("scripted")
        self._pieces, self._end, self._trouble = list(pieces), end, trouble

    def read(self):
        if self._pieces:
            return self._pieces.pop(0)
        self.state, self.trouble = self._end, self._trouble
        return b""


def test_what_is_recorded_is_what_came(fast_file, tmp_path):
    out = tmp_path / "out.stream"
    with at_once(fast_file) as source:
        status = Recorder(source, out, Plan()).run()
    assert out.read_bytes() == fast_file.read_bytes()
    assert (status.state, status.error) == ("finished", "")
    assert status.samples == read(fast_file).times.size
    assert recording_lines(status)[0].startswith(f"{out}: 8.0 s, {status.samples} samples, gaps: 0")


def test_so_many_seconds_and_so_many_revolutions(fast_file, tmp_path):
    # the file holds 8 s and 1,200 revolutions: a busy machine may look late, but not so late as its end
    with FileSource(str(fast_file), speed=2) as source:
        status = Recorder(source, tmp_path / "a.stream", Plan(seconds=2.0)).run()
    assert status.state == "finished"
    assert 1.9 <= read(tmp_path / "a.stream").duration < 7.0
    with FileSource(str(fast_file), speed=2) as source:
        Recorder(source, tmp_path / "b.stream", Plan(revolutions=300)).run()
    assert 295 <= measure(read(tmp_path / "b.stream")).revolutions < 1100


@pytest.mark.parametrize("form", ["binary", "text"])
def test_when_steady_it_waits_for_the_hands_on_the_throttle(tmp_path, form):
    source = SimulatedSource(coastal_propeller(1), speed=300.0, seed=3, pace=3.0, form=form)
    seen = []

    def watch(status):
        seen.append(recording_text(status))
        if len(seen) == 1:
            source.set_speed(COASTAL_SPEED)

    out = tmp_path / "steady.stream"
    with source:
        plan = Plan(revolutions=300, band=0.02, hold=2.0)
        status = Recorder(source, out, plan, progress=watch).run()
    assert status.state == "finished"
    assert any(line.startswith("waiting for a steady speed") for line in seen)
    measured = measure(read(out))
    assert measured.revolutions >= 295
    assert measured.speed == pytest.approx(COASTAL_SPEED, rel=0.01)
    assert (measured.fastest - measured.slowest) / measured.speed < 0.04
    assert not {"packets_missing", "packets_damaged", "lines_damaged"} & {f.code for f in measured.findings}
    # the truth of the bench
    for channel, true in zip(
        measured.channels, coastal_propeller(1).truth(speed=measured.speed).vectors, strict=True
    ):
        assert abs(channel.once.value - true) < 0.05 * abs(true) + 0.02


def test_a_file_that_is_there_is_never_overwritten(fast_file, tmp_path):
    out = tmp_path / "out.stream"
    out.write_bytes(b"mine")
    with (
        at_once(fast_file) as source,
        pytest.raises(OperationError, match="there is a file of this name already"),
    ):
        Recorder(source, out, Plan())
    assert out.read_bytes() == b"mine"


class FullDisk:
    """A file on a disk with so many bytes left."""

    def __init__(self, path, room):
        self._file, self._room, self.largest = path.open("xb", buffering=0), room, 0

    def write(self, data):
        self.largest = max(self.largest, len(data))
        if not self._room:
            raise OSError(errno.ENOSPC, "No space left on device")
        done = self._file.write(bytes(data[: self._room]))
        self._room -= done
        return done

    def fileno(self):
        return self._file.fileno()

    def close(self):
        self._file.close()


def test_a_full_disk_says_what_was_kept(fast_file, tmp_path):
    out, disks = tmp_path / "out.stream", []

    def full_disk(path):
        disks.append(FullDisk(path, 50_001))
        return disks[-1]

    with FileSource(str(fast_file), speed=8) as source:
        recorder = Recorder(source, out, Plan(), open_file=full_disk)
        status = recorder.run()
    assert status.state == "failed"
    assert status.error.startswith("the disk is full: the first ")
    kept = read(out)
    assert out.stat().st_size == 50_001
    assert f"({status.samples} samples)" in status.error
    # what a write held that was cut short may be missing in the count, no more
    in_a_write = disks[0].largest * kept.times.size / out.stat().st_size
    assert 0 <= kept.times.size - status.samples <= 1.1 * in_a_write + 100


def test_a_source_that_goes_away_says_what_was_kept(tmp_path):
    data = run(Board().say_hello(), 100).data
    out = tmp_path / "out.stream"
    status = Recorder(Scripted([data], "lost", "the connection was lost"), out, Plan(seconds=60)).run()
    assert status.state == "lost"
    assert status.error == f"the connection was lost: the first 1.6 s (1600 samples) are in {out}"
    assert out.read_bytes() == data


def test_nothing_came_and_nothing_is_left_behind(tmp_path):
    status = Recorder(Scripted([]), tmp_path / "out.stream", Plan(seconds=1)).run()
    assert "nothing was kept" in status.error
    assert list(tmp_path.iterdir()) == []
    assert "nothing was recorded" in recording_lines(status)[0]


def test_the_status_file_is_whole_whenever_it_is_looked_at(fast_file, tmp_path):
    path, seen, done = tmp_path / "status.json", [], threading.Event()

    def look():
        while not done.is_set():
            if path.exists():
                seen.append(json.loads(path.read_text()))

    watcher = threading.Thread(target=look)
    watcher.start()
    with FileSource(str(fast_file), speed=4) as source:
        Recorder(source, tmp_path / "out.stream", Plan(), status=path).run()
    done.set()
    watcher.join()
    last = json.loads(path.read_text())
    assert {one["state"] for one in seen} >= {"starting", "recording"}
    assert last["state"] == "finished"
    assert last["samples"] == 25601
    assert last["speed_rpm"] == pytest.approx(9000, rel=0.01)
    assert last["steady"] is True
    assert [channel["name"] for channel in last["channels"]] == ["x", "y", "z"]
    assert last["error"] is None
    assert last["age_s"] < 2


def test_a_status_file_that_cannot_be_written_is_told_before_anything_is_recorded(fast_file, tmp_path):
    with FileSource(str(fast_file)) as source:
        recorder = Recorder(source, tmp_path / "out.stream", Plan(), status=tmp_path / "no" / "status.json")
        with pytest.raises(OperationError, match="the status file cannot be written"):
            recorder.run()


def test_a_growing_file_is_followed_through_the_decoder(fast_file, tmp_path):
    out, times = tmp_path / "out.stream", []
    with FileSource(str(fast_file), speed=8) as source:
        recorder = Recorder(source, out, Plan())
        worker = threading.Thread(target=recorder.run)
        worker.start()
        with FollowedFile(out) as followed:
            while worker.is_alive():
                times += [block.times for block in followed.read()]
                time.sleep(0.02)
            times += [block.times for block in [*followed.read(), *followed.decoder.finish()]]
        worker.join()
    assert len(times) > 5
    assert np.concatenate(times).size == read(out).times.size


def test_recording_from_a_port_until_it_is_unplugged(plug_in, fast_file, tmp_path):
    board = plug_in(fast_file, 24_300, 4.0)
    out, status = tmp_path / "out.stream", tmp_path / "status.json"
    recorder = start("--source", f"serial:{board.link}", "--out", out, "--status", status, "--json")
    sent, dropped = board.sent()
    wait_for(lambda: json.loads(status.read_text())["age_s"] > 0.3)
    board.unplug()
    printed, words = recorder.communicate(timeout=20)
    assert recorder.returncode == 1
    assert "was lost" in words.splitlines()[-1]
    assert "samples) are in" in words.splitlines()[-1]
    end = json.loads(printed)
    kept = read(out)
    assert kept.times.size == end["samples"]
    assert (sent, dropped) == (out.stat().st_size, 0)
    assert end["lost"] == end["gaps"] == 0
    assert kept.times.size > 3200 * 3.9


@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "stdin"])
def test_it_ends_cleanly_when_it_is_told_to(tmp_path, how):
    out, status = tmp_path / "out.stream", tmp_path / "status.json"
    arguments = ["--source", "simulated", "--out", out, "--status", status]
    arguments += ["--until-stdin-closes"] if how == "stdin" else []
    recorder = start(*arguments, stdin=subprocess.PIPE)
    wait_for(lambda: out.exists() and out.stat().st_size > 20_000)
    if how == "stdin":
        recorder.stdin.write('{"speed_rpm": 6000}\nnonsense\n')
        recorder.stdin.flush()
        wait_for(lambda: (json.loads(status.read_text())["speed_rpm"] or 0) > 5900)
        recorder.stdin.close()
        recorder.stdin = None
    else:
        recorder.send_signal(getattr(signal, how))
    printed, words = recorder.communicate(timeout=20)
    assert recorder.returncode == 0, words
    assert "Traceback" not in words
    assert words.startswith("Before any propeller turns:")
    assert ("does not understand 'nonsense'" in words) == (how == "stdin")
    kept = read(out)
    assert f"{kept.times.size} samples" in printed
    assert json.loads(status.read_text())["state"] == "stopped"


def killed(folder, path, times, rng):
    """Kill recorders at random moments; give for each how long ago it wrote and what its file holds, in s."""
    outs = [folder / f"kill-{k}.stream" for k in range(times)]
    command = [sys.executable, str(Path(__file__).parent / "forker.py"), str(path), *map(str, outs)]
    results = []
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    ) as forker:
        for out in outs:
            recorder = int(forker.stdout.readline())
            wait_for(lambda out=out: out.exists() and out.stat().st_size > 1000)
            time.sleep(rng.uniform(0.0, 0.7))
            os.kill(recorder, signal.SIGKILL)
            at = time.time()
            kept = read(out)
            assert path.read_bytes().startswith(out.read_bytes())
            results.append((at - out.stat().st_mtime, kept.duration))
        forker.stdin.write("end\n")
    return results


def test_a_kill_at_any_moment_leaves_a_file_that_can_be_read(fast_file, tmp_path):
    for since_write, kept in killed(tmp_path, fast_file, 10, random.Random(1)):
        assert since_write < 1.0  # what came since is all that can be lost
        assert kept > 0.1


def test_what_came_is_synchronised_within_a_second(fast_file, tmp_path, monkeypatch):
    moments = []
    monkeypatch.setattr(os, "fsync", lambda handle: moments.append(time.monotonic()))
    with FileSource(str(fast_file), speed=3) as source:
        Recorder(source, tmp_path / "out.stream", Plan()).run()
    assert np.diff(moments).max() < 1.0
    assert len(moments) >= 4

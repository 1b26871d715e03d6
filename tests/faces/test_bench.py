"""The bench of the app: the process that records, the thread that follows it, and what is cut out of it."""

import asyncio
import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from balancer.app import services
from balancer.app.bench import Bench, Wish, process
from balancer.app.bench.capture import LEVEL_LEFT, SPEED_LEFT
from balancer.app.bench.kept import kept_files
from balancer.app.bench.still import Still
from balancer.core.masses import Mass
from balancer.errors import BalancerError, InputError, OperationError
from balancer.live import ports
from balancer.procedure.measure import measure
from balancer.recording.files import read, read_bytes
from balancer.recording.stream_writer import make_stream_packets, make_stream_text
from balancer.simulator.live_source import SimulatedSource
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell, coastal_propeller
from balancer.units import rad_s_from_rpm

STAND_IN = """
import json, os, sys, time
given = dict(zip(sys.argv[1::2], sys.argv[2::2]))
kind, _, name = given["--source"].partition(":")
def status(state):
    with open(given["--status"], "w") as file:
        json.dump({"state": state, "error": None}, file)
if kind == "refused":
    print("Before any propeller turns:", "  - A caution.", name, sep="\\n", file=sys.stderr)
    sys.exit(1)
with open(given["--out"], "xb", buffering=0) as out, open(name, "rb") as data:
    while kind in ("gated", "simulated") and not os.path.exists(name + ".go"):
        time.sleep(0.01)
    if kind == "simulated":
        out.write(data.read(json.loads(sys.stdin.readline())["bytes"]))
        print("1 taken after byte", out.tell(), file=sys.stderr, flush=True)
    out.write(data.read())
status("recording")
if kind != "short":
    sys.stdin.read()
status("finished" if kind == "short" else "stopped")
"""
"""A `record` that is quick to start and copies a file all at once: `follow:FILE` and the like."""

GAPS = {"samples_lost", "packets_missing", "packets_damaged", "lines_damaged", "early_lines"}


def wait_for(condition, seconds=60.0):
    end = time.monotonic() + seconds
    while not (met := condition()):
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.03)
    return met


@pytest.fixture(autouse=True)
def _no_thread_is_left():
    yield
    assert not [thread for thread in threading.enumerate() if thread.name == "bench"]


@pytest.fixture
def bench(tmp_path):
    """A bench with the stand-in for `record`."""
    one = Bench(tmp_path, command=(sys.executable, "-S", "-c", STAND_IN))
    yield one
    one.close()


@pytest.fixture
def real(tmp_path):
    """A bench with the command itself, the simulated source and files going four times as fast."""
    one = Bench(tmp_path, extra=("--replay-speed", "4"))
    yield one
    one.close()


@pytest.fixture(scope="module")
def quiet():
    """A bench that loses nothing."""
    bench = coastal_propeller(1)
    return replace(bench, sensor=replace(bench.sensor, drop_probability=0.0))


@pytest.fixture(scope="module")
def steady_run(quiet):
    return quiet.record(speed=COASTAL_SPEED, duration=16.0, seed=2)


@pytest.fixture
def stream(tmp_path):
    """Put bytes into a file that the stand-in for `record` copies."""

    def put(data, kind="follow"):
        path = tmp_path / "device.data"
        path.write_bytes(data)
        return f"{kind}:{path}"

    return put


def changing(quiet, form, speeds):
    """A stream that goes from speed to speed, some seconds at each."""
    source = SimulatedSource(quiet, speed=speeds[0][0], seed=5, pace=float("inf"), form=form)
    data = b""
    for speed, seconds in speeds:
        source.set_speed(speed)
        data += b"".join(source.read() for _ in range(round(seconds / 0.25)))
    return data


class Taken(list):
    """What captures gave."""

    def __call__(self, name, data):
        self.append((name, data))

    def recording(self):
        return read_bytes(self[-1][1], self[-1][0])


def captured(bench, wish, then):
    bench.capture(wish, then)
    return wait_for(lambda: (view := bench.view().capture).state in ("done", "failed") and view)


def test_a_simulated_run_from_start_to_stop(real, tmp_path):
    assert real.view().state == "off"
    assert not real.view().busy
    tape = Mass(200e-6, 0.06, 1.0)
    real.start("simulated:propeller:1", masses=[tape])
    taken = Taken()
    assert captured(real, Wish("job", "as-is", revolutions=200), taken).state == "done"
    view = real.view()
    assert (view.state, view.simulated, view.trouble) == ("running", True, "")
    assert "3 axes at 1600 Hz" in view.hello
    assert view.steady
    assert view.still_for > 2.9
    assert view.age < 5
    assert view.rate == pytest.approx(1600, rel=0.01)
    compare_with_truth(taken.recording(), coastal_propeller(1), (tape,), 200)

    # tape off and another speed: what was steady before does not count
    real.tell(masses=[], speed_rpm=6000)
    assert captured(real, Wish("job", "residual", revolutions=200), taken).state == "done"
    compare_with_truth(taken.recording(), coastal_propeller(1), (), 200)
    assert measure(taken.recording()).speed == pytest.approx(rad_s_from_rpm(6000), rel=0.01)

    real.stop()
    view = real.view()
    assert (view.state, view.trouble, view.busy) == ("stopped", "", False)
    kept = read(view.file)
    assert kept.times.size == view.samples
    assert [file.path for file in real.recordings()] == [view.file]
    assert [path.name for path in (tmp_path / "live").iterdir()] == [
        view.file.name
    ]  # nothing is left beside it


def compare_with_truth(recording, bench, masses, revolutions):
    measured = measure(recording)
    assert revolutions <= measured.revolutions < revolutions + 150
    assert (measured.fastest - measured.slowest) / measured.speed < 0.03
    assert not (GAPS - {"samples_lost"}) & {
        finding.code for finding in measured.findings
    }  # this board loses some
    truth = bench.truth(speed=measured.speed, masses=masses).vectors
    for channel, true in zip(measured.channels, truth, strict=True):
        assert abs(channel.once.value - true) < 0.05 * abs(true) + 0.03


@pytest.mark.parametrize("form", [make_stream_packets, make_stream_text], ids=["binary", "text"])
def test_what_is_cut_out_is_a_whole_stream_and_agrees_with_the_run(bench, stream, steady_run, form):
    bench.start(stream(form(steady_run), "gated"))
    taken = Taken()
    wish = Wish("job", "as-is", revolutions=400)
    bench.capture(wish, taken)
    assert bench.view().capture.state == "waiting"
    open_gate(bench)
    wait_for(lambda: taken)
    name, data = taken[0]
    assert name.endswith(".stream.csv" if form is make_stream_text else ".stream")
    cut, whole = measure(read_bytes(data, name)), measure(steady_run)
    assert not GAPS & {finding.code for finding in (*read_bytes(data, name).findings, *cut.findings)}
    assert read_bytes(data, name).gaps == ()
    assert 400 <= cut.revolutions < 550
    for one, other in zip(cut.channels, whole.channels, strict=True):
        assert abs(one.once.value - other.once.value) < 0.02 * abs(other.once.value) + 0.01
    # after the header, it is what stands in the file
    assert bench.view().file.read_bytes().find(data[-1000:]) > 0


def open_gate(bench):
    source = bench.view().source.partition(":")[2]
    with open(f"{source}.go", "w"):
        pass


def test_what_came_before_a_source_could_follow_is_never_cut_out(bench, stream, quiet):
    old = changing(quiet, "binary", [(COASTAL_SPEED, 9.0)])
    new = changing(quiet, "binary", [(1.2 * COASTAL_SPEED, 9.0)])
    bench.start(stream(old + new, "simulated"))
    # the stand-in follows after so many bytes, which are all there when the wish is first looked at
    bench._follower.tell({"bytes": len(old)})
    taken = Taken()
    bench.capture(Wish("job", "trial", revolutions=100), taken)
    open_gate(bench)
    wait_for(lambda: taken)
    assert measure(taken.recording()).slowest > 1.15 * COASTAL_SPEED


@pytest.mark.parametrize("form", ["binary", "text"])
def test_it_begins_again_when_the_speed_leaves_its_band(bench, stream, quiet, form):
    speeds = [(COASTAL_SPEED, 6.0), (1.1 * COASTAL_SPEED, 12.0)]
    bench.start(stream(changing(quiet, form, speeds), "gated"))
    taken, states = Taken(), []
    bench.capture(Wish("job", "as-is", revolutions=500), taken)
    catch = bench._follower._catch
    looked = catch.look

    def look(*about):
        states.append((catch.capture.state, catch.capture.trouble))
        return looked(*about)

    catch.look = look
    open_gate(bench)
    wait_for(lambda: taken)
    order = [state for k, state in enumerate(states) if k == 0 or state != states[k - 1]]
    assert order == [("waiting", ""), ("recording", ""), ("waiting", SPEED_LEFT), ("recording", "")]
    measured = measure(taken.recording())
    assert measured.speed == pytest.approx(1.1 * COASTAL_SPEED, rel=0.01)
    assert (measured.fastest - measured.slowest) / measured.speed < 0.03


def test_without_marks_it_goes_by_the_vibration_and_by_seconds(bench, stream, quiet):
    first = quiet.record(speed=COASTAL_SPEED, duration=5.0, seed=2)
    second = quiet.record(speed=1.2 * COASTAL_SPEED, duration=9.0, seed=3)
    joined = replace(
        first,
        times=np.arange(first.times.size + second.times.size) / 1600,
        samples=np.concatenate((first.samples, 2 * second.samples), axis=1),
        marks=None,
        gaps=(),
    )
    bench.start(stream(make_stream_packets(joined), "gated"))
    taken = Taken()
    bench.capture(Wish("job", "plain", marks=False, seconds=4.0, hold=2.0), taken)
    open_gate(bench)
    wait_for(lambda: taken)
    assert bench.view().now is None
    assert bench.view().marks == 0
    recording = taken.recording()
    assert recording.marks is None or not recording.marks.size
    assert 3.5 < recording.duration < 6.0
    # not the seconds in which it changed, but those after
    level = np.sqrt(recording.samples.var(axis=1).sum())
    assert level == pytest.approx(2 * np.sqrt(second.samples.var(axis=1).sum()), rel=0.05)
    assert LEVEL_LEFT.endswith(".")


def test_a_rotor_at_rest_is_recorded_by_seconds_and_begins_again_when_it_turns(bench, stream, quiet):
    """The device counts on while the rotor stands: no marks come, and the sensor shows its noise alone."""
    run = quiet.record(speed=COASTAL_SPEED, duration=18.0, seed=2)
    noise = np.random.default_rng(1).normal(0, 0.1, run.samples.shape)
    standing = (run.times > 3.0) & (run.times < 6.0) | (run.times > 7.0)
    still = replace(
        run,
        samples=np.where(standing, noise, run.samples),
        marks=run.marks[~((run.marks > 3.0) & (run.marks < 6.0) | (run.marks > 7.0))],
    )
    bench.start(stream(make_stream_packets(still), "gated"))
    taken = Taken()
    bench.capture(Wish("job", "at rest", marks=False, hold=1.0, seconds=2.5), taken)
    open_gate(bench)
    wait_for(lambda: taken)
    recording = taken.recording()
    assert np.sqrt(recording.samples.var(axis=1)) == pytest.approx(0.1, rel=0.1)
    assert recording.duration > 2.2
    assert recording.marks is None or recording.marks.size == 0


def test_how_long_it_was_still_is_what_a_plain_search_finds():
    rng = np.random.default_rng(4)
    values = 100 + np.cumsum(rng.normal(0, 0.3, 400))
    still, begun = Still(0.02), 0
    for k, value in enumerate(values):
        still.add(0.1 * k, value)
        first = k
        while first and np.ptp(values[first - 1 : k + 1]) <= 0.02 * value:
            first -= 1
        # a band that was left stays left, though the values that left it may have come back since
        begun = max(begun, first)
        assert still.since == pytest.approx(0.1 * begun)
    still.add(0.1 * values.size + 4.0, values[-1])
    assert still.seconds == 0.0  # nothing was known in between


def test_who_needs_marks_waits_for_them(bench, stream, steady_run):
    bench.start(stream(make_stream_packets(replace(steady_run, marks=None))))
    bench.capture(Wish("job", "as-is"), Taken())
    wait_for(lambda: bench.view().samples > 25_000)
    assert bench.view().capture.state == "waiting"
    bench.stop()
    assert bench.view().capture.state == "failed"
    assert bench.view().capture.trouble == "The recording ended before this was complete."


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (InputError("this is no run", todo="look again"), "this is no run; look again."),
        (RuntimeError("oops"), "What was recorded could not be taken over (oops)."),
    ],
)
def test_what_a_taker_raises_is_kept_and_the_bench_goes_on(bench, stream, steady_run, error, sentence):
    def then(name, data):
        raise error

    bench.start(stream(make_stream_packets(steady_run), "gated"))
    bench.capture(Wish("job", "as-is", revolutions=50), then)
    open_gate(bench)
    capture = wait_for(lambda: (one := bench.view().capture).state == "failed" and one)
    assert capture.trouble == sentence
    wait_for(lambda: bench.view().samples > 25_000)
    assert bench.view().state == "running"


def test_one_wish_at_a_time_which_can_be_dropped(bench, stream, steady_run):
    with pytest.raises(OperationError, match="nothing is running"):
        bench.capture(Wish("job", "as-is"), Taken())
    bench.drop_capture()
    bench.start(stream(make_stream_packets(steady_run), "gated"))
    taken = Taken()
    bench.capture(Wish("job", "as-is"), taken)
    with pytest.raises(OperationError, match="as-is is being recorded already"):
        bench.capture(Wish("another", "trial"), Taken())
    bench.drop_capture()
    assert bench.view().capture is None
    open_gate(bench)
    wait_for(lambda: bench.view().samples > 25_000)
    assert not taken
    with pytest.raises(InputError, match="revolutions 3 is out of range"):
        Wish("job", "as-is", revolutions=3)


def test_a_source_is_lost_and_picked_up(real, steady_run):
    half = make_stream_packets(steady_run)[:100_000]
    with socket.create_server(("127.0.0.1", 0)) as board:
        source = f"socket://127.0.0.1:{board.getsockname()[1]}"
        real.start(source)
        with board.accept()[0] as connection:
            connection.sendall(half)
            wait_for(lambda: real.view().samples)
            wish = Wish("job", "as-is", revolutions=20_000)
            real.capture(wish, Taken())
        lost = wait_for(lambda: (view := real.view()).state == "lost" and view)
        assert lost.trouble.startswith(f"The connection to {source} was lost (")
        assert f"({lost.samples} samples) are in {lost.file}" in lost.trouble
        assert lost.file.read_bytes() == half
        assert lost.capture.state == "failed"
        assert lost.capture.trouble == lost.trouble
        real.pick_up()
        assert real.view().capture is None
        with board.accept()[0] as connection:
            connection.sendall(half)
            view = wait_for(lambda: (view := real.view()).samples and view)
            assert (view.state, view.source, view.trouble) == ("running", source, "")
            assert view.file != lost.file
            assert [file.path for file in real.recordings()] == [lost.file]
            real.stop()
    assert real.view().state == "stopped"
    assert [file.path for file in real.recordings()] == [view.file, lost.file]


def test_what_plainly_is_not_there_is_refused_at_once(bench, monkeypatch, tmp_path):
    monkeypatch.setattr(ports.list_ports, "comports", list)
    for source, sentence in (
        ("board:1234", "no board with the serial number 1234 is plugged in"),
        ("serial:/dev/nowhere", "/dev/nowhere: there is no such port; plug the board in."),
        (f"file:{tmp_path}/none", "there is no such file"),
        ("", "no source was named"),
    ):
        with pytest.raises(InputError, match=sentence):
            bench.start(source)
    with pytest.raises(OperationError, match="no source was used yet"):
        bench.pick_up()
    with pytest.raises(OperationError, match="no simulated bench is running"):
        bench.tell(speed_rpm=5000)
    assert bench.view().state == "off"


def test_a_port_in_use_is_told_in_a_sentence(real):
    pty = pytest.importorskip("pty", reason="pseudo terminals are not to be had on this system")
    fcntl = pytest.importorskip("fcntl")
    ends = pty.openpty()
    try:
        fcntl.flock(ends[1], fcntl.LOCK_EX)
        name = os.ttyname(ends[1])
        real.start(f"serial:{name}")
        view = wait_for(lambda: (view := real.view()).state == "lost" and view)
    finally:
        for end in ends:
            os.close(end)
    assert view.trouble == f"serial:{name}: another program uses this port; close it there."
    assert view.file is None
    assert real.recordings() == ()


def test_why_the_process_ended_is_told(bench, stream, steady_run):
    bench.start("refused:the port is made of cheese; take another.")
    view = wait_for(lambda: (view := bench.view()).state == "lost" and view)
    assert view.trouble == "The port is made of cheese; take another."
    bench.start(stream(make_stream_packets(steady_run)))
    wait_for(lambda: bench.view().samples > 25_000)
    os.kill(bench._follower.process.pid, signal.SIGTERM)
    view = wait_for(lambda: (view := bench.view()).state == "lost" and view)
    assert "ended by itself" in view.trouble
    assert "what came before is kept" in view.trouble
    bench.pick_up()
    wait_for(lambda: bench.view().samples > 25_000)
    bench.stop()
    # a file that has come to its end was not lost
    bench.start(stream(make_stream_packets(steady_run), "short"))
    view = wait_for(lambda: (view := bench.view()).state == "stopped" and view)
    assert view.trouble == ""
    assert view.samples == steady_run.times.size


def test_a_command_that_cannot_be_started_is_told(tmp_path):
    with pytest.raises(OperationError, match="the recording cannot be started"):
        Bench(tmp_path, command=(str(tmp_path / "nothing"),)).start("simulated")


def test_one_of_many_users_at_once_gets_the_source(bench, stream, steady_run):
    source = stream(make_stream_packets(steady_run))

    def start(number):
        try:
            bench.start(source)
        except OperationError as error:
            return str(error)
        return ""

    with ThreadPoolExecutor(8) as users:
        said = list(users.map(start, range(8)))
    assert sorted(said)[0] == ""
    assert sorted(said)[1:] == [f"{source} is in use; stop it first."] * 7
    with pytest.raises(OperationError, match="is in use"):
        bench.pick_up()
    assert len({id(view.file) for view in (bench.view(), bench.view())}) == 1


def test_the_newest_recordings_are_kept_and_never_one_in_use(bench, stream, steady_run, tmp_path):
    folder = tmp_path / "live"
    folder.mkdir()
    for day in range(1, 29):
        (folder / f"2025-01-{day:02}_10-00-00-aa.stream").write_bytes(b"old")
    used = folder / "2025-01-01_10-00-00-aa.stream.status.json"
    used.write_text("{}")  # by another server
    left = folder / "2025-01-01_09-00-00-aa.stream.log"  # by a server that was killed
    left.write_text("")
    os.utime(left, (0, 0))
    bench.start(stream(make_stream_packets(steady_run)))
    wait_for(lambda: bench.view().samples)
    assert [file.name[:10] for file in bench.recordings()] == [f"2025-01-{day}" for day in range(28, 9, -1)]
    assert bench.recordings()[0].started.day == 28
    assert bench.recordings()[0].size == 3
    assert used.with_name(used.name.removesuffix(".status.json")).exists()
    assert not left.exists()
    bench.stop()
    assert len(bench.recordings()) == 20


def test_a_clock_that_was_put_back_hides_no_recording(tmp_path):
    folder = tmp_path / "live"
    folder.mkdir()
    (folder / "2025-01-01_10-00-00-aa.stream").write_bytes(b"old")
    status = folder / "2025-01-01_10-00-00-aa.stream.status.json"  # left by a server that was killed
    status.write_text("{}")
    os.utime(status, (time.time() + 3600, time.time() + 3600))
    assert [file.size for file in kept_files(tmp_path)] == [3]


def test_of_recordings_of_the_same_second_the_last_comes_first(tmp_path):
    folder = tmp_path / "live"
    folder.mkdir()
    for age, name in ((30, "cc"), (10, "aa"), (20, "bb")):
        file = folder / f"2025-01-01_10-00-00-{name}.stream"
        file.write_bytes(b"old")
        os.utime(file, (1e9 - age, 1e9 - age))
    assert [file.name[-9:-7] for file in kept_files(tmp_path)] == ["aa", "bb", "cc"]


def test_a_full_disk_is_told_though_it_could_not_be_written_down(bench, stream, steady_run, monkeypatch):
    full = shutil.disk_usage("/")._replace(free=0)
    monkeypatch.setattr(process.shutil, "disk_usage", lambda path: full)
    bench.start(stream(make_stream_packets(steady_run)))
    wait_for(lambda: bench.view().samples)
    bench._follower.process._process.kill()  # its status stays "recording", with no error
    wait_for(lambda: bench.view().state == "lost")
    assert bench.view().trouble == "The disk is full, so the recording ended: make room and start it again."


def test_no_trouble_names_a_command(bench, stream):
    bench.start("refused:no board of this number is plugged in; see balancer ports.")
    wait_for(lambda: bench.view().state == "lost")
    assert bench.view().trouble == "No board of this number is plugged in; look again which ports are there."


SERVER = """
import sys, time
from pathlib import Path
from balancer.app.bench import Bench
bench = Bench(Path(sys.argv[1]), extra=("--replay-speed", "4"))
bench.start("simulated:bell:2")
while bench.view().samples < 2000:
    time.sleep(0.02)
print(bench._follower.process.pid, bench.view().file, flush=True)
time.sleep(60)
"""


def test_a_killed_server_leaves_a_whole_file_and_no_process(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", SERVER, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as server:
        recorder, file = server.stdout.readline().split()
        server.kill()
    wait_for(lambda: not running(int(recorder)))
    status = json.loads((tmp_path / "live" / f"{file}.status.json").read_text())
    assert (status["state"], status["error"]) == ("stopped", None)
    kept = read(file)
    assert kept.times.size == status["samples"] >= 2000
    assert not (GAPS - {"samples_lost"}) & {finding.code for finding in kept.findings}
    truth = coastal_bell(2).truth(speed=measure(kept).speed).vectors
    assert abs(measure(kept).channels[0].once.value - truth[0]) < 0.1 * abs(truth[0]) + 0.05


def running(pid):
    """Whether there is such a process; one that has ended and is not waited for by anybody counts as gone."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    with contextlib.suppress(OSError), open(f"/proc/{pid}/stat") as facts:
        return facts.read().rpartition(")")[2].split()[0] != "Z"
    return True


def test_one_bench_for_all_tabs_closed_when_the_server_ends(tmp_path, stream, steady_run, monkeypatch):
    monkeypatch.setattr(process, "COMMAND", (sys.executable, "-S", "-c", STAND_IN))
    with ThreadPoolExecutor(8) as tabs:
        benches = list(tabs.map(services.bench, [tmp_path] * 8))
    assert len(set(map(id, benches))) == 1
    from balancer.app.server import _lifespan, app  # noqa: PLC0415 - it makes an application at once

    benches[0]._command = process.COMMAND
    benches[0].start(stream(make_stream_packets(steady_run)))

    async def serve():
        async with _lifespan(app):
            assert benches[0].view().busy

    asyncio.run(serve())
    assert benches[0].view().state == "stopped"
    with pytest.raises(BalancerError, match="the program is ending"):
        benches[0].start("simulated")
    assert services.bench(tmp_path) is not benches[0]
    services.close_benches()

"""The reference firmware, run in an emulated ATmega328P with an injected shaft and sensor.

The truth is outside the project: the bench's analytic shaft angle and signal, on the cycle count of simavr.
What this cannot show (real noise, electrical edges, USB bridges, flashing, level shifting) stands in
firmware_notes/README.md.
"""

import hashlib
import json
import math
import re
import subprocess
import time

import numpy as np
import pytest
import serial

from balancer.procedure.measure import measure as measure_recording
from balancer.recording.files import read_bytes
from balancer.units import G_STANDARD
from tests.firmware.analyse import (
    block_ticks,
    counts,
    last_indices,
    mark_ticks,
    measure,
    unwrap,
)
from tests.firmware.decode import decode

NOISE = 290e-6  # g/sqrt(Hz): typical of the sensor class; also keeps its steps from beating with the shaft
FAST = ("START_RATE=2",)
SLOW_LINE = ("START_RATE=2", "BAUD=115200")
TEXT_800 = ("START_RATE=0", "START_TEXT=1")
UNSENT = 16  # the first block only tells the firmware the spacing
CURVE = {"rpm": 6000, "noise": NOISE}


def assert_is_the_truth(measured, amplitude=0.5, lag=30.0):
    for vector, size, angle in zip(measured.vectors[:2], (1, 0.5), (lag, lag + 90), strict=True):
        assert abs(vector) == pytest.approx(size * amplitude, rel=0.002)
        assert np.degrees(np.angle(vector)) == pytest.approx(angle, abs=0.3)
    assert measured.mean[2] == pytest.approx(1, abs=3e-3)


def assert_nothing_lost(stream):
    segment = stream.only
    assert (stream.bad, stream.seq_gaps) == (0, 0)
    assert np.all(np.diff(last_indices(segment)) == len(segment.blocks[0][3]))
    assert np.all(np.diff([m for m, _ in segment.marks]) == 1)
    assert all(status[3:] == (0, 0, 0) for status in segment.status)
    return segment


def assert_marks_on_their_tick(segment, truth):
    """Every stamp within a tick of a true edge, and no edge left out between the first and the last."""
    injected = np.array(truth["marks"])
    stamped = mark_ticks(segment)
    first = int(np.argmin(np.abs(injected - stamped[0])))
    assert np.abs(stamped - injected[first : first + stamped.size]).max() <= 1.0


@pytest.mark.parametrize("compiler", [("avr-gcc",), ("avr-g++", "-xc++")], ids=["C", "C++"])
def test_it_compiles_without_warnings_and_fits(bench, compiler):
    elf = bench.firmware(compiler=compiler)
    table = subprocess.run(["avr-size", str(elf)], capture_output=True, text=True, check=True).stdout
    code, data, bss = (int(field) for field in table.splitlines()[1].split()[:3])
    assert code + data < 8192  # of 32 kB: leaves room for a boot loader on the smaller brothers, too
    assert data + bss < 1536  # of 2 kB: the rest is the stack


@pytest.mark.parametrize(
    ("rpm", "rate_error", "defines"),
    [
        (3000, -0.03, FAST),
        (6000, 0.017, FAST),
        (9000, 0.02, FAST),
        (9000, -0.03, ()),
        (3000, 0.02, ("START_RATE=0",)),
    ],
)
def test_binary_finds_what_was_injected(bench, rpm, rate_error, defines):
    run = bench.run(*defines, rpm=rpm, rate_error=rate_error, noise=NOISE)
    segment = assert_nothing_lost(decode(run.sent))
    measured = measure(segment)
    assert measured.rate == pytest.approx(2e6 / run.truth["sample_ticks"], rel=1e-6)
    assert measured.speed == pytest.approx(rpm, rel=1e-4)
    assert_is_the_truth(measured)
    assert_marks_on_their_tick(segment, run.truth)


def test_block_stamps_belong_to_the_last_sample(bench):
    run = bench.run(*FAST, rpm=9000, rate_error=0.02, noise=NOISE)
    segment = decode(run.sent).only
    true = run.truth["first_sample"] + (UNSENT + last_indices(segment)) * run.truth["sample_ticks"]
    late = block_ticks(segment) - true
    assert late.min() > 0
    assert late.mean() < 6  # 3 us
    assert late.max() < 30  # 15 us: INT0 may have to wait for other interrupts
    assert run.truth["popped_too_soon"] == 0


def test_ramp(bench):
    run = bench.run(*FAST, rpm=6000, ramp=100, noise=NOISE)
    segment = assert_nothing_lost(decode(run.sent))
    measured = measure(segment)
    assert measured.rate == pytest.approx(3200, rel=1e-6)
    assert_is_the_truth(measured)
    assert_marks_on_their_tick(segment, run.truth)


def test_clock_rolls_over(bench):
    run = bench.run(*FAST, "T_HI0=0xFFD0", **CURVE)
    segment = assert_nothing_lost(decode(run.sent))
    assert segment.blocks[0][1] > 2**31 > segment.blocks[-1][1]
    measured = measure(segment)
    assert measured.rate == pytest.approx(3200, rel=1e-6)
    assert measured.speed == pytest.approx(6000, rel=1e-4)
    assert_is_the_truth(measured)


def test_marks_that_meet_an_overflow_of_the_timer(bench):
    """The 16-bit timer overflows each 32.768 ms; here the marks drift through that moment, a tick a turn."""
    period = 65536 / 2e6
    turn = period * (1 + 1.5e-5)
    start = bench.run(*FAST, rpm=60 / turn, seconds=0.1).truth["timer_start"] / 16e6
    meets = 60 - (start + 59 * period) / turn  # so that mark 60 comes with overflow 59
    run = bench.run(*FAST, rpm=60 / turn, start_turns=meets, noise=NOISE)
    segment = assert_nothing_lost(decode(run.sent))
    before = [tick % 65536 > 32768 for _, tick in segment.marks]
    assert 20 < sum(before) < len(before) - 20
    assert_marks_on_their_tick(segment, run.truth)


def test_line_too_slow_is_told_and_counted(bench):
    run = bench.run(*SLOW_LINE, rpm=9000, noise=NOISE)
    stream = decode(run.sent)
    segment = stream.only
    assert stream.bad == 0
    assert stream.seq_gaps > 300
    counted = [status[4] for status in segment.status]
    assert counted == segment.missing_at_status
    firsts = np.array([n0 for n0, _, _, _ in segment.blocks])
    assert np.all(np.diff(firsts) % 16 == 0)
    come = [np.count_nonzero(firsts < status[1]) for status in segment.status]
    assert counted == [status[1] // 16 - blocks for status, blocks in zip(segment.status, come, strict=True)]
    assert np.all(np.diff([m for m, _ in segment.marks]) == 1)  # marks have room of their own
    assert run.truth["lost"] == 0
    assert_is_the_truth(measure(segment))


def test_text_finds_what_was_injected(bench):
    run = bench.run(*TEXT_800, rate_error=0.017, **CURVE)
    segment = assert_nothing_lost(decode(run.sent))
    measured = measure(segment)
    assert measured.rate == pytest.approx(2e6 / run.truth["sample_ticks"], rel=1e-6)
    assert measured.speed == pytest.approx(6000, rel=1e-4)
    assert_is_the_truth(measured)
    assert_marks_on_their_tick(segment, run.truth)


def test_text_and_binary_are_the_same_numbers(bench):
    text = decode(bench.run(*TEXT_800, rate_error=0.017, **CURVE).sent).only
    binary = decode(bench.run("START_RATE=0", rate_error=0.017, **CURVE).sent).only
    said = {key: value for key, value in text.hello.items() if key != "sid"}
    assert said == {key: binary.hello[key] for key in said}
    both = min(len(counts(text)), len(counts(binary)))
    assert both > 3000
    assert np.array_equal(counts(text)[:both], counts(binary)[:both])
    difference = measure(text).vectors[:2] - measure(binary).vectors[:2]
    assert np.abs(difference).max() < 1e-4 * 0.5
    assert [tick for _, tick in text.marks[:300]] == pytest.approx(
        [tick for _, tick in binary.marks[:300]], abs=40
    )


def test_text_beyond_the_line_is_told_and_counted(bench):
    run = bench.run("START_TEXT=1", rpm=9000, noise=NOISE)
    segment = decode(run.sent).only
    index = last_indices(segment)
    lost = [status[4] for status in segment.status]
    until = [int(np.searchsorted(index, status[1])) for status in segment.status]
    assert lost[0] > 100
    assert lost == [status[1] - seen for status, seen in zip(segment.status, until, strict=True)]
    assert_is_the_truth(measure(segment))


@pytest.mark.parametrize("rate_error", [0, -0.03, -0.06])
def test_loss_inside_the_sensor_is_found_by_time_against_index(bench, rate_error):
    """A board too slow for its form: the index has no gap, the clock tells."""
    run = bench.run("START_TEXT=1", "START_RATE=2", "BAUD=1000000", rate_error=rate_error, **CURVE)
    segment = decode(run.sent).only
    index, ticks = last_indices(segment), block_ticks(segment)
    assert np.all(np.diff(index) == 1)
    assert run.truth["lost"] > 100
    assert not segment.messages  # never stuck until the once-a-second check finds it
    missing = np.diff(ticks) / run.truth["sample_ticks"] - np.diff(index)
    gaps = np.flatnonzero(np.abs(missing) > 0.5)
    true_index = (ticks - run.truth["first_sample"]) / run.truth["sample_ticks"]
    assert np.rint(missing[gaps]).sum() == np.rint(true_index[-1]) - np.rint(true_index[0]) - np.ptp(index)
    *_, (_, at, _, overruns, records_lost, _) = segment.status
    assert records_lost == 0
    assert overruns == np.count_nonzero(index[gaps] < at - 1)


def test_same_scenario_twice_is_the_same_to_the_bit(bench):
    first = bench.run(*FAST, **CURVE)
    again = bench.run_afresh(*FAST, **CURVE)
    assert hashlib.sha256(first.sent).hexdigest() == hashlib.sha256(again.sent).hexdigest()


def test_hello_on_request_and_every_five_seconds(bench):
    run = bench.run(seconds=6.5, send="0.5:?", **CURVE)
    segment = assert_nothing_lost(decode(run.sent))
    assert segment.hellos == 3  # power-up, request, five seconds
    assert len(segment.status) == 6
    assert np.diff(unwrap([status[0] for status in segment.status])) == pytest.approx(2e6, abs=2000)


def test_unknown_command_is_answered_in_words(bench):
    segment = decode(bench.run(seconds=1, send="0.5:x", **CURVE).sent).only
    assert segment.messages == ["commands: ? hello, b binary, t text, 1 2 3 = 800 1600 3200 Hz"]


def test_new_rate_is_a_new_segment(bench):
    run = bench.run(seconds=3, send=["1:1", "2:3"], **CURVE)
    stream = decode(run.sent)
    assert (stream.bad, stream.seq_gaps) == (0, 0)
    assert [segment.hello["rate_hz"] for segment in stream.segments] == [1600, 800, 3200]
    assert len({segment.hello["sid"] for segment in stream.segments}) == 3
    for segment in stream.segments:
        assert segment.blocks[0][0] == 0
        assert segment.marks[0][0] == 0
        assert measure(segment).rate == pytest.approx(segment.hello["rate_hz"], rel=1e-5)


def test_form_changes_while_running(bench):
    run = bench.run("START_RATE=0", seconds=3, send=["1:t", "2:b"], **CURVE)
    binary, text = run.sent.split(b"\n# balancer stream 1\n", 1)
    text, packets = text.rsplit(b"\n\0", 1)
    forms = [decode(binary).only, decode(b"# balancer stream 1\n" + text + b"\n").only, decode(packets).only]
    sids = [form.hello["sid"] for form in forms]
    assert sids == sorted(set(sids))
    for form in forms:
        assert np.ptp(last_indices(form)) > 500


def test_sid_differs_after_every_power_up(bench):
    first = bench.run(seconds=0.3, boots=41, **CURVE)
    second = bench.run(seconds=0.3, boots=first.truth["boots"], **CURVE)
    new = bench.run(seconds=0.3, **CURVE)
    sids = [decode(run.sent).only.hello["sid"] for run in (first, second, new)]
    assert first.truth["boots"] == 42
    assert len(set(sids)) == 3


def test_sensor_that_goes_and_comes_back_is_told(bench):
    run = bench.run(unplug_at=1.5, plug_at=2.5, **CURVE)
    segment = decode(run.sent).only
    assert any(re.match("no samples come", words) for words in segment.messages)
    flags = [flags for _, _, flags, _ in segment.blocks]
    (after,) = np.flatnonzero(flags)
    assert flags[after] == 1 + 8  # samples lost, sensor fault
    assert segment.status[-1][3] >= 1
    dt, dn = np.diff(block_ticks(segment))[after - 1], 16
    assert dt * 1600 / 2e6 - dn > 1600  # the second that is missing shows in time against index


def test_full_scale_is_flagged(bench):
    segment = decode(bench.run(seconds=1, rpm=6000, amplitude=20).sent).only
    assert {flags for _, _, flags, _ in segment.blocks} == {2}
    assert counts(segment).max() == segment.hello["full_scale"]


def test_hello_fits_its_reserved_room(bench):
    run = bench.run("START_TEXT=1", "MARK_RISING=0", seconds=0.1, boots=65533, **CURVE)
    header = run.sent[: run.sent.index(b"}\n") + 2]
    assert decode(run.sent).only.hello["mark_edge"] == "falling"
    assert len(header) < 480


def listen(link, keys):
    """Read a port to its end as a host does: whatever is there every 20 ms, until it is gone."""
    came = b""
    with serial.Serial(str(link), 500000) as port:
        port.write(keys)
        try:
            while True:
                time.sleep(0.02)
                came += port.read(port.in_waiting)
        except OSError:  # the far end is gone: unplugged
            return came


@pytest.mark.parametrize("pace", [(), ("--real-time",)], ids=["free", "real time"])
def test_through_a_terminal_to_a_serial_reader(bench, tmp_path, pace):
    link, truth = tmp_path / "port", tmp_path / "truth.json"
    command = [*bench.command(*FAST, pty=link, truth=truth, seconds=1.5, **CURVE), *pace]
    with subprocess.Popen(command) as board:
        while not link.is_symlink():
            assert board.poll() is None
            time.sleep(0.01)
        came = listen(link, b"?")
    counted = json.loads(truth.read_text())
    assert board.returncode == 0
    assert (len(came), counted["dropped"]) == (counted["bytes"], 0)
    segment = assert_nothing_lost(decode(came))
    assert segment.hellos == 2  # power-up and request
    assert_is_the_truth(measure(segment))


@pytest.mark.parametrize(
    ("defines", "scenario"),
    [
        (FAST, {"rpm": 3000, "rate_error": -0.03}),
        (FAST, {"rpm": 6000, "rate_error": 0.017}),
        (FAST, {"rpm": 9000, "rate_error": 0.02}),
        (FAST, {"rpm": 6000, "ramp": 100}),
        ((*FAST, "T_HI0=0xFFD0"), {"rpm": 6000}),
        (SLOW_LINE, {"rpm": 9000}),
        (TEXT_800, {"rpm": 6000, "rate_error": 0.017}),
    ],
    ids=["3000", "6000", "9000", "ramp", "roll-over", "slow line", "text"],
)
def test_the_program_itself_finds_what_was_injected(bench, defines, scenario):
    run = bench.run(*defines, noise=NOISE, **scenario)
    once = measure_recording(read_bytes(run.sent, "board")).channels[0].once
    assert once.amplitude / G_STANDARD == pytest.approx(0.5, rel=0.002)
    assert math.degrees(once.lag) == pytest.approx(30, abs=0.3)

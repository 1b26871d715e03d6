"""The simulated bench as a live source: a valid stream without seams, and what changes while it runs."""

import math

import numpy as np
import pytest

from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.recording.files import read_bytes
from balancer.simulator.live_source import PIECE, SimulatedSource
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller

BENCH = coastal_propeller(1)
NOW = float("inf")


def live(form="binary", speed=COASTAL_SPEED, **more):
    return SimulatedSource(BENCH, speed=speed, seed=4, pace=NOW, form=form, **more)


def seconds(source, duration):
    return b"".join(source.read() for _ in range(round(duration / PIECE)))


@pytest.mark.parametrize("form", ["binary", "text"])
def test_the_pieces_join_without_a_seam(form):
    recording = read_bytes(seconds(live(form), 6.0), "live")
    assert recording.duration == pytest.approx(6.0, abs=0.01)
    assert {gap.reason for gap in recording.gaps} <= {"index"}
    measured = measure(recording)
    assert {finding.code for finding in measured.findings} <= {
        "samples_lost",
        "marks_missed",
        "marks_doubled",
    }
    for channel, true in zip(measured.channels, BENCH.truth(speed=measured.speed).vectors, strict=True):
        # noise, and the wander of the speed on the slopes of the resonances
        assert abs(channel.once.value - true) < 0.02 * abs(true) + 0.01
    # the marks come turn after turn, over the seams too
    turns = np.diff(recording.marks) * measured.speed / 2 / math.pi
    whole = np.abs(turns - np.rint(turns)) < 0.05
    assert whole.mean() > 0.99


def test_both_forms_tell_the_same():
    binary, text = (read_bytes(seconds(live(form), 2.0), "live") for form in ("binary", "text"))
    assert np.array_equal(binary.samples, text.samples)
    assert binary.times == pytest.approx(text.times, abs=1e-6)


def test_masses_are_fitted_and_taken_off_while_it_runs():
    source = live()
    seconds(source, 1.0)
    mass = Mass(30e-6, 0.060, math.pi / 2)
    source.set_masses([mass])
    fitted = measure(read_bytes(seconds(source, 5.0), "live")).channels[0].once
    source.command(b'{"masses": []}')
    bare = measure(read_bytes(seconds(source, 5.0), "live")).channels[0].once
    true = [BENCH.truth(speed=fitted.speed, masses=m).vectors[0] for m in ((mass,), ())]
    assert [fitted.value, bare.value] == [pytest.approx(value, rel=0.03) for value in true]


def test_the_speed_follows_the_throttle_smoothly():
    source = live(speed=400.0)
    head = seconds(source, 1.0)
    source.command(b'{"speed_rpm": 5200}\n')
    recording = read_bytes(head + seconds(source, 5.0), "live")
    speeds = 2 * math.pi / np.diff(recording.marks)
    speeds = speeds[np.abs(speeds / np.median(speeds) - 0.85) < 0.3]
    assert speeds[:40].mean() == pytest.approx(400, rel=0.01)
    assert speeds[-40:].mean() == pytest.approx(COASTAL_SPEED, rel=0.01)
    assert np.abs(np.diff(speeds)).max() < 30  # no jump from turn to turn


def test_it_keeps_the_pace_of_a_clock():
    now = [0.0]
    source = SimulatedSource(
        BENCH, speed=COASTAL_SPEED, now=lambda: now[0], sleep=lambda s: now.__setitem__(0, now[0] + s)
    )
    data = b""
    while now[0] < 3.0:
        data += source.read()
    assert read_bytes(data, "live").duration == pytest.approx(3.0, abs=0.06)


def test_the_hello_comes_when_asked_for():
    source = live("text")
    seconds(source, 1.0)
    assert b"# balancer stream 1" not in seconds(source, 1.0)
    source.command(b"?")
    assert seconds(source, 0.25).startswith(b"# balancer stream 1")


@pytest.mark.parametrize(
    "line",
    [b"faster", b"{}x", b"[1]", b'{"speed": 5}', b'{"masses": [{"mass_g": 1}]}', b'{"speed_rpm": "fast"}'],
)
def test_commands_that_are_not_understood_say_what_is(line):
    with pytest.raises(InputError, match="the simulated bench does not understand"):
        live().command(line)


@pytest.mark.parametrize("rpm", [0, 1e9])
def test_impossible_speeds_are_refused(rpm):
    with pytest.raises(InputError, match="300 to 30,000 rpm"):
        live().command(f'{{"speed_rpm": {rpm}}}'.encode())

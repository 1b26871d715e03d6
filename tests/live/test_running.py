"""The running 1x vector against the bench's truth, and against measuring the whole recording."""

import math

import numpy as np
import pytest

from balancer.live.decoder import StreamDecoder
from balancer.live.running import MOST_BLOCKS, REPORT_EVERY, RunningOrders
from balancer.live.segment import DecodedBlock
from balancer.procedure.measure import measure
from balancer.recording.hello import Hello
from balancer.recording.stream_writer import make_stream_packets
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from tests.packets import HELLO
from tests.synthetic import WanderingShaft, orders_signal

AXES = Hello(**HELLO | {"axes": ("x", "y")})


def decoded(recording, piece=250):
    data, decoder = make_stream_packets(recording), StreamDecoder()
    for start in range(0, len(data), piece):
        yield from decoder.feed(data[start : start + piece])


def blocks_of(
    shaft, vectors, duration, *, rate=1600.0, noise=0.0, every=0.02, places=(0.0,), hello=AXES, seed=1
):
    """Samples and marks of a made-up run, cut as a decoder would."""
    rng = np.random.default_rng(seed)
    times = np.arange(round(duration * rate)) / rate
    samples = orders_signal(shaft.turns(times), vectors) + noise * rng.standard_normal((2, times.size))
    marks = shaft.marks(duration, places)
    for start in np.arange(0, duration, every):
        at = (times >= start) & (times < start + every)
        seen = (marks >= start) & (marks < start + every)
        yield DecodedBlock(0, hello, times[at], samples[:, at], marks[seen], ())


def feed(running, blocks):
    return [result for block in blocks if (result := running.add(block)) is not None]


VECTORS = {1: np.array([2.0 * np.exp(0.7j), 0.3 * np.exp(-2j)]), 2: np.array([0.8, 0.5j])}


def test_a_made_up_run_gives_the_vectors_that_are_in_it():
    shaft = WanderingShaft.of(np.random.default_rng(3), 5200, wander=0.003)
    running = RunningOrders()
    results = feed(running, blocks_of(shaft, VECTORS, 6.0))
    for vectors in (running.latest.recent, running.latest.whole):
        assert [v.value for v in vectors] == pytest.approx(VECTORS[1].tolist(), rel=1e-4)
    assert running.latest.speed == pytest.approx(2 * math.pi * shaft.speed(np.array([5.9]))[0], rel=2e-3)
    # new values at least five times a second, each soon after its samples came
    steps = np.diff([result.time for result in results])
    assert steps.max() < 0.2
    assert steps.min() >= REPORT_EVERY - 1e-9


def test_the_uncertainty_is_that_of_the_noise():
    shaft = WanderingShaft(90.0)
    off, claimed = [], []
    for seed in range(20):
        running = RunningOrders(window=2.0)
        feed(running, blocks_of(shaft, VECTORS, 4.0, noise=0.5, seed=seed))
        vector = running.latest.recent[0]
        off.append(vector.value - VECTORS[1][0])
        claimed.append(vector.covariance.radius)
    # least squares in white noise: sd of a component is noise sqrt(2 / samples)
    theory = 0.5 * math.sqrt(2 / (2.0 * 1600))
    assert np.std(np.real(off)) == pytest.approx(theory, rel=0.35)
    assert np.median(claimed) == pytest.approx(theory, rel=0.5)


def test_the_whole_run_agrees_with_measuring_the_recording():
    recording = coastal_propeller(1).record(speed=COASTAL_SPEED, duration=12.0, seed=5)
    running = RunningOrders()
    feed(running, decoded(recording))
    for live, channel in zip(running.latest.whole, measure(recording).channels, strict=True):
        assert abs(live.value - channel.once.value) < channel.once.covariance.radius
        assert live.covariance.radius == pytest.approx(channel.once.covariance.radius, rel=0.5)
    assert running.latest.revolutions == pytest.approx(12 * COASTAL_SPEED / 2 / math.pi, abs=20)


def test_the_window_follows_and_the_whole_run_can_begin_anew():
    shaft, louder = WanderingShaft(90.0), {1: 3 * VECTORS[1]}
    running = RunningOrders(window=1.0)
    feed(running, blocks_of(shaft, VECTORS, 3.0))
    later = [
        DecodedBlock(0, AXES, b.times + 3.0, b.samples, b.marks + 3.0, ())
        for b in blocks_of(shaft, louder, 3.0)
    ]
    running.restart(3.5)
    feed(running, later)
    assert running.latest.recent[0].value == pytest.approx(3 * VECTORS[1][0], rel=1e-6)
    assert running.latest.whole[0].value == pytest.approx(3 * VECTORS[1][0], rel=1e-6)
    assert running.latest.revolutions == pytest.approx(2.5 * 90, abs=12)


def test_steadiness_tells_a_ramp_from_a_held_throttle():
    bench = coastal_propeller(1)
    ramp = bench.record(speed=Motion.ramp(400.0, COASTAL_SPEED, 0.0, 3.0), duration=8.0, seed=5)
    running = RunningOrders(window=2.0)
    steady = {round(r.time, 1): r.is_steady(0.02, 2.0) for r in feed(running, decoded(ramp))}
    assert not any(value for time, value in steady.items() if time < 4.5)
    assert steady[max(steady)]


def test_memory_stays_the_same_however_long_it_lasts():
    running = RunningOrders(window=1.0)
    shaft = WanderingShaft(90.0)
    minute = list(blocks_of(shaft, VECTORS, 20.0, every=0.5))
    for k in range(9):
        feed(
            running,
            [DecodedBlock(0, AXES, b.times + 20.0 * k, b.samples, b.marks + 20.0 * k, ()) for b in minute],
        )
        assert len(running._whole) < MOST_BLOCKS
        assert running._times.size < 2000
        assert running._marks.size < 200
    assert running.latest.revolutions == pytest.approx(180 * 90, abs=10)
    assert running.latest.whole[0].value == pytest.approx(VECTORS[1][0], rel=1e-3)


def test_missed_and_double_marks_are_mended_on_the_way():
    shaft = WanderingShaft(90.0)
    running = RunningOrders()
    for k, block in enumerate(blocks_of(shaft, VECTORS, 6.0)):
        marks = block.marks
        if k % 25 == 10:
            marks = marks[1:]
        if k % 40 == 20:
            marks = np.sort(np.concatenate((marks, marks[:1] + 5e-4)))
        running.add(DecodedBlock(0, AXES, block.times, block.samples, marks, ()))
    assert running.latest.whole[0].value == pytest.approx(VECTORS[1][0], rel=1e-3)


def test_three_marks_a_turn_keep_one_angle_zero():
    places = (0.0, 0.30, 0.62)  # the widest space, 0.38, is before the mark at 0
    shaft = WanderingShaft.of(np.random.default_rng(3), 5200, wander=0.002)
    hello = Hello(**HELLO | {"axes": ("x", "y"), "marks_per_rev": 3})
    running = RunningOrders()
    feed(running, blocks_of(shaft, VECTORS, 6.0, places=places, hello=hello))
    assert running.latest.whole[0].value == pytest.approx(VECTORS[1][0], rel=2e-3)


def test_a_restart_of_the_board_is_bridged_by_the_mark():
    shaft = WanderingShaft(90.0)
    running = RunningOrders()
    feed(running, blocks_of(shaft, VECTORS, 3.0))
    again = (
        DecodedBlock(1, AXES, b.times, b.samples, b.marks, ())
        for b in blocks_of(WanderingShaft(90.0), VECTORS, 3.0)
    )
    feed(running, again)
    assert running.latest.whole[0].value == pytest.approx(VECTORS[1][0], rel=1e-6)
    assert running.latest.revolutions == pytest.approx(6 * 90, abs=20)


@pytest.mark.parametrize("marks", [0, 2])
def test_without_marks_there_is_nothing(marks):
    running = RunningOrders()
    for block in blocks_of(WanderingShaft(90.0), VECTORS, 15.0, every=0.5):
        kept = block.marks[:marks] if block.times[0] == 0 else block.marks[:0]
        assert running.add(DecodedBlock(0, AXES, block.times, block.samples, kept, ())) is None
    assert running._times.size <= 16_000

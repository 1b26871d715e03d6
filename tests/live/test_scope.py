"""What is shown of a running rotor, against numpy, scipy and signals whose truth is known."""

from __future__ import annotations

import threading
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal

from balancer.core.marks import mend_marks
from balancer.core.orders import fit_orders
from balancer.core.shaft import shaft_turns
from balancer.live.scope import SPAN, Scope
from balancer.live.segment import DecodedBlock
from balancer.recording.hello import Hello

RATE = 3200.0
HELLO = Hello(1, ("x", "y", "z"), "m/s^2", 0.001, RATE, 1e6, 32, 1, "crc16")
HZ = 86.7
VECTORS = np.array([5.0 * np.exp(1.2j), 0.8 * np.exp(-2.0j), 0.1 * np.exp(3.0j)])


def turning(seconds, hz=lambda t: HZ + 0 * t):
    """Times of the samples, the shaft at each in turns, and the times of whole turns."""
    fine = np.arange(0, seconds + 0.5, 1e-4)
    turns = np.concatenate(([0.0], np.cumsum(hz(fine)[:-1]) * 1e-4))
    times = np.arange(int(seconds * RATE)) / RATE
    marks = np.interp(np.arange(int(turns[-1])) + 0.0, turns, fine)
    return times, np.interp(times, fine, turns), marks[marks < seconds]


def once_per_turn(turns, noise=0.0, seed=1):
    """Three axes: A cos(shaft - lag), half of it twice per turn, and gravity on y."""
    shaft = 2 * np.pi * turns
    wave = np.real(np.conj(VECTORS)[:, np.newaxis] * np.exp(1j * shaft))
    more = 0.5 * np.abs(VECTORS)[:, np.newaxis] * np.cos(2 * shaft)
    random = noise * np.random.default_rng(seed).standard_normal((3, turns.size))
    return wave + more + random + np.array([[0.3], [-9.81], [0.5]])


def feed(scope, times, samples, marks, *, pieces=15.0, looks=True, segment=0, hello=HELLO):
    """Hand it over as a follower does, in pieces a second, with a look at each."""
    frames = []
    edges = np.append(np.arange(0, times[-1], 1 / pieces), np.inf)
    for start, end in pairwise(edges):
        part = slice(*np.searchsorted(times, (start, end)))
        some = marks[(marks >= start) & (marks < end)]
        scope.add(DecodedBlock(segment, hello, times[part], samples[:, part], some, ()))
        if looks:
            frames.append(scope.frame())
    return frames or [scope.frame()]


@pytest.fixture(scope="module")
def steady():
    times, turns, marks = turning(8.0)
    samples = once_per_turn(turns, noise=0.2)
    return times, turns, marks, samples, feed(Scope(), times, samples, marks)


def test_level_is_the_standard_deviation_over_the_last_second(steady):
    times, _, _, samples, frames = steady
    last = samples[:, times >= times[-1] - 1.0]
    assert frames[-1].rms == pytest.approx(np.std(last, axis=1), rel=1e-12)
    # of two sines of A and A/2: A sqrt(5/8)
    assert frames[-1].rms[0] == pytest.approx(np.sqrt(25 * 5 / 8 + 0.2**2), rel=0.01)


def test_vector_and_speed_are_the_truth_and_agree_with_the_fit_over_the_recording(steady):
    times, _, marks, samples, frames = steady
    frame = frames[-1]
    assert frame.speed == pytest.approx(2 * np.pi * HZ, rel=1e-4)
    assert frame.cloud.mean == pytest.approx(VECTORS, abs=0.01)
    assert frame.now == pytest.approx(VECTORS, abs=0.03)
    part = times >= times[-1] - SPAN
    mended = mend_marks(marks[marks >= times[part][0]])
    fit = fit_orders(shaft_turns(times[part], mended), times[part], samples[:, part], (1, 2, 3))
    assert frame.cloud.mean == pytest.approx(fit.vectors[:, 0], abs=0.006)


def test_scatter_of_the_cloud_is_that_of_least_squares_in_white_noise():
    # variance of each component of a sine fitted to N samples in white noise: 2 sigma^2 / N (common practice)
    times, turns, marks = turning(20.0)
    samples = once_per_turn(turns, noise=1.0)
    frames = feed(Scope(), times, samples, marks, pieces=1.0)
    spreads = [f.cloud.sd_amplitude for f in frames[5::5]]
    expected = np.sqrt(2 / (0.25 * RATE))
    assert np.mean(spreads) == pytest.approx(expected, rel=0.1)  # of nine estimates from 20 each: about 5 %
    frame = frames[-1]
    assert frame.cloud.sd_lag[1] == pytest.approx(expected / 0.8, rel=0.5)
    assert frame.cloud.vectors.shape[1] == pytest.approx(SPAN / 0.25, abs=2)
    assert frame.cloud.ages[0] <= SPAN


@pytest.mark.parametrize("order", [1.0, 2.0, 3.37, 5.4999])
def test_a_sine_of_amplitude_a_shows_a_in_the_spectrum_by_order(order):
    times, turns, marks = turning(6.0, lambda t: 80 + 4 * np.sin(2 * np.pi * t / 3))  # it smears no line
    samples = np.vstack([1.7 * np.cos(2 * np.pi * order * turns + 0.4)] * 3)
    spectra = feed(Scope(), times, samples, marks, pieces=3.0)[-1].spectra
    assert spectra.by == "order"
    where, height = spectra.highest[2]
    assert where == pytest.approx(order, abs=1 / 32)
    assert height == pytest.approx(1.7, rel=0.01)


def test_spectrum_by_frequency_without_marks_against_scipy():
    times, turns, _ = turning(6.0)
    samples = once_per_turn(turns, noise=0.05)
    frame = feed(Scope(), times, samples, np.zeros(0))[-1]
    assert (frame.speed, frame.now, frame.cloud, frame.folded) == (None, None, None, None)
    assert frame.spectra.by == "Hz"
    along, power = signal.periodogram(samples[0, -8000:], RATE, "flattop", scaling="spectrum")
    best = int(np.argmax(power))
    where, height = frame.spectra.highest[0]
    assert where == pytest.approx(along[best], abs=1.0)
    assert height == pytest.approx(np.sqrt(2 * power[best]), rel=0.01)
    assert height == pytest.approx(5.0, rel=0.01)
    trace = frame.trace[0]
    assert trace.along[0] == pytest.approx(-0.25, abs=0.01)
    assert np.max(np.abs(trace.values)) == pytest.approx(np.max(np.abs(samples[0] - 0.3)), rel=0.05)


def test_folded_turn_is_the_signal_over_the_angle_while_the_speed_wanders():
    times, turns, marks = turning(6.0, lambda t: 70 + 5 * np.sin(2 * np.pi * t / 2.5))
    samples = once_per_turn(turns, noise=0.3)
    folded = feed(Scope(), times, samples, marks)[-1].folded
    angle = np.arange(folded.mean.shape[1]) / folded.mean.shape[1]
    truth = once_per_turn(angle) - np.array([[0.3], [-9.81], [0.5]])
    assert np.max(np.abs(folded.mean - truth)) < 4 * 0.3 / np.sqrt(folded.turns)
    # a spline through samples of white noise keeps somewhat less than their scatter between them
    assert folded.scatter.mean() == pytest.approx(0.28, abs=0.03)
    assert folded.turns == pytest.approx(70, abs=8)


def test_curves_are_thinned_for_drawing(steady):
    for frame in steady[-1]:
        curves = [*frame.trace, *(frame.spectra.curves if frame.spectra else ())]
        assert all(curve.along.size <= 400 for curve in curves)
        assert frame.folded is None or frame.folded.mean.shape[1] <= 400


def test_spectrum_comes_four_times_a_second_and_all_else_with_every_look(steady):
    frames = steady[-1]
    assert [f.number for f in frames] == list(range(1, len(frames) + 1))
    slow = frames[-1].slow_number - frames[-61].slow_number
    assert 12 <= slow <= 16  # in 4 s
    for one, other in pairwise(f for f in frames if f.spectra is not None):
        assert (one.slow_number == other.slow_number) == (one.spectra is other.spectra)


def held(scope):
    """How many numbers it holds."""
    last = scope._last
    turns = sum(t.values.size for t in last._turns)
    waiting = sum(b.samples.size for b in scope._waiting)
    return last._samples.size + turns + last._turner._samples.size + last._turner._marks.size + waiting


def test_memory_stays_the_same_with_and_without_marks_and_looks():
    times, turns, marks = turning(24.0)
    samples = once_per_turn(turns)
    for some, looks in ((marks, True), (np.zeros(0), True), (marks, False)):
        sizes = []
        for seconds in (12.0, 24.0):
            scope, part = Scope(), times < seconds
            feed(scope, times[part], samples[:, part], some[some < seconds], pieces=4.0, looks=looks)
            sizes.append(held(scope))
        assert sizes[1] == pytest.approx(sizes[0], rel=0.1)
        assert sizes[1] < 2_000_000


def test_speed_is_unknown_when_marks_stop_and_known_when_they_come_again():
    times, turns, marks = turning(9.0)
    samples = once_per_turn(turns)
    gone = marks[(marks < 3.0) | (marks > 6.0)]
    frames = feed(Scope(), times, samples, gone)
    assert frames[42].speed is not None
    assert frames[78].speed is None
    assert frames[82].spectra.by == "Hz"
    assert frames[-1].speed == pytest.approx(2 * np.pi * HZ, rel=1e-3)
    assert frames[-1].cloud.mean == pytest.approx(VECTORS, abs=0.01)


def test_turns_with_missing_samples_are_left_out():
    times, turns, marks = turning(6.0)
    samples = once_per_turn(turns)
    whole = feed(Scope(), times, samples, marks)[-1].folded.turns
    kept = np.ones(times.size, bool)
    for at in (5.2, 5.5, 5.8):
        kept[int(at * RATE) : int(at * RATE) + 12] = False
    frame = feed(Scope(), times[kept], samples[:, kept], marks)[-1]
    assert whole - 7 <= frame.folded.turns < whole
    assert frame.folded.scatter.max() < 0.02
    assert frame.cloud.mean == pytest.approx(VECTORS, abs=0.01)


def test_one_of_two_marks_stays_the_zero():
    times, turns, marks = turning(8.0)
    second = np.interp(np.arange(1, marks.size) - 0.45, np.arange(marks.size), marks)
    hello = replace(HELLO, marks_per_rev=2)
    both = np.sort(np.concatenate((marks, second)))
    frames = feed(Scope(), times, once_per_turn(turns), both, hello=hello)
    lags = np.angle([f.now[0] for f in frames if f.now is not None])
    assert np.ptp(lags) < 0.02


def test_vectors_of_another_speed_do_not_count_in_the_mean():
    times, turns, marks = turning(7.0, lambda t: np.where(t < 5.0, 60.0, 90.0))
    size = np.where(times < 5.0, 1.0, 3.0)
    samples = size * once_per_turn(turns)
    cloud = feed(Scope(), times, samples, marks)[-1].cloud
    assert 4 <= cloud.same.sum() < cloud.same.size
    assert not cloud.same[0]
    assert cloud.mean[0] == pytest.approx(3 * VECTORS[0], rel=0.02)


def test_a_new_segment_and_a_new_source_begin_anew():
    times, turns, marks = turning(4.0)
    samples = once_per_turn(turns)
    scope = Scope()
    assert scope.frame() is None
    first = feed(scope, times, samples, marks)[-1]
    assert scope.frame() is first  # nothing new
    again = feed(scope, times[:800], -samples[:, :800], marks[marks < 0.25], segment=1)[-1]
    assert again.number > first.number
    assert again.time < first.time
    scope.clear()
    assert scope.frame() is None
    last = feed(scope, times, samples, marks)[-1]
    assert last.number > again.number
    assert last.cloud.mean == pytest.approx(first.cloud.mean)


def test_looks_of_several_threads_while_it_is_fed():
    times, turns, marks = turning(6.0)
    samples = once_per_turn(turns)
    scope, done, trouble = Scope(), threading.Event(), []

    def look():
        try:
            while not done.is_set():
                scope.frame()
        except Exception as error:
            trouble.append(error)

    lookers = [threading.Thread(target=look) for _ in range(2)]
    for one in lookers:
        one.start()
    feed(scope, times, samples, marks, looks=False)
    done.set()
    for one in lookers:
        one.join()
    assert not trouble
    assert scope.frame().cloud.mean == pytest.approx(VECTORS, abs=0.01)

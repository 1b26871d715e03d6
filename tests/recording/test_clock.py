"""Counters and the line through the stamps: identities and made-up clocks whose truth is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.recording.clock import fit_sample_clock, typical_period, unwrap_counter, unwrap_ticks

RATE, TICK_HZ = 3200.0, 1e6
PERIOD = TICK_HZ / RATE


def clock_of(index, true_ticks):
    return fit_sample_clock(index, np.rint(true_ticks).astype(np.int64), TICK_HZ)


def rms_error(clock, true_ticks):
    error = clock.times - (true_ticks - true_ticks[0])
    return float(np.std(error))


@given(st.integers(0, 2**16 - 1), st.lists(st.integers(-(2**15) + 1, 2**15 - 1), max_size=50))
def test_a_counter_rolls_over_and_back(start, steps):
    true = np.concatenate(([start], start + np.cumsum(np.array(steps, np.int64)))).astype(np.int64)
    assert np.array_equal(unwrap_counter(true & 0xFFFF, 16), true)


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_stamps_roll_over_even_while_samples_are_missing(bits):
    index = np.concatenate((np.arange(1000), np.arange(5000, 6000), np.arange(10**6, 10**6 + 500)))
    true = np.rint(index * PERIOD).astype(np.int64) + (1 << bits) - 70_000
    raw = true & ((1 << bits) - 1)
    period = typical_period(raw, index, bits)
    assert period == pytest.approx(PERIOD, abs=0.51)
    if bits == 32:
        # over 312 s the typical step, known to half a tick, is good enough for a wide counter only
        assert np.array_equal(unwrap_ticks(raw, index, bits, period), true - true[0] + raw[0])
    near = slice(0, 2000) if bits == 24 else slice(0, 1000)
    assert np.array_equal(unwrap_ticks(raw[near], index[near], bits, period), true[near] - true[0] + raw[0])


def test_jitter_of_the_stamps_averages_out():
    rng = np.random.default_rng(3)
    index = np.arange(int(60 * RATE))
    true = index * PERIOD
    clock = clock_of(index, true + rng.normal(0, 20, index.size))
    # 13 knots for 192,000 stamps: the theory of least squares gives about 20 sqrt(13/192000) = 0.16 ticks
    assert rms_error(clock, true) < 0.25
    assert clock.period == pytest.approx(PERIOD, rel=1e-4)
    assert clock.scatter == pytest.approx(20, rel=0.02)
    assert clock.breaks.size == 0
    assert clock.stamps_off == 0


def test_a_drifting_oscillator_is_followed():
    index = np.arange(int(60 * RATE))
    seconds = index / RATE
    true = index * PERIOD + 400 * np.sin(2 * np.pi * seconds / 60)  # 0.4 ms: +-42 ppm over a minute
    clock = clock_of(index, true)
    # between knots h = 5 s apart a line strays by h^2 y''/8 at the most, and least squares does better
    assert np.abs(clock.times - (true - true[0])).max() < 400 * (2 * np.pi / 60) ** 2 * 25 / 8 + 0.5


def test_uniform_jitter_of_one_tick_leaves_uniform_times():
    index = np.arange(20_000)
    clock = clock_of(index, index * PERIOD)
    assert np.ptp(np.diff(clock.times)) < 1e-3


@pytest.mark.parametrize("lost", [1, 3, 400])
def test_samples_lost_in_silence_break_the_line(lost):
    index = np.arange(8000)
    true = index * PERIOD
    true[3000:] += lost * PERIOD
    clock = clock_of(index, true + np.random.default_rng(1).normal(0, 10, index.size))
    assert clock.breaks.tolist() == [3000]
    assert clock.slips[0] == pytest.approx(lost, abs=0.1)
    assert rms_error(clock, true) < 1.5


def test_several_silent_losses_close_to_each_other():
    index = np.arange(2000)
    places = [500, 520, 531, 1500]
    true = index * PERIOD
    for place in places:
        true[place:] += PERIOD
    clock = clock_of(index, true)
    assert clock.breaks.tolist() == places
    assert np.rint(clock.slips).tolist() == [1, 1, 1, 1]
    assert rms_error(clock, true) < 1.0


@pytest.mark.parametrize("place", [0, 1, 777, 1998, 1999])
@pytest.mark.parametrize("shift", [-65536, 65536, 300, 10**9])
def test_a_single_stamp_that_is_off_changes_nothing(place, shift):
    index = np.arange(2000)
    true = index * PERIOD
    stamps = true.copy()
    stamps[place] += shift
    clock = fit_sample_clock(index, np.rint(stamps).astype(np.int64), TICK_HZ)
    assert clock.breaks.size == 0
    assert clock.stamps_off == 1
    assert np.ptp(clock.times - true) < 1.5


def test_gaps_in_the_index_need_no_break():
    rng = np.random.default_rng(5)
    index = np.flatnonzero(rng.random(50_000) > 0.01)
    index = index[(index < 20_000) | (index > 31_000)]
    clock = clock_of(index, index * PERIOD)
    assert clock.breaks.size == 0
    assert rms_error(clock, index * PERIOD) < 0.05


def test_stamps_without_any_order_are_told_by_their_scatter():
    rng = np.random.default_rng(5)
    index = np.arange(60_000)
    clock = clock_of(index, index * PERIOD + rng.uniform(0, 40 * PERIOD, index.size))
    assert clock.scatter > PERIOD


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_very_few_samples(count):
    index = np.arange(count)
    assert clock_of(index, index * PERIOD).times == pytest.approx(index * PERIOD, abs=0.5)

"""Time stamps judged: what they are, and the times that follow, over many seeds and rates."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.recording.stamps import judge_stamps
from tests.foreign import Signal, bursty, scattered

RATES = [100.0, 200.0, 400.0, 1000.0, 1600.0]
SEEDS = range(8)


def judged(stamps, signal, **said):
    return judge_stamps(stamps - stamps[0], signal.samples, **said)


def true_times(rate, seconds=8):
    return np.arange(int(seconds * rate)) / rate


def runs():
    return pytest.mark.parametrize(("rate", "seed"), [(rate, seed) for rate in RATES for seed in SEEDS])


@runs()
def test_bursts_give_the_true_rate_and_no_gap(rate, seed):
    true = true_times(rate)
    found = judged(bursty(true, seed), Signal.at(true, seed=seed))
    assert (found.kind, found.gaps) == ("arrival", ())
    assert found.rate == pytest.approx(rate, rel=3e-3)
    assert np.ptp(np.diff(found.times)) < 1e-9


@runs()
def test_delays_of_tens_of_milliseconds_are_of_arrival(rate, seed):
    true = true_times(rate)
    found = judged(scattered(true, 0.02, seed), Signal.at(true, seed=seed))
    assert (found.kind, found.gaps) == ("arrival", ())
    assert found.rate == pytest.approx(rate, rel=3e-3)


@runs()
def test_honest_uneven_stamps_are_kept(rate, seed):
    """A polled sensor whose steps vary by half, and a timer that comes late: both stamp the true moment."""
    rng = np.random.default_rng(seed)
    count = int(8 * rate)
    polled = np.cumsum(rng.uniform(0.4, 1.6, count) / rate)
    late = np.sort(true_times(rate) + np.abs(rng.normal(0, 0.3 / rate, count)))
    for times in (polled, late):
        found = judged(times, Signal.at(times, seed=seed))
        assert found.kind in {"sensor", "unclear"}
        assert np.array_equal(found.times, times - times[0])


@runs()
def test_lost_samples_are_counted_exactly(rate, seed):
    true = true_times(rate)
    kept = np.random.default_rng(seed).random(true.size) > 0.02
    kept[[0, -1]] = True
    found = judged(true[kept], Signal.at(true[kept], seed=seed))
    assert (found.kind, sum(gap.lost for gap in found.gaps)) == ("even", np.count_nonzero(~kept))


@pytest.mark.parametrize("rate", [400.0, 999.6, 1000.4, 1344.0, 1600.0])
@pytest.mark.parametrize("step", [1e-3, 1e-2])
def test_rounding_is_undone(rate, step):
    """The fitted times lie on the true ones but for the unknown half step by which rounding down is early."""
    true = true_times(rate, 20)
    rounded = np.floor(true / step + 1e-9) * step
    found = judged(rounded, Signal.at(true))
    assert (found.kind, found.gaps) == ("rounded", ())
    off = found.times - (true - true[0])
    assert np.ptp(off) < 0.15 * step  # near 1000 Hz the rounding beats with the period over seconds
    assert -1.05 * step < off.mean() < 0.05 * step


def test_what_is_said_settles_it():
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(0.4, 1.6, 2000) / 400)
    noise = Signal(times, rng.standard_normal((3, times.size)), times, times)
    assert judged(times, noise).kind == "unclear"
    assert judged(times, noise, said="sensor").kind == "sensor"
    assert judged(times, noise, said="arrival").kind == "arrival"


def test_a_stamp_far_away_is_refused():
    stamps = np.append(np.arange(100) / 400, 1e12)
    with pytest.raises(InputError, match="far from all others"):
        judge_stamps(stamps, np.zeros((1, stamps.size)))


@given(st.lists(st.floats(0, 1e6), min_size=2, max_size=200), st.booleans())
def test_any_stamps_give_rising_times_or_a_refusal(stamps, in_order):
    times = np.sort(stamps) if in_order else np.array(stamps)
    if times.size < 16 and np.any(np.diff(times) <= 0):
        return  # these the reader refuses with the line of the row
    try:
        found = judge_stamps(times - times[0], np.arange(float(times.size))[np.newaxis])
    except InputError:
        return
    assert np.all(np.diff(found.times) > 0)
    assert found.order.size == found.times.size

"""Orders by least squares: the algebra against general solvers, and signals whose answer is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from balancer.core.marks import mend_marks
from balancer.core.orders import fit_orders, unit_circle
from balancer.core.shaft import Stretch, shaft_turns
from balancer.errors import InputError
from tests.synthetic import WanderingShaft, orders_signal

ORDERS = (1, 2, 3, 4, 5)
RATE = 1600.0


@pytest.fixture
def rng():
    return np.random.default_rng(60)


def sample_times(duration=10.0, rate=RATE):
    return np.arange(round(duration * rate)) / rate


def vectors_of(rng, channels=3, orders=ORDERS):
    return {k: rng.normal(size=channels) + 1j * rng.normal(size=channels) for k in orders}


def fit(shaft, times, samples, orders=ORDERS, duration=10.0):
    return fit_orders(shaft_turns(times, mend_marks(shaft.marks(duration))), times, samples, orders)


@pytest.mark.parametrize("rpm", [3500, 5200, 8500])
def test_known_orders_come_back(rng, rpm):
    shaft, times = WanderingShaft.of(rng, rpm), sample_times()
    truth = vectors_of(rng)
    found = fit(shaft, times, orders_signal(shaft.turns(times), truth))
    assert found.orders == ORDERS
    # the angle between marks is known to some 1e-6 of a turn
    for k, order in enumerate(ORDERS):
        np.testing.assert_allclose(found.vectors[:, k], truth[order], atol=1e-4)
    assert found.residual.max() < 1e-3


def test_the_value_is_amplitude_and_lag(rng):
    # x = 2 cos(shaft - 70 deg): the crest comes 70 deg after the mark
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = 2 * np.cos(2 * np.pi * shaft.turns(times) - np.radians(70))
    found = fit(shaft, times, samples[np.newaxis])
    assert abs(found.vectors[0, 0]) == pytest.approx(2, rel=1e-5)
    assert np.degrees(np.angle(found.vectors[0, 0])) == pytest.approx(70, abs=1e-3)


def test_overall_and_mean(rng):
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = orders_signal(shaft.turns(times), {1: np.array([3.0]), 2: np.array([4j])}) - 9.81
    found = fit(shaft, times, samples)
    # root of the sum of squared peaks over two
    assert found.overall[0] == pytest.approx(5 / np.sqrt(2), rel=1e-4)
    assert found.mean[0] == pytest.approx(-9.81, abs=1e-3)


def design_of(turns, orders):
    columns = [np.ones(turns.size)]
    for order in orders:
        columns += [np.cos(2 * np.pi * order * turns), np.sin(2 * np.pi * order * turns)]
    return np.column_stack(columns)


@pytest.mark.parametrize("orders", [(1,), (1, 2, 3, 4, 5), (1, 3), (2, 7)])
@pytest.mark.parametrize("count", [700, 4096, 4097, 16_000])
def test_agrees_with_numpy_lstsq(rng, orders, count):
    shaft = WanderingShaft.of(rng, 5200)
    turns = shaft.turns(np.arange(count) / RATE)
    samples = rng.normal(size=(3, count)) + 9.81
    found = fit_orders([Stretch(0, count, turns)], np.arange(count) / RATE, samples, orders)
    solution, squares, *_ = np.linalg.lstsq(design_of(turns, orders), samples.T, rcond=None)
    wanted = solution[1::2] + 1j * solution[2::2]
    np.testing.assert_allclose(found.vectors, wanted.T, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.residual, np.sqrt(squares / count), rtol=1e-9)
    np.testing.assert_allclose(found.overall, samples.std(axis=1), rtol=1e-9)


def test_irregular_samples_agree_with_numpy_lstsq(rng):
    shaft = WanderingShaft.of(rng, 5200)
    times = np.sort(rng.uniform(0, 10, 9000))
    samples = rng.normal(size=(2, times.size))
    stretches = shaft_turns(times, mend_marks(shaft.marks(10.0)))
    found = fit_orders(stretches, times, samples, ORDERS)
    (stretch,) = stretches
    used = samples[:, stretch.start : stretch.stop]
    solution = np.linalg.lstsq(design_of(stretch.turns, ORDERS), used.T, rcond=None)[0]
    np.testing.assert_allclose(found.vectors, (solution[1::2] + 1j * solution[2::2]).T, atol=1e-9)


def test_several_stretches_are_one_problem(rng):
    shaft = WanderingShaft.of(rng, 5200)
    times = sample_times()
    turns = shaft.turns(times)
    samples = rng.normal(size=(2, times.size))
    pieces = [(100, 3000), (4000, 9050), (9100, 15_000)]
    stretches = [Stretch(a, b, turns[a:b]) for a, b in pieces]
    found = fit_orders(stretches, times, samples, ORDERS)
    chosen = np.concatenate([np.arange(a, b) for a, b in pieces])
    solution = np.linalg.lstsq(design_of(turns[chosen], ORDERS), samples[:, chosen].T, rcond=None)[0]
    np.testing.assert_allclose(found.vectors, (solution[1::2] + 1j * solution[2::2]).T, atol=1e-9)


@pytest.mark.parametrize("offset", [9.81, -2000.0])
def test_gravity_leaves_no_trace(rng, offset):
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = orders_signal(shaft.turns(times), vectors_of(rng)) + 0.1 * rng.normal(size=(3, times.size))
    plain, shifted = fit(shaft, times, samples), fit(shaft, times, samples + offset)
    np.testing.assert_allclose(shifted.vectors, plain.vectors, atol=1e-12 * abs(offset))
    np.testing.assert_allclose(shifted.covariances, plain.covariances, rtol=1e-6)
    np.testing.assert_allclose(shifted.overall, plain.overall, rtol=1e-6)
    np.testing.assert_allclose(shifted.mean - offset, plain.mean, atol=1e-9)


@pytest.mark.parametrize("factor", [2.0, 1e-6, 1e6])
def test_scale_goes_through(rng, factor):
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = orders_signal(shaft.turns(times), vectors_of(rng)) + 0.1 * rng.normal(size=(3, times.size))
    plain, scaled = fit(shaft, times, samples), fit(shaft, times, factor * samples)
    np.testing.assert_allclose(scaled.vectors, factor * plain.vectors, rtol=1e-9)
    np.testing.assert_allclose(scaled.covariances, factor**2 * plain.covariances, rtol=1e-9)
    np.testing.assert_allclose(scaled.excess, plain.excess, rtol=1e-9)


@pytest.mark.parametrize("turn", [0.1, 0.25, 0.6])
def test_turning_the_zero_mark_turns_every_order(rng, turn):
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = orders_signal(shaft.turns(times), vectors_of(rng))
    moved = fit_orders(shaft_turns(times, mend_marks(shaft.marks(10.0, (turn,)))), times, samples, ORDERS)
    plain = fit(shaft, times, samples)
    turning = np.exp(-2j * np.pi * np.array(ORDERS) * turn)
    np.testing.assert_allclose(moved.vectors, plain.vectors * turning, atol=2e-4)


# Trade figure (computed): a mark time error dt is a phase error of 360 f dt; 100 us at 80 Hz is 2.9 deg.
# Filter delays: MPU-6050 low-pass 44 Hz 4.9 ms, 184 Hz 2.0 ms (data sheet, found), phase 360 f tau.
@pytest.mark.parametrize(("delay", "degrees"), [(100e-6, 2.88), (2.0e-3, 57.6), (4.9e-3, 141.12)])
def test_delays_turn_the_phase(delay, degrees):
    shaft, times = WanderingShaft(80.0), sample_times()
    samples = np.cos(2 * np.pi * shaft.turns(times))[np.newaxis]
    late_samples = np.cos(2 * np.pi * shaft.turns(times - delay))[np.newaxis]
    marks = shaft.marks(10.0)

    def lag(samples, marks):
        found = fit_orders(shaft_turns(times, mend_marks(marks)), times, samples, (1,))
        return np.degrees(np.angle(found.vectors[0, 0]))

    assert lag(late_samples, marks) == pytest.approx(degrees, abs=1e-3)
    # a mark that is told late makes the shaft seem behind: the same signal seems to lead
    assert lag(samples, marks + delay) == pytest.approx(-degrees, abs=1e-3)


@given(arrays(np.float64, 50, elements=st.floats(-5e5, 5e5)))
def test_unit_circle_agrees_with_numpy(turns):
    rest = turns - np.rint(turns)  # exact, so that numpy's own argument is not rounded
    np.testing.assert_allclose(unit_circle(turns), np.exp(2j * np.pi * rest), atol=2e-14)


def test_unit_circle_between_all_table_points(rng):
    turns = np.linspace(-1, 1, 40_001) + 1e-5 * rng.normal(size=40_001)
    wanted = np.exp(2j * np.pi * (turns - np.rint(turns)))
    assert np.abs(unit_circle(turns) - wanted).max() < 2e-14


def test_too_few_revolutions_are_refused():
    turns = np.linspace(0, 4, 400)
    with pytest.raises(InputError, match="only 4 whole revolutions were seen, at least 5 are needed"):
        fit_orders([Stretch(0, 400, turns)], turns / 80, np.ones((1, 400)))


def test_too_few_samples_are_refused():
    turns = np.linspace(0, 6, 13)
    with pytest.raises(InputError, match="13 samples are too few for 5 orders"):
        fit_orders([Stretch(0, 13, turns)], turns / 80, np.ones((1, 13)))


def test_an_order_that_the_samples_cannot_tell_is_refused():
    # four samples a turn at the same places: the sine of the second order is 0 at each of them
    turns = np.arange(4000) / 4
    samples = np.cos(2 * np.pi * turns)[np.newaxis]
    with pytest.raises(InputError, match="samples cannot tell the orders 1, 2 apart"):
        fit_orders([Stretch(0, 4000, turns)], turns / 80, samples, (1, 2))


def test_the_samples_are_left_alone(rng):
    shaft, times = WanderingShaft.of(rng, 5200), sample_times()
    samples = rng.normal(size=(2, times.size))
    before = samples.copy()
    samples.flags.writeable = False
    fit(shaft, times, samples)
    np.testing.assert_array_equal(samples, before)

"""Edges of mark signals whose true edge times are known because they were made so."""

import numpy as np
import pytest

from balancer.core.edges import edge_times
from balancer.errors import InputError

RATE = 3200.0
TIMES = np.arange(int(4 * RATE)) / RATE


def pulses(period=0.0123, width=0.0031, rise=0.002):
    """Pulses with straight flanks `rise` long, centred on the true edges."""
    true = np.arange(0.01, TIMES[-1] - 0.01, period)
    corners = np.concatenate(
        [[t - rise / 2, t + rise / 2, t + width - rise / 2, t + width + rise / 2] for t in true]
    )
    return true, np.interp(TIMES, corners, np.tile([0.0, 1.0, 1.0, 0.0], true.size))


def test_straight_flanks_are_found_between_the_samples():
    true, levels = pulses()
    found = edge_times(TIMES, 0.4 + 2.9 * levels)
    assert found.times == pytest.approx(true, abs=2e-6)
    assert found.resolution == 0


def test_falling_edges():
    true, levels = pulses()
    assert edge_times(TIMES, levels, edge="falling").times == pytest.approx(true + 0.0031, abs=2e-6)
    assert edge_times(TIMES, -levels, edge="falling").times == pytest.approx(true, abs=2e-6)


def test_a_sine_as_a_hall_pick_up_gives_it():
    frequency = 80.3
    levels = 2.5 + 0.8 * np.sin(2 * np.pi * frequency * TIMES - 1.0)
    found = edge_times(TIMES, levels).times
    true = (np.arange(found.size) + 1.0 / (2 * np.pi)) / frequency
    # the chord of a sine near its steepest place, 40 samples a turn: below 1/10,000 of a turn
    assert found == pytest.approx(true, abs=1e-4 / frequency)


def test_noise_makes_no_edges_of_its_own():
    true, levels = pulses()
    noisy = levels + np.random.default_rng(2).normal(0, 0.05, levels.size)
    found = edge_times(TIMES, noisy).times
    assert found == pytest.approx(true, abs=3 * 0.05 * 0.002 * 2)


def test_noise_at_the_threshold_is_held_off_by_the_hysteresis():
    levels = np.array([0, 0, 0.4, 0.55, 0.45, 0.6, 0.48, 1, 1, 0.6, 0.4, 0.6, 0.9, 0, 0, 0.6, 0.2, 0, 1, 0.0])
    levels = np.concatenate((levels, np.zeros(20)))
    found = edge_times(np.arange(40.0), levels).times
    assert found == pytest.approx([6 + 0.02 / 0.52, 17.5])


def test_a_column_of_0_and_1_lies_between_two_samples():
    levels = (np.arange(200) % 40 >= 37).astype(float)
    found = edge_times(np.arange(200) / RATE, levels)
    assert found.times == pytest.approx((np.arange(5) * 40 + 36.5) / RATE)
    assert found.resolution == pytest.approx(1 / RATE)


def test_one_sample_in_a_thousand_is_still_a_mark():
    levels = np.zeros(TIMES.size)
    levels[500::1500] = 1.0
    assert edge_times(TIMES, levels).times.size == levels[500::1500].size


def test_a_spike_does_not_set_the_levels():
    true, levels = pulses()
    levels[3000] = 40.0
    found = edge_times(TIMES, levels).times
    assert np.abs(found[:, None] - true).min(axis=0).max() < 2e-6
    assert found.size <= true.size + 1


def test_a_signal_that_begins_high_has_had_its_edge():
    assert edge_times(np.arange(6.0), np.array([5.0, 5, 0, 0, 5, 0])).times == pytest.approx([3.5])


def test_uneven_times():
    found = edge_times(np.array([0.0, 1, 5, 6, 7]), np.array([0.0, 0, 4, 4, 0]))
    assert found.times == pytest.approx([3.0])


@pytest.mark.parametrize(
    "levels",
    [
        np.zeros(100),
        np.full(100, 3.3),
        np.ones(1),
        np.zeros(0),
        np.random.default_rng(3).normal(2.5, 0.01, 5000),
        np.random.default_rng(4).uniform(0, 1, 5000) * 0.1 + np.linspace(0.45, 0.55, 5000) * 0.2,
    ],
    ids=["zeros", "constant", "one", "none", "noise", "noise that drifts"],
)
def test_a_flat_signal_is_refused(levels):
    with pytest.raises(InputError, match="the mark signal is flat"):
        edge_times(np.arange(levels.size) / RATE, levels)


def test_levels_must_be_finite():
    with pytest.raises(InputError, match="a mark level is not a finite number"):
        edge_times(np.arange(3.0), np.array([0, np.nan, 1]))


def test_levels_must_fit_the_times():
    with pytest.raises(InputError, match="3 mark levels do not fit 4 times"):
        edge_times(np.arange(4.0), np.zeros(3))

"""The signal over the shaft angle: the sense of angles, the mean and the scatter of turns."""

from __future__ import annotations

import numpy as np
import pytest

from balancer.core.angular import fold, points_a_turn, whole_turns
from balancer.core.shaft import Stretch
from balancer.errors import InputError

RATE = 1600.0
LAG = 1.1


def turning(seconds=4.0, first=60.0, last=90.0, start=0.3):
    """Times and turns of a shaft whose speed rises from `first` to `last` turns a second."""
    times = np.arange(round(seconds * RATE)) / RATE
    return times, start + first * times + (last - first) * times**2 / (2 * seconds)


def test_a_vector_at_a_lag_peaks_at_that_angle_although_the_speed_rises():
    times, turns = turning()
    samples = np.array([5.0 + 3.0 * np.cos(2 * np.pi * turns - LAG), np.cos(4 * np.pi * turns)])
    turned = whole_turns(times, samples, [Stretch(0, times.size, turns)], 64)
    assert turned.shape == (2, int(turns[-1]) - 1, 64)
    mean, scatter = fold(turned)
    angles = 2 * np.pi * np.arange(64) / 64
    assert mean[0] == pytest.approx(3.0 * np.cos(angles - LAG), abs=0.02)
    assert mean[1] == pytest.approx(np.cos(2 * angles), abs=0.02)
    assert scatter.max() < 0.05


def test_scatter_is_that_of_the_turns():
    times, turns = turning(first=80.0, last=80.0, seconds=8.0)
    rng = np.random.default_rng(1)
    sizes = 2.0 + 0.5 * rng.standard_normal(int(turns[-1]) + 2)
    samples = (sizes[turns.astype(int)] * np.sin(2 * np.pi * turns))[np.newaxis]
    _, scatter = fold(whole_turns(times, samples, [Stretch(0, times.size, turns)], 64))
    assert scatter[0, 16] == pytest.approx(np.std(sizes[1:-2], ddof=1), rel=0.05)


def test_stretches_are_joined_and_one_turn_has_no_scatter():
    times, turns = turning(seconds=1.0)
    half = times.size // 2
    parts = [Stretch(0, half, turns[:half]), Stretch(half, times.size, turns[half:])]
    turned = whole_turns(times, np.cos(2 * np.pi * turns)[np.newaxis], parts, 64)
    assert turned.shape[1] == int(turns[half - 1]) - 1 + int(turns[-1]) - int(np.ceil(turns[half]))
    assert not fold(turned[:, :1])[1].any()


def test_points_a_turn_are_more_than_samples():
    _, turns = turning(first=10.0, last=10.0)
    assert points_a_turn([Stretch(0, turns.size, turns)]) == 512  # 160 samples a turn
    _, turns = turning(first=90.0, last=90.0)
    assert points_a_turn([Stretch(0, turns.size, turns)]) == 64


def test_no_whole_turn_is_told():
    times, turns = turning(seconds=0.01)
    with pytest.raises(InputError, match="no whole turn from mark to mark; record for some seconds"):
        whole_turns(times, turns[np.newaxis], [Stretch(0, times.size, turns)], 64)

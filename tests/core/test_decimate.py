"""Thinned lines keep the lowest and the highest point of every column."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from balancer.core.decimate import min_max

HEIGHTS = st.floats(-1e9, 1e9)


@given(st.data(), st.integers(1, 400), st.integers(1, 40))
def test_lowest_and_highest_of_every_column_survive(data, count, columns):
    steps = data.draw(arrays(np.float64, count, elements=st.floats(1e-3, 10.0)))
    along, values = np.cumsum(steps), data.draw(arrays(np.float64, count, elements=HEIGHTS))
    kept_along, kept = min_max(along, values, columns)
    assert kept_along.size <= max(2 * columns, 1)
    assert np.all(np.diff(kept_along) > 0)
    assert np.array_equal(values[np.searchsorted(along, kept_along)], kept)
    edges = along[0] + (along[-1] - along[0]) * np.arange(1, columns) / columns
    column, kept_column = (np.searchsorted(edges, x, side="right") for x in (along, kept_along))
    for k in np.unique(column):
        assert kept[kept_column == k].min() == values[column == k].min()
        assert kept[kept_column == k].max() == values[column == k].max()


def test_few_points_stay_as_they_are():
    along, values = np.arange(10.0), np.sin(np.arange(10.0))
    assert min_max(along, values, 5)[1] is values


def test_a_single_spike_among_two_hundred_thousand_samples_stays():
    along, values = np.arange(200_000.0), np.zeros(200_000)
    values[123_457] = 9.0
    kept_along, kept = min_max(along, values, 600)
    assert kept.max() == 9.0
    assert kept_along[np.argmax(kept)] == 123_457
    assert kept.size <= 1200


@pytest.mark.parametrize("columns", [1, 3])
def test_points_at_one_place_keep_their_extremes(columns):
    kept = min_max(np.full(20, 2.0), np.arange(20.0), columns)[1]
    assert kept.tolist() == [0.0, 19.0]

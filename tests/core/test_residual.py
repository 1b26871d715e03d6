"""Like with like: what of a history can be compared, as a chart shows it."""

import datetime as dt

import pytest

from balancer.core.residual import Entry, like_with_like
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.units import gmm_from_kgm, rad_s_from_rpm


def entry(day, size, stand="bench", frame="", sd=0.02e-6):
    vector = None if size is None else UncertainComplex(size * 1e-6, Covariance.circular(sd**2))
    return Entry(dt.date(2026, 3, day), stand, vector, frame)


def test_a_series_for_the_chart():
    entries = [
        entry(9, 0.2),
        entry(2, 1.0 + 0j),
        entry(5, None, "old stand"),
        entry(20, 0.03j, "second stand"),
    ]
    found = like_with_like(entries, 0.012, rad_s_from_rpm(5000))
    assert [point.when.day for point in found.points] == [2, 9, 20]
    first, _, last = found.points
    assert gmm_from_kgm(first.value) == pytest.approx(1.0)
    assert gmm_from_kgm(first.lower) == pytest.approx(1.0 - 1.96 * 0.02, abs=1e-3)
    assert gmm_from_kgm(first.upper) == pytest.approx(1.0 + 1.96 * 0.02, abs=1e-3)
    assert last.lower == 0.0  # cannot be told from none
    assert last.upper > last.value
    # ISO 21940-11 at 12 g and 5000 rpm: 0.1444 g mm at G6.3
    assert [(round(1e3 * g, 1), round(gmm_from_kgm(u), 4)) for g, u in found.lines][1] == (6.3, 0.1444)
    assert [left.stand for left in found.left_out] == ["old stand"]
    assert [finding.code for finding in found.findings] == ["raw_left_out", "several_stands"]
    assert first.grade == pytest.approx(6.3e-3 * 1.0 / 0.1444, rel=1e-3)


def test_directions_compare_only_where_the_mark_is_the_same():
    entries = [entry(1, 1.0, frame="blade 1"), entry(2, 1.0j, frame="bell"), entry(3, 0.9, frame="blade 1")]
    found = like_with_like(entries, 0.012, 500.0)
    assert [[one.when.day for one in group] for group in found.vectors] == [[1, 3], [2]]
    assert [finding.code for finding in found.findings] == ["several_marks"]


def test_an_empty_history_is_an_empty_series():
    found = like_with_like([], 0.012, 500.0)
    assert (found.points, found.vectors, found.findings) == ((), (), ())

"""Straight lines through a history: against scipy's own regression, and false alarms by simulation."""

import datetime as dt

import numpy as np
import pytest
from scipy.stats import linregress

from balancer.core.runs import Amplitude
from balancer.core.trend import DAYS_PER_YEAR, size_trend, vector_trend
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

START = dt.date(2025, 1, 31)
LONG = Covariance(1.0, 0.3, 0.3)


def day(count):
    return START + dt.timedelta(days=int(count))


def points(rng, count, drift=0j, covariance=LONG, days=None):
    days = np.arange(count) * 61 if days is None else days
    root = np.linalg.cholesky(covariance.matrix)
    found = []
    for when in days:
        re, im = root @ rng.standard_normal(2)
        found.append(
            (
                day(when),
                UncertainComplex(3 - 2j + drift * when / DAYS_PER_YEAR + complex(re, im), covariance),
            )
        )
    return found


def test_alike_covariances_give_the_line_of_scipy():
    history = points(np.random.default_rng(1), 7, covariance=Covariance.circular(0.5))
    found = vector_trend(history[::-1])
    times = [(when - history[-1][0]).days / DAYS_PER_YEAR for when, _ in history]
    re, im = (linregress(times, [part(v.value) for _, v in history]) for part in (np.real, np.imag))
    assert found.per_year.value == pytest.approx(re.slope + 1j * im.slope)
    assert found.level.value == pytest.approx(re.intercept + 1j * im.intercept)
    assert found.per_year.covariance.re == pytest.approx((re.stderr**2 + im.stderr**2) / 2)
    assert found.years == pytest.approx(6 * 61 / DAYS_PER_YEAR)


def test_sizes_give_the_line_of_scipy():
    rng = np.random.default_rng(2)
    sizes = rng.uniform(1, 2, 6)
    found = size_trend([(day(50 * k), Amplitude(size, 0.1)) for k, size in enumerate(sizes)])
    times = (np.arange(6) * 50 - 250) / DAYS_PER_YEAR
    line = linregress(times, sizes)
    assert found.per_year == pytest.approx(line.slope)
    assert found.sd_per_year == pytest.approx(line.stderr)
    assert found.probability == pytest.approx(line.pvalue)
    assert found.level.value == pytest.approx(line.intercept)
    assert not found.seen


@pytest.mark.parametrize("count", [3, 6])
def test_five_false_trends_in_a_hundred(count):
    rng = np.random.default_rng(3)
    days = np.sort(rng.choice(800, count, replace=False))
    # the vectors scatter twice as much as their covariances say, as mountings do
    drawn = [points(rng, count, covariance=LONG.times(2.0), days=days) for _ in range(1000)]
    history = [[(when, UncertainComplex(v.value, LONG)) for when, v in one] for one in drawn]
    assert np.mean([vector_trend(one).seen for one in history]) == pytest.approx(0.05, abs=0.02)


def test_a_drift_is_seen_with_its_direction():
    found = vector_trend(points(np.random.default_rng(5), 9, drift=8j))
    assert found.seen
    assert abs(found.per_year.value - 8j) < 3 * found.per_year.covariance.axes()[0]
    assert found.finding.code == "trend_seen"
    still = vector_trend(points(np.random.default_rng(5), 9))
    assert still.finding.code == "no_trend"


def test_a_poor_determination_counts_little():
    history = [(day(100 * k), UncertainComplex(1 + 0j, LONG)) for k in range(5)]
    history[4] = (history[4][0], UncertainComplex(50 + 0j, LONG.times(100.0)))
    assert abs(vector_trend(history).per_year.value) < 1.0
    assert abs(vector_trend([*history[:4], (day(400), UncertainComplex(50 + 0j, LONG))]).per_year.value) > 20


def test_equal_values_have_no_trend():
    same = [(day(30 * k), UncertainComplex(0.12 + 0.1j, LONG)) for k in range(4)]
    assert not vector_trend(same).seen
    assert not size_trend([(when, Amplitude(0.12, 0.01)) for when, _ in same]).seen


@pytest.mark.parametrize("days", [[0, 10], [5, 5, 5]])
def test_a_trend_needs_three_occasions(days):
    with pytest.raises(InputError, match="three occasions"):
        vector_trend([(day(k), UncertainComplex(1j, LONG)) for k in days])

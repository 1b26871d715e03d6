"""Does it grow with time? A weighted straight line through determinations against their dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import fdtrc, stdtr  # quicker to load than scipy.stats

from balancer.core.runs import Amplitude
from balancer.core.vectors import Covariance, Floats, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.units import degrees_0_360, gmm_from_kgm

DAYS_PER_YEAR = 365.25

_SEEN = 0.05


@dataclass(frozen=True)
class Trend:
    """A straight line through vectors.

    Parameters
    ----------
    level : UncertainComplex
        Its value at the last date, in the unit of the vectors.
    per_year : UncertainComplex
        Change in a year.
    probability : float
        How often chance alone makes such a slope in an unchanging part.
    years : float
        From the first date to the last.
    """

    level: UncertainComplex
    per_year: UncertainComplex
    probability: float
    years: float

    @property
    def seen(self) -> bool:
        """Whether chance makes such a slope in less than 5 % of cases."""
        return self.probability < _SEEN

    @property
    def finding(self) -> Finding:
        """The trend of an unbalance in kg m with its figures, for words."""
        size, sd = (gmm_from_kgm(v) for v in (self.per_year.amplitude, self.per_year.sd_amplitude))
        percent = 100 * self.probability
        if not self.seen:
            return Finding.of("no_trend", "info", years=self.years, sd_gmm=sd, chance_percent=percent)
        angle = degrees_0_360(self.per_year.lag)
        return Finding.of(
            "trend_seen", "warning", year_gmm=size, sd_gmm=sd, angle_deg=angle, chance_percent=percent
        )


@dataclass(frozen=True)
class SizeTrend:
    """A straight line through sizes.

    Parameters
    ----------
    level, per_year : Amplitude or float
        Its value at the last date; its change in a year, which may be negative.
    sd_per_year : float
        Standard uncertainty of the change in a year.
    probability : float
        How often chance alone makes such a slope, up or down.
    years : float
        From the first date to the last.
    """

    level: Amplitude
    per_year: float
    sd_per_year: float
    probability: float
    years: float

    @property
    def seen(self) -> bool:
        """Whether chance makes such a slope in less than 5 % of cases."""
        return self.probability < _SEEN


def vector_trend(points: Sequence[tuple[date, UncertainComplex]]) -> Trend:
    """Fit a straight line to vectors found with one angle reference.

    Weighted by their covariances, whose size the scatter about the line corrects in both directions (Birge
    ratio): mounting adds to them, a shared influence coefficient does not scatter at all.

    Parameters
    ----------
    points : sequence of (date, UncertainComplex)
        Three or more, in any order.

    Returns
    -------
    Trend
        Slope with an F test on both components, exact however few points there are.

    Raises
    ------
    InputError
        If there are less than three, or all are of one day.
    """
    ordered = sorted(points, key=lambda point: point[0])
    times, years = _times([when for when, _ in ordered])
    values = np.array([[v.value.real, v.value.imag] for _, v in ordered]).ravel()
    weights = _inverses([v.covariance.matrix for _, v in ordered])
    design = np.vstack([np.hstack((np.eye(2), when * np.eye(2))) for when in times])
    found, covariance, freedom = _line(design, values, weights)
    slope = found[2:]
    square = float(slope @ np.linalg.solve(covariance[2:, 2:], slope)) if slope.any() else 0.0
    return Trend(
        level=UncertainComplex(complex(*found[:2]), Covariance.of_matrix(covariance[:2, :2])),
        per_year=UncertainComplex(complex(*slope), Covariance.of_matrix(covariance[2:, 2:])),
        probability=float(fdtrc(2, freedom, square / 2)),
        years=years,
    )


def size_trend(points: Sequence[tuple[date, Amplitude]]) -> SizeTrend:
    """Fit a straight line to sizes: where angle references differ, or nobody minds the direction.

    Parameters
    ----------
    points : sequence of (date, Amplitude)
        Three or more, in any order.

    Returns
    -------
    SizeTrend
        Slope with a t test. A vector that turns without growing shows in `vector_trend` alone.

    Raises
    ------
    InputError
        If there are less than three, or all are of one day.
    """
    ordered = sorted(points, key=lambda point: point[0])
    times, years = _times([when for when, _ in ordered])
    values = np.array([size.value for _, size in ordered])
    weights = _inverses([np.array([[size.sd**2]]) for _, size in ordered])
    found, covariance, freedom = _line(np.column_stack((np.ones_like(times), times)), values, weights)
    sd = float(np.sqrt(covariance[1, 1]))
    ratio = abs(found[1]) / sd if sd > 0 else 0.0
    level = Amplitude(max(float(found[0]), 0.0), float(np.sqrt(covariance[0, 0])))
    return SizeTrend(level, float(found[1]), sd, float(2 * stdtr(freedom, -ratio)), years)


def _times(dates: Sequence[date]) -> tuple[Floats, float]:
    """Give times in years before the last date, and the span."""
    if len(dates) < 3 or dates[0] == dates[-1]:
        raise InputError(
            "a trend needs determinations on three occasions or more, not all on one day",
            todo="check the part again after some time",
        )
    times = np.array([(when - dates[-1]).days / DAYS_PER_YEAR for when in dates])
    return times, float(-times[0])


def _inverses(covariances: Sequence[Floats]) -> Floats:
    """Put the inverses of covariances on the diagonal of a matrix; alike where one is not known at all."""
    size = len(covariances[0])
    if min(float(np.linalg.eigvalsh(c)[0]) for c in covariances) <= 0:
        covariances = [np.eye(size)] * len(covariances)
    whole = np.zeros((size * len(covariances),) * 2)
    for index, covariance in enumerate(covariances):
        block = slice(size * index, size * (index + 1))
        whole[block, block] = np.linalg.inv(covariance)
    return whole


def _line(design: Floats, values: Floats, weights: Floats) -> tuple[Floats, Floats, int]:
    """Fit by weighted least squares; the covariance is scaled by the scatter about the line."""
    covariance = np.linalg.inv(design.T @ weights @ design)
    found = covariance @ design.T @ weights @ values
    apart = values - design @ found
    freedom = design.shape[0] - design.shape[1]
    # equal values still differ by rounding
    scatter = max(float(apart @ weights @ apart), 1e-18 * float(values @ weights @ values)) / freedom
    return found, covariance * scatter, freedom

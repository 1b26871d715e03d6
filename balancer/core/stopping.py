"""When to stop: inside the permissible residual, or inside what the measurement can see.

A measured residual z is the true one m plus an error of covariance C. What may be claimed is an upper bound
of |m|: with nothing known of m beforehand it is spread about z as the error is, and the bound is the 95 %
quantile of |N(z, C)|. For z = 0 and a circular C of standard deviation s in each component this is 2.45 s
(chi squared with two degrees of freedom), far from 0 it nears |z| + 1.645 s. Simulated, the true residual is
within the bound in 95 % of cases or more (tests/core/test_stopping.py).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.units import gmm_from_kgm

CONFIDENCE = 0.95

State = Literal["inside", "inside_unsure", "bench_limit", "go_on"]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)


@dataclass(frozen=True)
class Verdict:
    """Whether to stop, and what may be claimed.

    Parameters
    ----------
    state : {"inside", "inside_unsure", "bench_limit", "go_on"}
        ``inside``: below the permissible residual, the 95 % bound too. ``bench_limit``: the residual lies
        inside its own 95 % uncertainty, so this measurement cannot tell it from none. ``inside_unsure``: the
        residual is below the permissible one, its bound is not. ``go_on``: none of these.
    size : float
        Best estimate of the residual in kg m: the modulus without what noise adds to it on average.
    claim : float
        95 % bound of the residual in kg m: no less may be promised.
    limit : float
        Size of residual in kg m, in the least favourable direction, that this measurement can tell from none.
    permissible : float or None
        Permissible residual unbalance in kg m.
    certainty : float or None
        Probability that the residual is below `permissible`; None without one.
    """

    state: State
    size: float
    claim: float
    limit: float
    permissible: float | None
    certainty: float | None

    @property
    def done(self) -> bool:
        """Whether a further correction would be no use."""
        return self.state != "go_on"

    @property
    def finding(self) -> Finding:
        """The verdict with its figures, for words."""
        claim, size = gmm_from_kgm(self.claim), gmm_from_kgm(self.size)
        if self.permissible is None or self.certainty is None:
            if self.state == "go_on":
                return Finding.of("residual_seen", "info", size_gmm=size, limit_gmm=gmm_from_kgm(self.limit))
            return Finding.of("residual_not_seen", "info", claim_gmm=claim)
        allowed, percent = gmm_from_kgm(self.permissible), 100 * self.certainty
        if self.state == "inside":
            return Finding.of("residual_inside", "info", claim_gmm=claim, permissible_gmm=allowed)
        if self.state == "inside_unsure":
            return Finding.of(
                "residual_inside_unsure",
                "warning",
                size_gmm=size,
                claim_gmm=claim,
                permissible_gmm=allowed,
                certainty_percent=percent,
            )
        if self.state == "bench_limit":
            return Finding.of(
                "residual_bench_limit",
                "warning",
                claim_gmm=claim,
                permissible_gmm=allowed,
                certainty_percent=percent,
            )
        return Finding.of("residual_above", "info", size_gmm=size, claim_gmm=claim, permissible_gmm=allowed)


def judge(residual: UncertainComplex, permissible: float | None = None) -> Verdict:
    """Say whether to stop.

    Parameters
    ----------
    residual : UncertainComplex
        Unbalance left in kg m, such as an answer's `next_correction` (its sign does not matter).
    permissible : float, optional
        Permissible residual unbalance in kg m (`grade.permissible_unbalance`).

    Returns
    -------
    Verdict
        The state, and what may be claimed.

    Raises
    ------
    InputError
        If `permissible` is not above 0.
    """
    if permissible is not None and not (math.isfinite(permissible) and permissible > 0):
        raise InputError("the permissible residual must be above 0", todo="check rotor mass, speed and grade")
    claim = upper_bound(residual)
    major, _, _ = residual.covariance.axes()
    noise = residual.covariance.re + residual.covariance.im
    return Verdict(
        state=_state(residual, claim, permissible),
        size=math.sqrt(max(residual.amplitude**2 - noise, 0.0)),
        claim=claim,
        limit=math.sqrt(_chi_squared(CONFIDENCE)) * major,
        permissible=permissible,
        certainty=None if permissible is None else share_within(residual, permissible),
    )


def _state(residual: UncertainComplex, claim: float, permissible: float | None) -> State:
    if permissible is not None and claim <= permissible:
        return "inside"
    if within_own_uncertainty(residual):
        return "bench_limit"
    if permissible is not None and residual.amplitude <= permissible:
        return "inside_unsure"
    return "go_on"


def within_own_uncertainty(vector: UncertainComplex, share: float = CONFIDENCE) -> bool:
    """Say whether 0 lies in the ellipse about a vector that holds `share` of its uncertainty.

    Parameters
    ----------
    vector : UncertainComplex
        In any unit.
    share : float
        0.95 is chi squared below 5.99 with two degrees of freedom: 2.45 standard deviations where circular.

    Returns
    -------
    bool
        Whether the vector cannot be told from 0.
    """
    (first, second), (major, minor) = _on_axes(vector)
    if major == 0:
        return vector.value == 0
    square = (first / major) ** 2 + (second / max(minor, 1e-9 * major)) ** 2
    return square <= _chi_squared(share)


def share_within(vector: UncertainComplex, limit: float) -> float:
    """Give the probability that a vector of which nothing else is known is no longer than `limit`.

    Parameters
    ----------
    vector : UncertainComplex
        Its value and covariance.
    limit : float
        In the unit of the vector.

    Returns
    -------
    float
        0 to 1, to about 1e-4.
    """
    centre, axes = _on_axes(vector)
    if limit <= 0 or axes[0] == 0:
        return float(abs(vector.value) <= limit)
    return _share_within(centre, axes, limit)


def _share_within(centre: tuple[float, float], axes: tuple[float, float], limit: float) -> float:
    """Integrate the normal density over the disc of radius `limit`, components along the principal axes."""
    (first, second), major, minor = centre, axes[0], max(axes[1], 1e-6 * axes[0])
    # along the major axis x = limit sin(t); across it the normal integral is known
    lower, upper = (math.asin(min(max((first + k * major) / limit, -1), 1)) for k in (-8, 8))
    angles = (upper - lower) / 2 * _NODES + (upper + lower) / 2
    along, half = limit * np.sin(angles), limit * np.cos(angles)
    density = np.exp(-(((along - first) / major) ** 2) / 2) / (math.sqrt(2 * math.pi) * major)
    across = ndtr((half - second) / minor) - ndtr((-half - second) / minor)
    return float((upper - lower) / 2 * np.sum(_WEIGHTS * density * across * half))


def upper_bound(vector: UncertainComplex, share: float = CONFIDENCE) -> float:
    """Give the length that a vector stays below with probability `share`.

    Parameters
    ----------
    vector : UncertainComplex
        Its value and covariance.
    share : float
        Above 0 and below 1.

    Returns
    -------
    float
        In the unit of the vector.
    """
    (first, second), (major, minor) = _on_axes(vector)
    if major <= 1e-9 * vector.amplitude:
        return vector.amplitude
    centre, axes = (first / major, second / major), (1.0, minor / major)
    # |error| is below the root of chi squared in units of the major axis
    highest = math.hypot(*centre) + math.sqrt(_chi_squared(share)) + 0.01
    return major * float(brentq(lambda r: _share_within(centre, axes, r) - share, 1e-9, highest, xtol=1e-6))


def _chi_squared(share: float) -> float:
    """Quantile of chi squared with two degrees of freedom, an exponential distribution: 5.99 at 0.95."""
    return -2 * math.log(1 - share)


def _on_axes(vector: UncertainComplex) -> tuple[tuple[float, float], tuple[float, float]]:
    """Give the vector's components along the principal axes of its covariance, and their deviations."""
    major, minor, direction = vector.covariance.axes()
    turned = vector.value * cmath.exp(-1j * direction)
    return (turned.real, turned.imag), (major, minor)

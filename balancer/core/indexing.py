"""Indexing: one part is turned on the other, and each shows what is its own.

With the mark on the part that stays (the bell, say), every run is V = kept + turned exp(j angle), where the
angle by which the other part (the propeller) is turned counts against the rotation, as all rotor angles do.
What differs at each mounting (how the part seats) comes on top as scatter. The practice is in Bloch and
Geitner, Machinery Component Maintenance and Repair, p. 312; with n equal steps the least squares here are
kept = mean(A_k), turned = mean(A_k exp(-j angle_k)).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import chdtr, chdtri  # chi squared: distribution, and inverse of what is above

from balancer.core.channel_fit import rotation
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]

_LEAST_TURN = math.radians(20.0)  # below, the two parts can hardly be told apart
_ALL_KNOWN = math.sqrt(float(chdtri(2, 0.05)))


@dataclass(frozen=True)
class Scatter:
    """How differently the turned part sits from mounting to mounting.

    Parameters
    ----------
    sd : float
        Standard deviation of each component, in the unit of the vectors; what is more than the readings' own
        uncertainty explains.
    low, high : float
        It is between these with 95 % confidence.
    freedom : int
        Redundant numbers that it was found from; below 4 the range is wide.
    """

    sd: float
    low: float
    high: float
    freedom: int


@dataclass(frozen=True)
class Parts:
    """What belongs to which part.

    Parameters
    ----------
    kept : UncertainComplex
        Of the part that keeps the mark, in the frame of the mark. The seat counts with it: a seat off
        centre carries the other part's mass off centre.
    turned : UncertainComplex
        Of the part that was turned, in its own frame: its angle 0 lies at the mark when the index is 0.
    joint : tuple of tuple of float
        Covariance, 4 by 4, of (Re kept, Im kept, Re turned, Im turned).
    scatter : Scatter or None
        Of the mountings; None when no run is redundant, and then the uncertainties leave it out.
    coverage : float
        A circle around a result that covers it with 95 % reaches so many standard uncertainties (of a
        component): 2.45 when scatter need not be found, more the fewer runs tell it.
    """

    kept: UncertainComplex
    turned: UncertainComplex
    joint: tuple[tuple[float, ...], ...]
    scatter: Scatter | None
    coverage: float

    def together(self, angle: float) -> UncertainComplex:
        """Give what both make together with the index at `angle` (rad), before the scatter of a mounting."""
        slope = np.hstack((np.eye(2), rotation(cmath.exp(1j * angle))))
        covariance = Covariance.of_matrix(slope @ np.array(self.joint) @ slope.T)
        return UncertainComplex(self.kept.value + self.turned.value * cmath.exp(1j * angle), covariance)

    @property
    def best_angle(self) -> float:
        """The index in rad at which the two work against each other, were every angle possible."""
        if self.turned.value == 0 or self.kept.value == 0:
            return 0.0
        return cmath.phase(-self.kept.value / self.turned.value)


def split_parts(
    vectors: Sequence[UncertainComplex], angles: Sequence[float], doubt: Covariance | None = None
) -> Parts:
    """Find what belongs to the part that keeps the mark and what to the one that is turned on it.

    Least squares weighted with the readings' covariances and the scatter of the mountings, which is found
    from what is left over (Mandel and Paule 1970; its range by test inversion, Viechtbauer 2007; both from
    memory). Only runs between which the part was taken off and seated anew show that scatter.

    Parameters
    ----------
    vectors : sequence of UncertainComplex
        One per run: vibration at one speed, or unbalance.
    angles : sequence of float
        In rad against the rotation, how far the part was turned in each run; repeats are welcome.
    doubt : Covariance, optional
        Relative uncertainty of what turned readings into these vectors, common to all runs
        (`unbalances_of_readings`).

    Returns
    -------
    Parts
        Both parts with their uncertainties, and the scatter.

    Raises
    ------
    InputError
        If there are fewer than two runs or they are all at one index.
    """
    _check(vectors, angles)
    size = max(v.amplitude for v in vectors) or 1.0
    freedom = 2 * len(vectors) - 4

    model = _Model.of(vectors, angles)

    def excess(share: float) -> float:
        return model.fit(share * size**2)[2]

    shares = _scatter_shares(excess, freedom) if freedom else (0.0, 0.0, 0.0)
    solution, joint, _ = model.fit(shares[0] * size**2)
    sd, low, high = (size * math.sqrt(share) for share in shares)
    scatter = Scatter(sd, low, high, freedom) if freedom else None
    coverage = _coverage(excess(0.0), freedom) if freedom else _ALL_KNOWN
    kept, turned = complex(solution[0], solution[1]), complex(solution[2], solution[3])
    if doubt is not None:
        # both parts err by the same factor 1 - d, so that their errors are those of one number
        slope = np.vstack((rotation(kept), rotation(turned)))
        joint = joint + slope @ doubt.matrix @ slope.T
    return Parts(
        kept=UncertainComplex(kept, Covariance.of_matrix(joint[:2, :2])),
        turned=UncertainComplex(turned, Covariance.of_matrix(joint[2:, 2:])),
        joint=tuple(tuple(float(v) for v in row) for row in joint),
        scatter=scatter,
        coverage=coverage,
    )


def unbalances_of_readings(
    runs: Sequence[Sequence[UncertainComplex]], influence: Sequence[UncertainComplex]
) -> tuple[list[UncertainComplex], Covariance]:
    """Turn the 1x vectors of every run into one unbalance, all channels together.

    Parameters
    ----------
    runs : sequence of sequence of UncertainComplex
        For each run one vector per channel.
    influence : sequence of UncertainComplex
        Influence coefficient of each channel in reading per kg m.

    Returns
    -------
    unbalances : list of UncertainComplex
        In kg m, with the uncertainty of the readings alone.
    doubt : Covariance
        What the coefficients add, relative and the same for all runs.

    Raises
    ------
    InputError
        If the channels do not match, or the coefficients are 0.
    """
    if any(len(run) != len(influence) for run in runs):
        raise InputError(
            f"the influence coefficients are for {len(influence)} channels, the runs hold another number",
            todo="use those of the same stand and sensor set-up",
        )
    noise = np.array([[vector.covariance.radius**2 for vector in run] for run in runs]).mean(axis=0)
    # exact readings count alike; the small share keeps one exact channel among others from all the weight
    weights = 1 / (noise / noise.max() + 1e-6) if noise.max() > 0 else np.ones(noise.shape)
    power = sum(w * h.amplitude**2 for w, h in zip(weights, influence, strict=True))
    if power == 0:
        raise InputError(
            "an influence coefficient of 0 tells no unbalance", todo="measure it with a trial mass"
        )
    factors = [complex(w * h.value.conjugate() / power) for w, h in zip(weights, influence, strict=True)]
    doubt = _total(h.covariance.times(f) for f, h in zip(factors, influence, strict=True))
    found = [
        UncertainComplex(
            sum((f * v.value for f, v in zip(factors, run, strict=True)), 0j),
            _total(v.covariance.times(f) for f, v in zip(factors, run, strict=True)),
        )
        for run in runs
    ]
    return found, doubt


def _total(covariances: Iterable[Covariance]) -> Covariance:
    return reduce(Covariance.plus, covariances)


def _check(vectors: Sequence[UncertainComplex], angles: Sequence[float]) -> None:
    if len(vectors) != len(angles):
        raise InputError(
            "every run needs the angle by which the part was turned", todo="give one for each run"
        )
    if len(vectors) < 2:
        raise InputError("one run cannot tell the parts apart", todo="turn one part and run again")
    turns = [abs(math.remainder(angle - angles[0], 2 * math.pi)) for angle in angles]
    if max(turns) < _LEAST_TURN:
        raise InputError(
            "in all runs the part sits at the same angle, so nothing tells the two apart",
            todo="turn it by 180 degrees, or as far as it goes, and run again",
        )


@dataclass(frozen=True, eq=False)
class _Model:
    """The linear model, real and imaginary part of each run as one block.

    Parameters
    ----------
    design : array, shape (runs, 2, 4)
        Of (Re kept, Im kept, Re turned, Im turned).
    target : array, shape (runs, 2)
        The vectors.
    covariances : array, shape (runs, 2, 2)
        Of the vectors.
    """

    design: Floats
    target: Floats
    covariances: Floats

    @classmethod
    def of(cls, vectors: Sequence[UncertainComplex], angles: Sequence[float]) -> _Model:
        """Set it up; an exact vector counts as known to a millionth of the largest one."""
        floor = (1e-6 * max(v.amplitude for v in vectors)) ** 2 or 1e-300
        return cls(
            np.array([np.hstack((np.eye(2), rotation(cmath.exp(1j * angle)))) for angle in angles]),
            np.array([[v.value.real, v.value.imag] for v in vectors]),
            np.array([v.covariance.matrix + floor * np.eye(2) for v in vectors]),
        )

    def fit(self, variance: float) -> tuple[Floats, Floats, float]:
        """Fit with a further variance of each component; give solution, its covariance and chi squared."""
        weights = np.linalg.inv(self.covariances + variance * np.eye(2))
        pulled = np.swapaxes(self.design, 1, 2) @ weights
        covariance = np.linalg.inv(np.sum(pulled @ self.design, axis=0))
        solution = covariance @ np.einsum("rij,rj->i", pulled, self.target)
        left = self.target - self.design @ solution
        return solution, (covariance + covariance.T) / 2, float(np.einsum("ri,rij,rj->", left, weights, left))


def _scatter_shares(excess: Callable[[float], float], freedom: int) -> tuple[float, float, float]:
    """Find the variance at which chi squared is as expected, and the least and largest that may give it."""

    def at(wanted: float) -> float:
        if excess(0.0) <= wanted:
            return 0.0
        most = 1e-15
        while excess(most) > wanted:
            most *= 16
        return float(brentq(lambda share: excess(share) - wanted, 0.0, most, xtol=1e-20, rtol=1e-9))

    few, many = (float(chdtri(freedom, above)) for above in (0.975, 0.025))
    return at(freedom), at(many), at(few)


def _coverage(misfit: float, freedom: int) -> float:
    """Give the radius of the 95 % circle in standard uncertainties, which were found from the misfit.

    With a total variance v of which is known only that it is no less than the readings' own m (prior dv / v),
    S / v is distributed as chi squared cut off at S / m, and the tail outside a circle has a closed form.
    Where scatter rules it is the F distribution (the t distribution of GUM G.3, in two dimensions).
    """
    cut = max(misfit, 1e-3)

    def outside(ratio: float) -> float:
        share = chdtr(freedom, cut * (1 + ratio)) / chdtr(freedom, cut)
        return float(share * (1 + ratio) ** (-freedom / 2)) - 0.05

    most = 1.0
    while outside(most) > 0:
        most *= 4
    ratio = float(brentq(outside, 0.0, most))
    return max(math.sqrt(ratio * min(cut, freedom)), _ALL_KNOWN)

"""Has it changed? A test on vectors, so that a turn of phase counts as much as a growth of amplitude.

The difference of two determinations is compared with its covariance: where that is known its squared distance
is chi squared with two degrees of freedom a channel, where it is estimated from k repeats it is Hotelling's T
squared (T. W. Anderson, An Introduction to Multivariate Statistical Analysis, chapter 5, from memory).

What can be seen: with one vector and 5 % false alarms, a change of 3 standard deviations of the difference's
components is seen in 77 % of cases, and 90 % takes 3.56 (noncentral chi squared). No test can do better than
91 % at 3, even one that knew the direction beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, chndtr, fdtrc, fdtri, ncfdtr  # quicker to load than scipy.stats

from balancer.core.scatter import Scatter, Vectors, block_diagonal, channels, covariances, parts
from balancer.core.vectors import Covariance, Floats, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.units import degrees_0_360, gmm_from_kgm

FALSE_ALARM = 0.05
"""How often an unchanged part is called changed."""

POWER = 0.90
"""How often a change of the detectable size is seen."""

_LEAST_STRETCH = 0.01  # values that agree to the last digit were rounded

State = Literal["changed", "no_sign", "cannot_tell"]


@dataclass(frozen=True)
class Change:
    """Whether something changed, and what could have been seen.

    Parameters
    ----------
    state : {"changed", "no_sign", "cannot_tell"}
        ``cannot_tell``: no sign of a change, but one that matters might have been missed.
    difference : tuple of UncertainComplex
        Now minus before, for each channel.
    probability : float
        How often chance alone makes such a difference between determinations of an unchanged part.
    detectable : tuple of float
        Size of change of each channel, in the least favourable direction, that is seen in 90 % of cases.
    against : int
        With how many earlier determinations it was compared.
    """

    state: State
    difference: tuple[UncertainComplex, ...]
    probability: float
    detectable: tuple[float, ...]
    against: int = 1

    @property
    def finding(self) -> Finding:
        """The answer for the first vector as an unbalance in kg m, with its figures, for words."""
        change, seen = self.difference[0], gmm_from_kgm(self.detectable[0])
        percent = 100 * self.probability
        if self.state == "changed":
            return Finding.of(
                "part_changed",
                "warning",
                change_gmm=gmm_from_kgm(change.amplitude),
                sd_gmm=gmm_from_kgm(change.sd_amplitude),
                angle_deg=degrees_0_360(change.lag),
                chance_percent=percent,
            )
        if self.state == "cannot_tell":
            return Finding.of("change_cannot_be_told", "warning", chance_percent=percent, detectable_gmm=seen)
        return Finding.of("no_sign_of_change", "info", chance_percent=percent, detectable_gmm=seen)

    @property
    def reading_findings(self) -> tuple[Finding, ...]:
        """The answer for raw readings at one set-up, in shares of the uncertainty, for words."""
        percent = 100 * self.probability
        if self.state != "changed":
            return (Finding.of("readings_unchanged", "info", chance_percent=percent),)
        most = max(
            range(len(self.difference)), key=lambda c: self.difference[c].amplitude / self.detectable[c]
        )
        ratio = self.difference[most].amplitude / max(self.difference[most].covariance.radius, 1e-300)
        return (
            Finding.of("readings_changed", "warning", channel=most + 1, ratio=ratio, chance_percent=percent),
        )


def compare(
    earlier: Sequence[Vectors],
    now: Vectors,
    *,
    scatter: Scatter | None = None,
    shared: Covariance | None = None,
    matters: float | None = None,
) -> Change:
    """Compare a determination with an earlier one, or with the weighted mean of several.

    Parameters
    ----------
    earlier : sequence of UncertainComplex, or of sequence of UncertainComplex
        The earlier determinations, one or more: an unbalance each, or raw readings at one set-up (same stand,
        speed and masses), one for each channel.
    now : UncertainComplex or sequence of UncertainComplex
        The new one.
    scatter : Scatter, optional
        By how much mounting the part anew changes the vectors. Without it, several earlier ones tell that by
        themselves: their covariances say in which shape, their own scatter how much (an F test, exact however
        few there are). With one earlier one only the noise then counts, and a part that was taken off and put
        back will often seem changed.
    shared : Covariance, optional
        Of the relative error of the influence coefficient with which all of them were found (`relative`).
        Their covariances hold it, but it does not tell them apart: it is taken out for the test.
    matters : float, optional
        Size of change, in the unit of the vectors, that must not be missed.

    Returns
    -------
    Change
        The answer.

    Raises
    ------
    InputError
        If there is nothing earlier, they do not hold the same channels, the covariances do not hold the
        shared error, or nothing at all is known of the uncertainty.
    """
    counts = {len(channels(one)) for one in (*earlier, now)}
    if not earlier or len(counts) != 1 or (scatter and len(scatter.rows) != 2 * counts.pop()):
        raise InputError(
            "a change shows only between determinations of the same channels",
            todo="compare what was measured with one set-up",
        )
    values = np.array([parts(one) for one in earlier])
    noises = [_own_noise(one, shared) for one in earlier]
    if len(earlier) == 1 and scatter is None and not any(c.radius for c in covariances(now)):
        raise InputError(
            "nothing is known of the uncertainty of these vectors, so a change cannot be told from chance",
            todo="give it, or compare with several earlier determinations",
        )
    yardstick, weights = _yardstick(values, noises, _own_noise(now, shared), scatter)
    difference = parts(now) - np.einsum("kij,kj->i", weights, values)
    return _judged(difference, yardstick, shared, matters, len(earlier))


def relative(influence: UncertainComplex) -> Covariance:
    """Give the covariance of the relative error of an influence coefficient (its error over its value)."""
    return influence.covariance.times(1 / influence.value)


@dataclass(frozen=True, eq=False)
class _Yardstick:
    """The covariance of a difference where nothing changed, and how well it is known.

    `freedom` is None where it is known, else that of the F distribution's denominator; `factor` makes F of
    the squared distance.
    """

    matrix: Floats
    freedom: float | None = None
    factor: float = 1.0

    @classmethod
    def hotelling(cls, matrix: Floats, freedom: float) -> _Yardstick:
        """Make one from an estimated covariance: T^2 (n - p + 1)/(n p) is F with p and n - p + 1."""
        size = len(matrix)
        rest = freedom - size + 1
        return cls(matrix, rest, rest / (freedom * size))

    def square(self, difference: Floats) -> float:
        return float(difference @ np.linalg.solve(self.matrix, difference))

    def probability(self, difference: Floats) -> float:
        size, square = len(difference), self.square(difference)
        if self.freedom is None:
            return float(chdtrc(size, square))
        return float(fdtrc(size, self.freedom, square * self.factor))

    def seen(self) -> float:
        """Give the distance, in standard deviations, at which a change is seen in 90 % of cases."""
        return _seen(len(self.matrix), None if self.freedom is None else round(self.freedom, 2))


@lru_cache(maxsize=256)
def _seen(size: int, freedom: float | None) -> float:
    if freedom is None:
        limit = chdtri(size, FALSE_ALARM)
        return _root(lambda x: 1 - chndtr(limit, size, x * x) - POWER)
    limit = fdtri(size, freedom, 1 - FALSE_ALARM)
    return _root(lambda x: 1 - ncfdtr(size, freedom, x * x, limit) - POWER)


def _root(function: Callable[[float], float]) -> float:
    high = 2.0
    while function(high) < 0 and high < 1e4:
        high *= 2
    return float(brentq(function, 0.1, high)) if high < 1e4 else math.inf


def _yardstick(
    values: Floats, noises: list[Floats], own: Floats, scatter: Scatter | None
) -> tuple[_Yardstick, Floats]:
    """Give the covariance of the difference from the earlier ones' weighted mean, and the weights."""
    count, size = values.shape
    if scatter is not None and scatter.freedom is not None:
        equal = np.array([np.eye(size) / count] * count)
        return _estimated(noises, own, scatter), equal
    mounting = np.zeros((size, size)) if scatter is None else scatter.matrix
    whole = np.array([_solid(noise + mounting) for noise in (*noises, own)])
    inverses = np.linalg.inv(whole[:-1])
    of_mean = np.linalg.inv(inverses.sum(axis=0))
    weights, matrix = of_mean @ inverses, whole[-1] + of_mean
    if scatter is not None or count == 1:
        return _Yardstick(matrix), weights
    apart = values - np.einsum("kij,kj->i", weights, values)
    freedom = size * (count - 1)
    stretch = float(np.einsum("ki,kij,kj->", apart, inverses, apart)) / freedom
    return _Yardstick(matrix * max(stretch, _LEAST_STRETCH), freedom, 1 / size), weights


def _estimated(noises: list[Floats], own: Floats, scatter: Scatter) -> _Yardstick:
    """Take the scatter of the repeats, and of the noise only what goes beyond theirs.

    Degrees of freedom of the sum of a known and an estimated covariance after D. G. Nel and C. A. van der
    Merwe 1986 (from memory); without more noise they are those of the repeats.
    """
    count, freedom = len(noises), scatter.freedom or 0.0
    theirs = np.array(scatter.noise) if scatter.noise else np.zeros_like(own)
    estimated = _solid(scatter.matrix) * (1 + 1 / count)
    more = _positive(own - theirs) + sum(_positive(noise - theirs) for noise in noises) / count**2
    matrix = estimated + more
    freedom *= _size(matrix) / _size(estimated)
    if scatter.circular:
        return _Yardstick(matrix, 2 * freedom, 1 / 2)
    return _Yardstick.hotelling(matrix, freedom)


def _size(matrix: Floats) -> float:
    return float(np.trace(matrix @ matrix) + np.trace(matrix) ** 2)


def _positive(matrix: Floats) -> Floats:
    """Keep of a symmetric matrix what is positive."""
    values, axes = np.linalg.eigh(matrix)
    return np.asarray((axes * np.maximum(values, 0.0)) @ axes.T)


def _solid(matrix: Floats) -> Floats:
    """Lift a covariance off zero, so that it can be divided by: nothing is known better than to 1e-6."""
    return np.asarray(matrix + np.eye(len(matrix)) * (1e-12 * float(np.trace(matrix)) or 1e-30))


def _own_noise(vectors: Vectors, shared: Covariance | None) -> Floats:
    """Give the covariance of a determination without the share of the coefficient's error: U r."""
    if shared is None:
        return block_diagonal(covariances(vectors))
    if isinstance(vectors, UncertainComplex) or len(vectors) == 1:
        (vector,) = channels(vectors)
        own = vector.covariance.matrix - shared.times(vector.value).matrix
        if np.linalg.eigvalsh(own)[0] >= -1e-6 * max(float(np.trace(vector.covariance.matrix)), 1e-300):
            return _positive(own)
    raise InputError(
        "the uncertainties do not hold that of the shared influence coefficient",
        todo="give unbalances with the uncertainty of the coefficient in theirs, or compare raw readings",
    )


def _judged(
    difference: Floats, yardstick: _Yardstick, shared: Covariance | None, matters: float | None, against: int
) -> Change:
    probability, seen = yardstick.probability(difference), yardstick.seen()
    found, detectable = [], []
    for start in range(0, len(difference), 2):
        block = yardstick.matrix[start : start + 2, start : start + 2]
        value = complex(*difference[start : start + 2])
        covariance = Covariance.of_matrix(block)
        # the coefficient's error scales the change itself
        more = shared.times(value) if shared else Covariance(0.0, 0.0)
        found.append(UncertainComplex(value, covariance.plus(more)))
        given_others = np.linalg.inv(np.linalg.inv(yardstick.matrix)[start : start + 2, start : start + 2])
        detectable.append(seen * float(np.sqrt(np.linalg.eigvalsh(given_others)[-1])))
    state: State = "no_sign"
    if probability < FALSE_ALARM:
        state = "changed"
    elif matters is not None and max(detectable) > matters:
        state = "cannot_tell"
    return Change(state, tuple(found), probability, tuple(detectable), against)

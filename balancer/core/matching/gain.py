"""What one arrangement of propellers gains over another, and how sure that is.

The pair that looks best among many owes part of its look to chance: taking the least of many measured values
favours those whose errors happened to help. So each measured vector is first drawn towards zero as far as the
spread over all parts of its kind says that it is noise (empirical Bayes; B. Efron and C. Morris 1973, from
memory; how well that spread is known counts, too), then both arrangements are compared over many draws of
what the true vectors may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from balancer.core.vectors import Complexes, Floats, UncertainComplex

DRAWS = 2000


@dataclass(frozen=True)
class Gain:
    """What one arrangement has less than another, in the unit of the costs.

    Parameters
    ----------
    before : float
        Expected cost of the other arrangement.
    expected : float
        Expected gain; mostly less than what the measured vectors promise.
    lower, upper : float
        Between these it lies with 95 % probability.
    """

    before: float
    expected: float
    lower: float
    upper: float

    @property
    def sure(self) -> bool:
        """Whether the gain is larger than its uncertainty."""
        return self.lower > 0

    @property
    def share(self) -> float:
        """The expected gain as a share of what was before."""
        return self.expected / self.before if self.before > 0 else 0.0


def gain(before: Floats, after: Floats) -> Gain:
    """Compare the costs of two arrangements.

    Parameters
    ----------
    before, after : numpy.ndarray of float
        The cost of each for the same draws.

    Returns
    -------
    Gain
        Of the second over the first.
    """
    difference = before - after
    lower, upper = np.quantile(difference, (0.025, 0.975))
    return Gain(float(before.mean()), float(difference.mean()), float(lower), float(upper))


def draws(vectors: Sequence[UncertainComplex], rng: np.random.Generator) -> Complexes:
    """Draw what the true vectors of parts of one kind may be.

    Parameters
    ----------
    vectors : sequence of UncertainComplex
        As measured, in kg m.
    rng : numpy.random.Generator
        The source of chance.

    Returns
    -------
    numpy.ndarray of complex
        Shape (draws, vectors).
    """
    measured = np.array([[v.value.real, v.value.imag] for v in vectors])
    noise, axes = np.linalg.eigh(np.array([v.covariance.matrix for v in vectors]))
    noise = np.maximum(noise, 0.0)
    spread = _spreads(measured, noise, rng)[:, np.newaxis, np.newaxis]
    whole = spread + noise
    share = np.divide(noise, whole, out=np.zeros_like(whole), where=whole > 0)  # that is noise
    along = np.einsum("vij,vi->vj", axes, measured)
    drawn = (1 - share) * along + np.sqrt(spread * share) * rng.standard_normal(whole.shape)
    turned = np.einsum("vij,dvj->dvi", axes, drawn)
    return np.asarray(turned[..., 0] + 1j * turned[..., 1])


def _spreads(measured: Floats, noise: Floats, rng: np.random.Generator) -> Floats:
    """Draw what the variance of a component of the true vectors may be: few parts tell it only roughly.

    The mean square of all components, over its expectation, is chi squared with as many degrees of freedom.
    """
    freedom = measured.size
    together = float((measured**2).sum()) / rng.chisquare(freedom, DRAWS)
    return np.asarray(np.maximum(together - noise.mean(), 0.0), float)

"""The unbalance that a single run shows, through influence coefficients that are known.

What is left with pieces on is best read from the run made with them, U = V / H: how exactly the pieces were
cut does not enter, as it does when what they should make is added up.
"""

from __future__ import annotations

import cmath
from collections.abc import Sequence

from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError


def unbalance_seen(run: Run, influence: Sequence[UncertainComplex]) -> UncertainComplex:
    """Give the unbalance in kg m that a run shows.

    Channels are weighted by their noise. The uncertainty is that of readings and coefficients to first order.
    Between channels it is added up as if they erred alike: a speed that was missed, or a trial piece cut too
    long, puts all of them off in the same way.

    Parameters
    ----------
    run : Run
        With or without phase.
    influence : sequence of UncertainComplex
        Influence coefficient of each channel in reading per kg m, at the speed of the run.

    Returns
    -------
    UncertainComplex
        In kg m; without phase its angle is 0 by choice.

    Raises
    ------
    InputError
        If the channels and the coefficients do not match, or no coefficient is above 0.
    """
    if len(influence) != len(run.readings):
        raise InputError(
            f"{len(influence)} influence coefficients do not fit {len(run.readings)} channels",
            todo="use those of the same stand and sensor set-up",
        )
    pairs = [_vectors(reading, h) for reading, h in zip(run.readings, influence, strict=True)]
    floor = max(abs(v.value) for v, _ in pairs) ** 2 * 1e-18 or 1.0
    weights = [1 / (v.covariance.radius**2 + floor) for v, _ in pairs]
    power = sum(w * h.amplitude**2 for w, (_, h) in zip(weights, pairs, strict=True))
    if power == 0:
        raise InputError("an influence coefficient of 0 tells no unbalance", todo="make a trial run")
    slopes = [w * h.value.conjugate() / power for w, (_, h) in zip(weights, pairs, strict=True)]
    value = sum(k * v.value for k, (v, _) in zip(slopes, pairs, strict=True))
    readings = sum(abs(k) * v.covariance.radius for k, (v, _) in zip(slopes, pairs, strict=True))
    gains = sum(abs(k * value) * h.covariance.radius for k, (_, h) in zip(slopes, pairs, strict=True))
    return UncertainComplex(complex(value), Covariance.circular(readings**2 + gains**2))


def _vectors(reading: object, influence: UncertainComplex) -> tuple[UncertainComplex, UncertainComplex]:
    """Give reading and coefficient as vectors; without phase both lie at the angle 0."""
    if isinstance(reading, UncertainComplex):
        return reading, influence
    assert isinstance(reading, Amplitude)
    # of the gain only its size matters, and its scatter along itself
    size = influence.times(cmath.exp(-1j * influence.lag))
    gain = UncertainComplex(complex(size.amplitude), Covariance.circular(size.covariance.re))
    return UncertainComplex(complex(reading.value), Covariance.circular(reading.sd**2)), gain

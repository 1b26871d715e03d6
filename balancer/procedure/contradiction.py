"""Whether a run contradicts a stored influence coefficient: the channels answer together, or not at all."""

from __future__ import annotations

from collections.abc import Sequence

from balancer.core.runs import Run
from balancer.core.vectors import UncertainComplex

MOST = 0.5
"""Share of the shaking that no unbalance explains, from which a coefficient is not used (no source).

A stand whose sensor or clamp moved, or a rotor that turns the other way, changes the channels unlike: on the
simulated bench the share is below 0.05 where all is as it was, and above 0.9 with the other hand.
"""

_WITHIN = 9.0  # chi squared for each number compared: three standard deviations, as for repeats


def contradicts(run: Run, influence: Sequence[UncertainComplex]) -> bool:
    """Say whether a run of the rotor cannot be explained by any unbalance with an influence coefficient.

    Parameters
    ----------
    run : Run
        Any, with a phase.
    influence : sequence of UncertainComplex
        H of each channel in reading per kg m.

    Returns
    -------
    bool
        False where that cannot be told: with one channel, without phase, or within the noise.
    """
    readings = [one for one in run.readings if isinstance(one, UncertainComplex)]
    if len(readings) < 2 or len(readings) != len(influence):
        return False
    pairs = list(zip(readings, influence, strict=True))
    size = sum(abs(h.value) ** 2 for _, h in pairs)
    # least squares: the unbalance, constant masses included, that explains most of the run
    best = sum(h.value.conjugate() * reading.value for reading, h in pairs) / size
    apart = [abs(reading.value - h.value * best) ** 2 for reading, h in pairs]
    doubt = [reading.covariance.radius**2 + (abs(best) * h.covariance.radius) ** 2 for reading, h in pairs]
    share = sum(apart) / max(sum(abs(reading.value) ** 2 for reading in readings), 1e-300)
    chi = sum(gap / max(sd, 1e-300) for gap, sd in zip(apart, doubt, strict=True))
    return share > MOST**2 and chi > _WITHIN * 2 * (len(pairs) - 1)

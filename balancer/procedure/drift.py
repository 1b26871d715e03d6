"""Whether a stand has changed: its latest influence coefficient against those before it."""

from __future__ import annotations

from collections.abc import Sequence

from balancer.core.scatter import Scatter
from balancer.core.vector_change import Change, compare
from balancer.core.vectors import UncertainComplex
from balancer.procedure.coefficients import StoredCoefficient, average
from balancer.procedure.trust import scatter_between_jobs


def drift(found: Sequence[StoredCoefficient], channel: int) -> Change | None:
    """Say whether the latest coefficient differs from those before it by more than jobs usually do.

    Parameters
    ----------
    found : sequence of StoredCoefficient
        That belong together, the latest first.
    channel : int
        Which one is compared: all share the errors of the masses, so more channels would not tell more.

    Returns
    -------
    Change or None
        In reading per kg m; None where there is nothing to compare.
    """
    if len(found) < 2:
        return None
    latest, *earlier = (_at_speed(one, found[0].speed, channel) for one in found)
    spread, worth = scatter_between_jobs(len(earlier), average(found[1:]).scatter)
    scatter = Scatter.of_mounting(spread * latest.amplitude, 2 * worth)
    return compare(earlier, latest, scatter=scatter)


def _at_speed(one: StoredCoefficient, speed: float, channel: int) -> UncertainComplex:
    return one.influence[channel].times((speed / one.speed) ** 2)

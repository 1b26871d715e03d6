"""The run that does not fit: each predicted from all others and compared with its own reading.

The square of the distance in standard deviations of prediction and reading together is chi squared with two
degrees of freedom a channel; it is also what leaving the run out takes from the chi squared of the whole fit,
so the largest one names the run that fits worst. One redundant run tells that something is off, but not what:
all distances are then the same. Two redundant runs (four runs, or three with a known H) single it out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtrc  # quicker to load than scipy.stats

from balancer.core.channel_fit import Known, fit_runs, masses_differ, square_distance, with_phase
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.findings import Finding

REPEATABILITY = 0.02
"""Share of a reading, and of the effect of what is fitted, by which careful runs differ beyond their noise: a
piece laid again lies a degree elsewhere (common practice, no source)."""

_FALSE_ALARM = 0.009  # in a job without an outlier
_RIVAL = 6.0  # chi squared: a run worse by less (a likelihood of 5 %) may be the one as well


@dataclass(frozen=True)
class Outlier:
    """A run that the others contradict.

    Parameters
    ----------
    run : int
        Its index, from 0.
    distance : float
        From its prediction, in standard deviations of both (Mahalanobis distance).
    probability : float
        How often chance puts the worst of so many runs so far off.
    influence : tuple of UncertainComplex
        Influence coefficient of each channel without the run, in reading per kg m.
    rivals : tuple of int
        Other runs that may be the wrong one as well, from 0; empty when it is singled out.
    """

    run: int
    distance: float
    probability: float
    influence: tuple[UncertainComplex, ...]
    rivals: tuple[int, ...]

    @property
    def finding(self) -> Finding:
        """The outlier with its figures (runs counted from 1), for words."""
        if self.rivals:
            numbers = ", ".join(str(index + 1) for index in sorted((self.run, *self.rivals)))
            return Finding.of("outlier_unclear", "warning", names=numbers, distance=self.distance)
        return Finding.of("run_outlying", "warning", run=self.run + 1, distance=self.distance)


def outliers(
    runs: Sequence[Run], known: Known | None = None, *, repeatability: float = REPEATABILITY
) -> tuple[Outlier, ...]:
    """Find runs that the others contradict.

    Parameters
    ----------
    runs : sequence of Run
        With phase, at one speed (`Run.at_speed`).
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m, known beforehand.
    repeatability : float
        Share of each reading, and of the effect of the masses in it, added to its uncertainty.

    Returns
    -------
    tuple of Outlier
        The worst first. Empty when all fit, and when no run is redundant. One with rivals is the last: what
        is off beyond it cannot be told.
    """
    softened = soften(runs, known, repeatability=repeatability)
    indices = list(range(len(runs)))
    found: list[Outlier] = []
    while True:
        worst = _worst([softened[i] for i in indices], known)
        if worst is None:
            return tuple(found)
        named = replace(worst, run=indices[worst.run], rivals=tuple(indices[index] for index in worst.rivals))
        found.append(named)
        indices.remove(named.run)
        if named.rivals:
            return tuple(found)


def _worst(runs: Sequence[Run], known: Known | None) -> Outlier | None:
    left_out = [_without(runs, index, known) for index in range(len(runs))]
    judged = {index: entry for index, entry in enumerate(left_out) if entry is not None}
    if not judged:
        return None
    channels = len(runs[0].readings)
    worst = max(judged, key=lambda index: judged[index][0])
    square, influence = judged[worst]
    rivals = tuple(index for index in judged if index != worst and square - judged[index][0] < _RIVAL)
    # where all distances agree, they are one test and not several
    tests = 1 if len(rivals) == len(judged) - 1 and redundancy(runs, known) == 1 else len(judged)
    probability = min(tests * float(chdtrc(2 * channels, square)), 1.0)
    if probability > _FALSE_ALARM:
        return None
    return Outlier(worst, float(np.sqrt(square)), probability, influence, rivals)


def redundancy(runs: Sequence[Run], known: Known | None = None) -> int:
    """Count the runs beyond those needed: 1 shows that something is off, 2 and more can show what."""
    return len(runs) - (2 if known is None else 1)


def _without(
    runs: Sequence[Run], index: int, known: Known | None
) -> tuple[float, tuple[UncertainComplex, ...]] | None:
    """Square of the distance of one run from what the others expect, and their H; None if they cannot."""
    others = [run for i, run in enumerate(runs) if i != index]
    if not others or (known is None and not masses_differ(others)):
        return None
    fits, scale = fit_runs(others, known)
    square = 0.0
    for fit, reading in zip(fits, runs[index].readings, strict=True):
        expected = fit.predicted(runs[index].unbalance / scale)
        vector = with_phase(reading)
        square += square_distance(vector.value - expected.value, vector.covariance.plus(expected.covariance))
    influence = tuple(UncertainComplex(fit.effect, fit.effect_covariance()).times(1 / scale) for fit in fits)
    return square, influence


def soften(
    runs: Sequence[Run], known: Known | None = None, *, repeatability: float = REPEATABILITY
) -> list[Run]:
    """Widen every reading by the share that careful runs differ by beyond their noise.

    Parameters
    ----------
    runs : sequence of Run
        With phase.
    known : sequence of UncertainComplex, optional
        As in `outliers`.
    repeatability : float
        Share of the reading and of the effect of the masses.

    Returns
    -------
    list of Run
        The same readings, less sure.
    """
    if known is None and not masses_differ(runs):
        fits, scale = None, 1.0
    else:
        fits, scale = fit_runs(runs, known)
    softened = []
    for run in runs:
        readings = []
        for channel, reading in enumerate(map(with_phase, run.readings)):
            effect = 0.0 if fits is None else abs(fits[channel].effect * run.unbalance / scale)
            more = Covariance.circular(repeatability**2 * (reading.amplitude**2 + effect**2))
            readings.append(UncertainComplex(reading.value, reading.covariance.plus(more)))
        softened.append(replace(run, readings=tuple(readings)))
    return softened

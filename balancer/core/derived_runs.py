"""Runs made of runs: their mean, the same run less sure, the same run with its masses mirrored."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from balancer.core.runs import Amplitude, Reading, Run
from balancer.core.vectors import Covariance, UncertainComplex


def mean_run(runs: Sequence[Run]) -> Run:
    """Give the mean of runs with the same masses, at the speed of the first.

    Parameters
    ----------
    runs : sequence of Run
        One or more, all with phase or all without.

    Returns
    -------
    Run
        With the first one's masses and purpose; the uncertainty is that of a mean of independent runs.
    """
    speed = runs[0].speed
    compared = [run if speed is None else run.at_speed(speed) for run in runs]
    columns = zip(*(run.readings for run in compared), strict=True)
    return Run(tuple(_mean(column) for column in columns), runs[0].masses, runs[0].purpose, speed)


def _mean(readings: Sequence[Reading]) -> Reading:
    count = len(readings)
    vectors = [one for one in readings if isinstance(one, UncertainComplex)]
    if len(vectors) == count:
        matrix = np.sum([one.covariance.matrix for one in vectors], axis=0) / count**2
        return UncertainComplex(sum(one.value for one in vectors) / count, Covariance.of_matrix(matrix))
    plain = [one for one in readings if isinstance(one, Amplitude)]
    sd = math.sqrt(sum(one.sd**2 for one in plain)) / count
    return Amplitude(sum(one.value for one in plain) / count, sd)


def less_sure(run: Run, fit_error: float, influence: Sequence[UncertainComplex]) -> Run:
    """Widen the readings of a run by what its masses may make more or less than they should.

    Parameters
    ----------
    run : Run
        With or without phase.
    fit_error : float
        Standard uncertainty of what is fitted in kg m (root mean square of a vector in the plane).
    influence : sequence of UncertainComplex
        Influence coefficient of each channel in reading per kg m.

    Returns
    -------
    Run
        The same readings with larger uncertainties.
    """
    readings: list[Reading] = []
    for reading, h in zip(run.readings, influence, strict=True):
        more = h.amplitude * fit_error / math.sqrt(2)  # of each component
        if isinstance(reading, Amplitude):
            readings.append(Amplitude(reading.value, math.hypot(reading.sd, more)))
        else:
            wider = reading.covariance.plus(Covariance.circular(more**2))
            readings.append(UncertainComplex(reading.value, wider))
    return replace(run, readings=tuple(readings))


def mirrored(run: Run) -> Run:
    """Give the run as if its masses had been laid with the rotation instead of against it."""
    return replace(run, masses=tuple(replace(mass, angle=-mass.angle) for mass in run.masses))

"""How large a 1x vector noise alone makes: from the sensor at rest, else from what the runs leave open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from balancer.core.vectors import SDS_95, UncertainComplex
from balancer.procedure.facts import Counted
from balancer.procedure.job import Job
from balancer.units import G_STANDARD

TURNS = 400
"""Turns of the shaft for which the floor at rest is given: a usual run."""

_AT_REST = frozenset({"noise_high", "noise_low", "noise_usual"})


@dataclass(frozen=True)
class NoiseFloor:
    """The size of 1x that noise alone exceeds in 5 of 100 runs.

    Parameters
    ----------
    amplitude : float
        Peak, in the unit of the readings.
    known_from : {"rest", "runs"}
        The check of the sensor at rest, or the uncertainty of the surest run.
    """

    amplitude: float
    known_from: Literal["rest", "runs"]


def noise_floor(job: Job, counted: Sequence[Counted], channel: int) -> NoiseFloor | None:
    """Give the noise floor of a channel.

    Parameters
    ----------
    job : Job
        The job, with the check of the sensor at rest if there was one.
    counted : sequence of Counted
        Its runs that count.
    channel : int
        Which channel, from 0.

    Returns
    -------
    NoiseFloor or None
        None where neither tells it, such as from readings without phase.
    """
    density = _density(job, channel)
    if density is not None and job.speed is not None:
        return NoiseFloor(floor_at_rest(density, 2 * math.pi * TURNS / job.speed), "rest")
    readings = (one.run.readings[channel] for one in counted)
    spreads = [r.covariance.axes()[0] for r in readings if isinstance(r, UncertainComplex)]
    return NoiseFloor(SDS_95 * min(spreads), "runs") if spreads and min(spreads) > 0 else None


def floor_at_rest(density: float, duration: float) -> float:
    """Give the 1x amplitude that white noise exceeds in 5 of 100 fits.

    Fitted over the time T, both parts of the vector have the variance n^2 / T, where n^2 is the one-sided
    power density: 2 s^2 / N of a least-squares fit to N samples (S. M. Kay, Fundamentals of Statistical
    Signal Processing: Estimation Theory, 1993, example 4.2; from memory) with s^2 = n^2 N / 2 T.

    Parameters
    ----------
    density : float
        In (m/s^2)/sqrt(Hz).
    duration : float
        T in s, above 0.

    Returns
    -------
    float
        In m/s^2, peak.

    Examples
    --------
    >>> round(floor_at_rest(0.003, 4.0), 5)
    0.00367
    """
    return SDS_95 * density / math.sqrt(duration)


def _density(job: Job, channel: int) -> float | None:
    """Give what the check at rest found of a channel in (m/s^2)/sqrt(Hz); None where it says nothing."""
    if job.check is None or job.set_up is None or channel >= len(job.set_up.channels):
        return None
    name = job.set_up.channels[channel]
    for finding in job.check.findings:
        if finding.code in _AT_REST and finding.figure("channel") == name:
            return float(finding.figure("density_ug")) * 1e-6 * G_STANDARD
    return None

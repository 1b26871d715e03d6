"""A hand at the bench that does what `next_step` says, and nothing else: for demonstrations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

from balancer.errors import OperationError
from balancer.procedure.coefficients import StoredCoefficient
from balancer.procedure.job import Job, SensorCheck
from balancer.procedure.job_coefficients import take_coefficient
from balancer.procedure.next_step import next_step
from balancer.procedure.step import Step

Spin = Callable[[Job, str], Job]
"""Makes a run with what is on, for a purpose, and gives the job with it."""

MOST_STEPS = 40


def follow(
    job: Job, spin: Spin, *, stored: Sequence[StoredCoefficient] = (), today: date | None = None
) -> tuple[Job, Step]:
    """Follow the steps of a job to its end.

    Parameters
    ----------
    job : Job
        That begins.
    spin : callable
        The bench.
    stored : sequence of StoredCoefficient, optional
        From earlier jobs; the best that fits is taken after the first run.
    today : datetime.date, optional
        For their age.

    Returns
    -------
    job : Job
        As it ended.
    step : Step
        The last one: ``done`` or ``stop``.

    Raises
    ------
    OperationError
        If it does not come to an end.
    """
    for _ in range(MOST_STEPS):
        step = next_step(job)
        if step.ends:
            return job, step
        job = _done(job, step, spin)
        if len(job.runs) == 1 and stored and job.known is None and job.hint is None:
            job = take_coefficient(job, stored, today).job
    raise OperationError("the job did not come to an end", todo="look at its runs")


def _done(job: Job, step: Step, spin: Spin) -> Job:
    if step.action == "acknowledge":
        return replace(job, acknowledged=True)
    if step.action == "balance-bell":
        return replace(job, below="balanced")
    if step.action == "check-sensor":
        return replace(job, check=SensorCheck(skipped=True))
    if step.action == "fit":
        return job.with_fitted(step.pieces)
    if step.action == "set-aside":
        for number in step.runs:
            job = job.set_aside(number, "it does not belong to the others")
        return job
    return spin(job, step.purpose)

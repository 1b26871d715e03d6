"""Runs for a job: from a recording, or from a reading typed in."""

from __future__ import annotations

from dataclasses import replace

from balancer.core.runs import Reading, Run
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.coefficients import SetUp
from balancer.procedure.job import Job, JobRun
from balancer.procedure.measure import Measurement, measure, run_of
from balancer.procedure.symptoms import symptoms
from balancer.recording.model import Recording

_ABOUT_ONCE = frozenset({"once_unsteady", "once_drifts", "once_stepped", "near_resonance"})


def run_of_recording(job: Job, purpose: str, recording: Recording, name: str) -> tuple[JobRun, Measurement]:
    """Measure a recording made with what is on the rotor now.

    Parameters
    ----------
    job : Job
        The job.
    purpose : str
        ``as-is``, ``trial`` or ``check``.
    recording : Recording
        The recording.
    name : str
        Its name, for the list of runs.

    Returns
    -------
    run : JobRun
        With what was noticed, and the signs of something else than unbalance.
    measured : Measurement
        What the recording shows.

    Raises
    ------
    InputError
        If it cannot be measured.
    """
    measured = measure(recording, near=job.speed)
    found = symptoms(recording, blades=len(job.part.places.blades))
    run = run_of(measured, job.masses, purpose)
    # on a rotor that was corrected everything else is large beside 1x: that is no sign any more
    signs = tuple(s for s in found.speaks_against if purpose != "check" or s.code in _ABOUT_ONCE)
    return JobRun(run, name, measured.findings, signs, fit_error=job.fit_error), measured


def with_recording(job: Job, purpose: str, recording: Recording, name: str) -> tuple[Job, Measurement]:
    """Add the run of a recording; the first one tells the set-up of the job.

    Parameters
    ----------
    job, purpose, recording, name
        As in `run_of_recording`.

    Returns
    -------
    job : Job
        The job with the run.
    measured : Measurement
        What the recording shows.

    Raises
    ------
    InputError
        If it cannot be measured, or has other channels than the runs before.
    """
    run, measured = run_of_recording(job, purpose, recording, name)
    if job.set_up is None:
        names = [channel.name for channel in recording.channels]
        set_up = SetUp.of(
            job.stand.name or "bench",
            names,
            recording.sensor,
            hand=job.part.hand,
            moving_mass=job.stand.moving_mass,
        )
        job = replace(job, set_up=set_up)
    return job.with_run(run), measured


def run_of_reading(job: Job, purpose: str, reading: Reading, *, assumed: bool) -> JobRun:
    """Take a reading typed in, made with what is on the rotor now.

    Parameters
    ----------
    job : Job
        The job, with its speed.
    purpose : str
        ``as-is``, ``trial`` or ``check``.
    reading : UncertainComplex or Amplitude
        The reading.
    assumed : bool
        Whether its uncertainty was taken from its last digit.

    Returns
    -------
    JobRun
        The run.

    Raises
    ------
    InputError
        If the job does not know its speed.
    """
    if job.speed is None:
        raise InputError("the speed of this job is not known", todo="give it in rpm when the job is started")
    noticed = (Finding.of("reading_uncertainty_assumed", "info"),) if assumed else ()
    return JobRun(Run((reading,), job.masses, purpose, job.speed), "typed", noticed, fit_error=job.fit_error)

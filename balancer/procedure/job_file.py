"""The job file: a job as JSON, in the trade's units, written whole at every change."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from balancer.errors import InputError
from balancer.procedure.job import Job
from balancer.procedure.job_codecs import JOB
from balancer.procedure.json_file import read_json, write_json

FORM = "balancer job 1"
"""What the first key of a job file says."""


def job_to_data(job: Job) -> dict[str, Any]:
    """Give a job as plain data for JSON, every key with its unit."""
    return JOB.out(job)


def job_from_data(data: Any) -> Job:
    """Give the job of plain data.

    Parameters
    ----------
    data : object
        As `job_to_data` makes it.

    Returns
    -------
    Job
        The job.

    Raises
    ------
    InputError
        If something is missing, unknown or impossible; it names the place.
    """
    job: Job = JOB.take(data, "")
    return job


def read_job(path: str | Path) -> Job:
    """Read a job file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Job
        The job.

    Raises
    ------
    InputError
        With the file, and the line where it is no JSON.
    """
    data = read_json(path, FORM, "give a job file, as balancer job start makes it")
    try:
        return job_from_data(data)
    except InputError as error:
        raise error.at(path) from None


def write_job(job: Job, path: str | Path, *, new: bool = False) -> None:
    """Write a job file whole; with `new` one that is there already is refused (`json_file.write_json`)."""
    write_json(path, FORM, job_to_data(job), new=new)

"""Stored influence coefficients in a job: taking one that fits, keeping the one that was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.coefficients import StoredCoefficient, coefficient_of
from balancer.procedure.contradiction import contradicts
from balancer.procedure.facts import Facts
from balancer.procedure.job import Job
from balancer.procedure.json_file import read_json, write_json
from balancer.procedure.trust import Trust, trust

FORM = "balancer coefficients 1"
"""What the first key of a file of coefficients says."""

ONE_RUN = 0.2
"""Share of the vibration that one run and a coefficient may be expected to leave without a trial run.

A fifth is what one trim takes away; with more, a trial run costs no more time than two trims.
"""


@dataclass(frozen=True)
class Taken:
    """A job with a stored coefficient, if one fits.

    Parameters
    ----------
    job : Job
        The job, with `known` or `hint` set if there is one.
    stored : StoredCoefficient or None
        The one taken; None if none fits.
    trusted : Trust or None
        How far it is trusted.
    findings : tuple of Finding
        Why others were not taken, each reason once.
    """

    job: Job
    stored: StoredCoefficient | None
    trusted: Trust | None
    findings: tuple[Finding, ...]


def take_coefficient(job: Job, stored: Sequence[StoredCoefficient], today: date | None = None) -> Taken:
    """Take the stored coefficient that serves this job best.

    Parameters
    ----------
    job : Job
        With a run from a recording, which tells the set-up.
    stored : sequence of StoredCoefficient
        From earlier jobs.
    today : date, optional
        For their age.

    Returns
    -------
    Taken
        The job with the coefficient: as `known` if one run suffices with it, else as `hint` for a trial.

    Raises
    ------
    InputError
        If the set-up of the job is not known yet.
    """
    if job.set_up is None:
        raise InputError(
            "the set-up of this job is not known yet", todo="add the as-is run from a recording first"
        )
    facts = Facts(job)
    set_up, speed = job.set_up, facts.speed
    judged = [(one, trust(one, set_up, speed, today, with_phase=facts.with_phase)) for one in stored]
    usable = [(one, how) for one, how in judged if how.usable]
    fitting = [(one, how) for one, how in usable if not _contradicted(facts, how)]
    why = [finding for _, how in judged if not how.usable for finding in how.findings]
    if len(fitting) < len(usable):
        why.append(Finding.of("coefficient_contradicted", "warning"))
    reasons = tuple(dict.fromkeys(why))
    if not fitting:
        return Taken(replace(job, known=None, hint=None), None, None, reasons)
    best, how = min(fitting, key=lambda pair: pair[1].expected_left)
    serves = how.expected_left <= ONE_RUN
    known, hint = (how.influence, None) if serves else (None, how.influence)
    return Taken(replace(job, known=known, hint=hint), best, how, reasons)


def _contradicted(facts: Facts, how: Trust) -> bool:
    return any(contradicts(one.run, how.influence) for one in facts.as_found)


def facts_of(job: Job, stored: Sequence[StoredCoefficient] = (), today: date | None = None) -> Facts:
    """Give what a job's runs amount to; where they alone do not tell, with a stored coefficient.

    Parameters
    ----------
    job : Job
        The job.
    stored : sequence of StoredCoefficient, optional
        Those of its stand.
    today : date, optional
        For their age.

    Returns
    -------
    Facts
        Of the job, with the coefficient taken as `known` if one is needed, fits and is trusted.
    """
    facts = Facts(job)
    wanted = facts.solution is None and facts.counted and facts.known_speed is not None
    if not (wanted and stored and job.set_up is not None):
        return facts
    taken = take_coefficient(job, stored, today).job
    return facts if taken.known is None else Facts(taken)


def found_coefficient(job: Job, when: date | None = None) -> StoredCoefficient:
    """Give the influence coefficient that a job found by itself.

    Parameters
    ----------
    job : Job
        With runs from recordings that were solved without a stored coefficient, or that improved it.
    when : date, optional
        Day of the job.

    Returns
    -------
    StoredCoefficient
        To be kept.

    Raises
    ------
    InputError
        If the job has not found one.
    """
    own = Facts(replace(job, known=None, hint=None))
    if job.set_up is None or own.solution is None:
        raise InputError(
            "this job has found no influence coefficient of its own",
            todo="make runs with different masses from recordings",
        )
    return coefficient_of(own.solution, job.set_up, when)


def read_coefficients(path: str | Path) -> tuple[StoredCoefficient, ...]:
    """Read a file of stored coefficients.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    tuple of StoredCoefficient
        All in it.

    Raises
    ------
    InputError
        With the file, if it is none or something in it cannot be used.
    """
    data = read_json(path, FORM, "give a file that balancer job keep made")
    entries = data.get("coefficients")
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise InputError("coefficients must be a list of objects", todo="correct it", file=path)
    try:
        return tuple(StoredCoefficient.from_json(entry) for entry in entries)
    except InputError as error:
        raise error.at(path) from None


def write_coefficients(stored: Sequence[StoredCoefficient], path: str | Path) -> None:
    """Write a file of stored coefficients whole; an `OperationError` if that fails."""
    write_json(path, FORM, {"coefficients": [one.to_json() for one in stored]})

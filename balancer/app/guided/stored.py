"""Stored influence coefficients of the history in a job of the page: given to it, declined, taken again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from balancer.app.guided.link import Link, Stored, history
from balancer.errors import BalancerError, InputError
from balancer.history.stands import averages_of, find_stand
from balancer.procedure.facts import Facts
from balancer.procedure.job import Job
from balancer.procedure.job_coefficients import Taken, take_coefficient
from balancer.units import rpm_from_rad_s
from balancer.wording import finding_text

if TYPE_CHECKING:
    from balancer.app.guided.keeping import Kept


def with_stored(home: Path, kept: Kept, job: Job) -> tuple[Job, Link]:
    """Give a job a stored coefficient of its stand when its first run tells whether one fits.

    Parameters
    ----------
    home : Path
        Folder of the person's data.
    kept : Kept
        The job before a change.
    job : Job
        The job after it.

    Returns
    -------
    job : Job
        With `known` or `hint` set if one fits.
    link : Link
        Says which one, or why none.
    """
    if not _asks(kept, job):
        return job, kept.link
    try:
        taken = _taken(home, job)
    except BalancerError as error:  # a run is not refused because the history cannot be read
        return job, replace(kept.link, unfit=(str(error),))
    if taken is None:
        return job, kept.link
    unfit = tuple(finding_text(one) for one in taken.findings)
    return taken.job, replace(kept.link, stored=_stored(taken), declined=False, unfit=unfit)


def declined(kept: Kept) -> tuple[Job, Link]:
    """Go on without the stored coefficient."""
    return replace(kept.job, known=None, hint=None), replace(kept.link, declined=True)


def used_again(home: Path, kept: Kept) -> tuple[Job, Link]:
    """Take a stored coefficient after all; an `InputError` if there is none any more."""
    taken = _taken(home, kept.job)
    if taken is None or taken.stored is None:
        raise InputError("no stored influence coefficient fits this job any more", todo="make a trial run")
    return taken.job, replace(kept.link, stored=_stored(taken), declined=False)


def _asks(kept: Kept, job: Job) -> bool:
    """Say whether this change brought the first run that counts, from a recording, on a real bench."""
    if kept.simulated is not None or job.set_up is None or not job.stand.name or kept.link.declined:
        return False
    given = job.known is not None or job.hint is not None
    return not given and not kept.worked.facts.counted and bool(Facts(job).counted)


def _taken(home: Path, job: Job) -> Taken | None:
    store = history(home)
    if store is None:
        return None
    with store.snapshot():
        stand = find_stand(store, job.stand.name)
        stored = () if stand is None else averages_of(store, stand.id)
    return take_coefficient(job, stored, date.today()) if stored else None


def _stored(taken: Taken) -> Stored | None:
    if taken.stored is None or taken.trusted is None:
        return None
    one = taken.stored
    return Stored(
        stand=one.set_up.stand,
        day="" if one.when is None else one.when.isoformat(),
        jobs=one.determinations,
        rpm=rpm_from_rad_s(one.speed),
        left_percent=100 * taken.trusted.expected_left,
        suffices=taken.job.known is not None,
    )

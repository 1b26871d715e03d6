"""A whole job put into the history: its runs, what is on the part now, the event, the coefficient."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from balancer.core.pieces import Piece
from balancer.errors import InputError
from balancer.history.events import add_event, events_of
from balancer.history.jobs import Taken, add_job, find_job, save_job
from balancer.history.parts import forget_turn, get_part, put_pieces
from balancer.history.records.codecs import instant
from balancer.history.records.event import Event, EventKind
from balancer.history.records.kept import new_id
from balancer.history.records.part import PartRecord
from balancer.history.records.run import JobRecord
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.runs import runs_of_job
from balancer.history.stands import add_coefficient, add_stand, coefficients_of, find_stand
from balancer.history.store import Store
from balancer.procedure.coefficients import StoredCoefficient
from balancer.procedure.job import Job
from balancer.procedure.job_coefficients import found_coefficient
from balancer.procedure.next_step import next_step


@dataclass(frozen=True)
class KeptJob:
    """What keeping a job came to.

    Parameters
    ----------
    record : JobRecord
        The job as it is kept.
    new_runs : int
        How many of its runs were not there before.
    event : {"balanced", "checked"} or None
        The event that it made, if the job is done.
    new_stand : StandRecord or None
        The stand, if it was not in the history.
    coefficient : StoredCoefficient or None
        The influence coefficient that was taken over.
    """

    record: JobRecord
    new_runs: int
    event: EventKind | None
    new_stand: StandRecord | None
    coefficient: StoredCoefficient | None


def runs_kept(store: Store, part: PartRecord, job: Job) -> int:
    """Give how many runs of a job are kept already; those that follow are new."""
    record = find_job(store, part.id, job)
    return 0 if record is None else len(runs_of_job(store, record.id))


def keep_job(
    store: Store,
    part: PartRecord,
    job: Job,
    taken: Sequence[Taken],
    now: datetime,
    *,
    bell: PartRecord | None = None,
) -> KeptJob:
    """Keep a job as it is now, all of it or nothing; keeping it again adds what is new.

    How a propeller was turned on its arm before it stood on the stand is not known any more afterwards.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        What was balanced, as it was read.
    job : Job
        With one run or more.
    taken : sequence of Taken
        How each run that is not kept yet came about (see `runs_kept`).
    now : datetime
        When the job came to where it is, with its time zone.
    bell : PartRecord, optional
        The bell that a propeller stood on, with both marks in line.

    Returns
    -------
    KeptJob
        What was kept.

    Raises
    ------
    InputError
        If there is no run, the part is another kind than that of the job, or the bell is no bell.
    OperationError
        If another program has changed the job meanwhile.
    """
    _check(part, job, bell)
    with store.transaction():
        stand, new_stand = _stand(store, job, now)
        record = find_job(store, part.id, job)
        before: tuple[Piece, ...] = () if record is None else record.frame.fitted
        if record is None:
            record = JobRecord(
                id=new_id(),
                edited=now,
                part=part.id,
                started=taken[0].at if taken else now,
                frame=replace(job, runs=()),
                stand=None if stand is None else stand.id,
            )
            add_job(store, record)
        record = save_job(store, record, job, now, taken)
        if before != job.fitted:
            there = get_part(store, part.id)
            put_pieces(store, there, _on_now(there.pieces, before, job.fitted), now)
        if taken and not _moved_since(store, part, max(one.at for one in taken)):
            forget_turn(store, get_part(store, part.id), now)
        if bell is not None:
            _once(store, bell, "carried", record, now, f"{part.label} on the stand")
        ends = next_step(job)
        event: EventKind | None = None
        if ends.action == "done":
            event = "balanced" if job.fitted else "checked"
            _once(store, part, event, record, now)
        found = _coefficient(store, stand, record, job, now) if ends.ends and stand is not None else None
        return KeptJob(record, len(taken), event, new_stand, found)


def _check(part: PartRecord, job: Job, bell: PartRecord | None) -> None:
    if not job.runs:
        raise InputError("this job has no runs yet", todo="add the as-is run first")
    if job.part.kind != part.kind:
        raise InputError(
            f"the job is about a {job.part.kind}, but {part.label} is a {part.kind}", todo="name another part"
        )
    if bell is not None and (bell.kind != "bell" or part.kind == "bell"):
        raise InputError(
            f"{part.label}, a {part.kind}, cannot stand on {bell.label}, a {bell.kind}",
            todo="name the bell that a propeller stood on",
        )


def _stand(store: Store, job: Job, now: datetime) -> tuple[StandRecord | None, StandRecord | None]:
    """Give the stand of a job, and again if it is new: a job names it, so it is there."""
    name = job.stand.name
    if not name:
        return None, None
    there = find_stand(store, name)
    if there is not None:
        return there, None
    set_up = None if job.set_up is None else replace(job.set_up, stand=name)
    stand = StandRecord(id=new_id(), edited=now, name=name, moving_mass=job.stand.moving_mass, set_up=set_up)
    add_stand(store, stand)
    return stand, stand


def _moved_since(store: Store, part: PartRecord, when: datetime) -> bool:
    row = store.row("SELECT 1 FROM parts WHERE id = ? AND moved_at > ?", (part.id, instant(when)))
    return row is not None


def on_before(store: Store, part: PartRecord, job: Job) -> tuple[Piece, ...]:
    """Give what is on a part beside the pieces of a job: that of earlier ones, and what was said to be on."""
    record = find_job(store, part.id, job)
    return tuple(part.pieces if record is None else _on_now(part.pieces, record.frame.fitted, ()))


def _on_now(on: Sequence[Piece], before: Sequence[Piece], after: Sequence[Piece]) -> list[Piece]:
    """Replace what this job had put on when it was kept last by what it has put on now."""
    left = list(on)
    for piece in before:
        same = next((one for one in left if _same(one, piece)), None)
        if same is not None:
            left.remove(same)
    return [*left, *after]


def _same(one: Piece, other: Piece) -> bool:
    # numbers that went to trade units and back differ in their last digit
    apart = abs(one.unbalance - other.unbalance)
    return (one.where, one.kind) == (other.where, other.kind) and apart <= 1e-6 * abs(other.unbalance)


def _once(
    store: Store, part: PartRecord, kind: EventKind, job: JobRecord, now: datetime, words: str = ""
) -> None:
    """Keep an event of a job, unless it is there already."""
    there = events_of(store, part.id, limit=1000)
    if not any(event.job == job.id and event.kind == kind for event in there):
        event = Event(id=new_id(), edited=now, part=part.id, kind=kind, at=now, words=words, job=job.id)
        add_event(store, event)


def _coefficient(
    store: Store, stand: StandRecord, record: JobRecord, job: Job, now: datetime
) -> StoredCoefficient | None:
    """Keep the coefficient that a finished job found by itself, once."""
    if any(one.job == record.id for one in coefficients_of(store, stand.id, limit=10_000)):
        return None
    try:
        found = found_coefficient(job, now.date())
    except InputError:  # it used a stored one, or typed readings: nothing to keep
        return None
    found = replace(found, set_up=replace(found.set_up, stand=stand.name))
    add_coefficient(
        store, CoefficientRecord(id=new_id(), edited=now, stand=stand.id, coefficient=found, job=record.id)
    )
    return found

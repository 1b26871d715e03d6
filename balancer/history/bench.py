"""A part of the history on the bench: as a job takes it, and what is known of the bell below."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from balancer.errors import InputError
from balancer.history.events import events_of
from balancer.history.jobs import Taken
from balancer.history.machines import get_machine
from balancer.history.records.event import DISTURBED, LOOKED_AT
from balancer.history.records.part import PartRecord
from balancer.history.store import Store
from balancer.procedure.job import Job, JobRun
from balancer.procedure.part import Hand, Part
from balancer.recording.model import Channel


def bench_part(
    store: Store,
    part: PartRecord,
    bell: PartRecord | None = None,
    *,
    hand: Hand = "ccw",
    mass: float | None = None,
) -> Part:
    """Give a part of the history as a job takes it.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        What is balanced.
    bell : PartRecord, optional
        Of a propeller: the bell that it stands on.
    hand : {"ccw", "cw"}
        How it turns, if it is no propeller and on no arm.
    mass : float, optional
        Of all that turns, in kg; that of part and bell together by default.

    Returns
    -------
    Part
        Its mass is of all that turns.

    Raises
    ------
    InputError
        If the bell is none, or a mass or the places for masses are not known.
    """
    check_below(part, bell)
    turns = known_hand(store, part) or hand
    if mass is not None:
        return replace(replace(part, mass=part.mass or mass).on_bench(turns), mass=mass)
    found = part.on_bench(turns)
    if bell is None:
        return found
    if bell.mass is None:
        raise InputError(
            f"the mass of bell {bell.label} is not known",
            todo="weigh it, or give the mass of all that turns",
        )
    return replace(found, mass=found.mass + bell.mass)


def known_hand(store: Store, part: PartRecord) -> Hand | None:
    """Give how the motor turns whose arm a part is on; None of a part that is on no arm."""
    where = part.where
    if where.machine is None or where.arm is None:
        return None
    return get_machine(store, where.machine).arm(where.arm).hand


def check_below(part: PartRecord, bell: PartRecord | None) -> None:
    """Refuse what is no bell below what is no propeller."""
    if bell is not None and (bell.kind != "bell" or part.kind == "bell"):
        raise InputError(
            f"{part.label}, a {part.kind}, cannot stand on {bell.label}, a {bell.kind}",
            todo="name the bell that a propeller stands on",
        )


def known_good(store: Store, part: PartRecord) -> bool:
    """Say whether a part was balanced or checked after anything that befell it."""
    told = [one.kind for one in events_of(store, part.id) if one.kind in (*LOOKED_AT, *DISTURBED)]
    return bool(told) and told[0] in LOOKED_AT


def take_reading(job: Job, run: JobRun, at: datetime) -> Taken:
    """Say how a run came about that has no recording, or none any more.

    Parameters
    ----------
    job : Job
        The job; its set-up, if it has one, names the channels.
    run : JobRun
        The run.
    at : datetime
        When it was made, with its time zone.

    Returns
    -------
    Taken
        For `keep_job`.
    """
    count = len(run.run.readings)
    names = job.set_up.channels if job.set_up is not None else tuple(f"reading {k + 1}" for k in range(count))
    return Taken(at, tuple(Channel(name, "m/s^2" if job.set_up else "") for name in names))

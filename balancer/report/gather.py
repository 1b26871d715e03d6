"""From the history to a part's card or a machine's sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, tzinfo

from balancer.core.due import Due, Rule, due
from balancer.core.residual import GRADES, Entry, like_with_like
from balancer.history.events import events_of
from balancer.history.jobs import jobs_of_part
from balancer.history.machines import get_machine
from balancer.history.parts import get_part
from balancer.history.queries import PartFilter, list_parts
from balancer.history.records.event import Event
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import PartRecord, PropellerSizes
from balancer.history.records.run import JobRecord
from balancer.history.runs import runs_of_job
from balancer.history.stands import averages_of, get_stand
from balancer.history.store import Store
from balancer.procedure.part import Hand
from balancer.report.card import (
    ArmSheet,
    Determination,
    MachineSheet,
    Outcome,
    PartCard,
    TrendData,
)
from balancer.report.outcome import outcome_of

MOST_JOBS = 25
"""How many jobs a card tells of, the latest first."""

_MOST_EVENTS = 1000
_MOST_PARTS = 1000
_ORDER = {"bell": 0, "adapter": 1, "propeller": 2}  # from the motor outwards


def part_card(
    store: Store, id: str, now: datetime, zone: tzinfo | None = None, rule: Rule | None = None
) -> PartCard:
    """Gather a part's card.

    Parameters
    ----------
    store : Store
        The history.
    id : str
        Of the part.
    now : datetime
        With its time zone.
    zone : tzinfo, optional
        In which dates are shown; that of this computer by default.
    rule : Rule, optional
        When a part falls due; after six months by default.

    Returns
    -------
    PartCard
        All as it was at one moment.

    Raises
    ------
    InputError
        If there is no such part.
    """
    with store.snapshot():
        part = get_part(store, id)
        events = tuple(replace(one, at=one.at.astimezone(zone)) for one in events_of(store, id, _MOST_EVENTS))
        jobs = jobs_of_part(store, id, MOST_JOBS)
        outcomes = _outcomes(store, jobs, zone)
        machine, arm = _place(store, part)
        made = now.astimezone(zone)
        return PartCard(
            part=part,
            machine="" if machine is None else machine.name,
            arm=arm,
            hand=_hand(part, outcomes, arm),
            events=events,
            outcomes=outcomes,
            earlier_jobs=_count(store, "jobs", "part = ?", id) - len(jobs),
            loose_runs=_count(store, "runs", "part = ? AND job IS NULL", id),
            due=_due(events, made, rule),
            trend=_trend(part, outcomes),
            made=made,
        )


def machine_sheet(
    store: Store, id: str, now: datetime, zone: tzinfo | None = None, rule: Rule | None = None
) -> MachineSheet:
    """Gather a machine's sheet, with a card for everything that is fitted to it.

    Parameters
    ----------
    store, now, zone, rule
        As in `part_card`.
    id : str
        Of the machine.

    Returns
    -------
    MachineSheet
        All as it was at one moment.

    Raises
    ------
    InputError
        If there is no such machine.
    """
    with store.snapshot():
        machine = get_machine(store, id)
        fitted = list_parts(store, PartFilter(state="fitted", machine=id), limit=_MOST_PARTS)
        fitted = tuple(sorted(fitted, key=lambda one: _ORDER[one.kind]))
        arms = tuple(
            ArmSheet(
                arm,
                tuple(part_card(store, one.id, now, zone, rule) for one in fitted if one.arm == arm.number),
            )
            for arm in machine.arms
        )
        return MachineSheet(machine, arms, now.astimezone(zone))


def _outcomes(store: Store, jobs: Sequence[JobRecord], zone: tzinfo | None) -> tuple[Outcome, ...]:
    found = []
    for job in jobs:
        stand = "" if job.stand is None else get_stand(store, job.stand).name
        stored = () if job.stand is None else averages_of(store, job.stand)
        outcome = outcome_of(job, runs_of_job(store, job.id), stand, stored)
        found.append(replace(outcome, when=outcome.when.astimezone(zone)))
    return tuple(sorted(found, key=lambda one: one.when, reverse=True))


def _place(store: Store, part: PartRecord) -> tuple[Machine | None, Arm | None]:
    if part.where.machine is None or part.where.arm is None:
        return None, None
    machine = get_machine(store, part.where.machine)
    arm = next((one for one in machine.arms if one.number == part.where.arm), None)
    return machine, arm


def _hand(part: PartRecord, outcomes: Sequence[Outcome], arm: Arm | None) -> Hand | None:
    if isinstance(part.sizes, PropellerSizes):
        return part.sizes.hand
    if outcomes:
        return outcomes[0].hand
    return None if arm is None else arm.hand


def _count(store: Store, table: str, where: str, part: str) -> int:
    row = store.row(f"SELECT count(*) AS n FROM {table} WHERE {where} AND removed_at IS NULL", (part,))
    assert row is not None
    return int(row["n"])


def _due(events: Sequence[Event], made: datetime, rule: Rule | None) -> Due:
    story = [(event.kind, event.at.date()) for event in reversed(events)]
    return due(story, made.date(), rule)


def _trend(part: PartRecord, outcomes: Sequence[Outcome]) -> TrendData | None:
    """Put before and after of all jobs beside each other, with the lines of the latest job that is known."""
    latest = next((one for one in outcomes if one.found is not None or one.left is not None), None)
    if latest is None or latest.speed is None:
        return None
    pairs = [pair for one in reversed(outcomes) for pair in _entries(one)]
    pairs.sort(key=lambda pair: pair[1].when)
    grades = tuple(sorted({*GRADES, part.grade}))
    series = like_with_like([entry for _, entry in pairs], latest.mass, latest.speed, grades)
    known = [left for left, entry in pairs if entry.unbalance is not None]
    return TrendData(
        points=tuple(Determination(left, point) for left, point in zip(known, series.points, strict=True)),
        lines=series.lines,
        asked=part.grade,
        mass=latest.mass,
        speed=latest.speed,
        findings=series.findings,
    )


def _entries(one: Outcome) -> list[tuple[bool, Entry]]:
    when = one.when.date()
    shown = [(False, one.found)] if one.found is not None else []
    if one.left is not None and (one.pieces or one.found is None):
        shown.append((True, one.left))
    if not shown and one.runs:
        return [(False, Entry(when, one.stand, None))]
    return [(left, Entry(when, one.stand, value.vector)) for left, value in shown if value is not None]

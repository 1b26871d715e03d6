"""Parts of the history: adding, changing, moving, what is on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from balancer.core.pieces import Piece
from balancer.errors import InputError
from balancer.history.events import add_event, check_past, note_event
from balancer.history.machines import get_machine
from balancer.history.records.event import Event, EventKind
from balancer.history.records.kept import new_id
from balancer.history.records.part import Location, PartRecord, PropellerSizes
from balancer.history.schema.version_2 import natural_key
from balancer.history.store import Store
from balancer.history.tables import PARTS


def add_part(store: Store, part: PartRecord) -> None:
    """Keep a new part.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        The part.

    Raises
    ------
    InputError
        If its label or its place on the machine is taken, or its photo or machine is not in the history.
    """
    with store.transaction():
        check_part(store, part)
        PARTS.insert(store, PARTS.row(PARTS.data(part)) | _order(part))


def update_part(store: Store, part: PartRecord, now: datetime) -> PartRecord:
    """Keep what was changed of a part.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        As it is to be, made from what was read.
    now : datetime
        With its time zone.

    Returns
    -------
    PartRecord
        As it is kept: edited now.

    Raises
    ------
    InputError
        As in `add_part`.
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        check_part(store, part)
        return PARTS.revise(store, part, now, **_order(part))


def move_part(
    store: Store,
    part: PartRecord,
    where: Location,
    now: datetime,
    words: str = "",
    *,
    at: datetime | None = None,
) -> PartRecord:
    """Say where a part is now, and keep that as an event: ``retired``, or else ``moved``.

    How a propeller is turned counts from the bell below it: where that bell goes, it is not known any more.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        As it was read.
    where : Location
        Where it is now.
    now : datetime
        With its time zone.
    words : str
        What the person says about it.
    at : datetime, optional
        When it was moved, with its time zone; now if left out.

    Returns
    -------
    PartRecord
        As it is kept.

    Raises
    ------
    InputError, OperationError
        As in `update_part`, or if it would be moved in the future.
    """
    check_past(at or now, now)
    with store.transaction():
        if part.kind == "bell" and part.where.state == "fitted" and part.where != where:
            _forget_turn_above(store, part, now)
        moved = update_part(store, replace(part, where=where), now)
        kind: EventKind = "retired" if where.state == "retired" else "moved"
        event = Event(
            id=new_id(), edited=now, part=part.id, kind=kind, at=at or now, words=words, where=where
        )
        add_event(store, event)
        return moved


def _forget_turn_above(store: Store, bell: PartRecord, now: datetime) -> None:
    rows = store.rows(
        "SELECT * FROM parts WHERE machine = ? AND arm = ? AND kind = 'propeller' AND state = 'fitted'",
        (bell.where.machine, bell.where.arm),
    )
    for row in rows:
        forget_turn(store, PARTS.value(dict(row)), now)


def forget_turn(store: Store, part: PartRecord, now: datetime) -> None:
    """Say that it is not known any more how a propeller is turned on its hub."""
    if part.where.turned is not None:
        update_part(store, replace(part, where=replace(part.where, turned=None)), now)


def put_pieces(store: Store, part: PartRecord, pieces: Sequence[Piece], now: datetime) -> PartRecord:
    """Say what is on a part now; `OperationError` if another program has changed it meanwhile."""
    return update_part(store, replace(part, pieces=tuple(pieces)), now)


def take_all_off(store: Store, part: PartRecord, now: datetime) -> PartRecord:
    """Say that all pieces were taken off a part; it counts as repaired, since its balance is another one now.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        As it was read.
    now : datetime
        With its time zone.

    Returns
    -------
    PartRecord
        As it is kept; a part that carries nothing stays as it is.

    Raises
    ------
    OperationError
        If another program has changed it meanwhile.
    """
    if not part.pieces:
        return part
    with store.transaction():
        bare = put_pieces(store, part, (), now)
        note_event(store, part.id, "repaired", now, now, "all pieces were taken off")
        return bare


def get_part(store: Store, id: str) -> PartRecord:
    """Give a part by its id; an `InputError` if there is none."""
    return PARTS.get(store, id)


def find_part(store: Store, label: str) -> PartRecord | None:
    """Give the part in use with a label, in any case; None if there is none."""
    row = store.row(
        "SELECT * FROM parts WHERE label = ? COLLATE NOCASE AND removed_at IS NULL AND state <> 'retired'",
        (label,),
    )
    return None if row is None else PARTS.value(dict(row))


def find_any_part(store: Store, label: str) -> PartRecord | None:
    """Give a part by its label, one in use before those that are retired; None if there is none."""
    row = store.row(
        "SELECT * FROM parts WHERE label = ? COLLATE NOCASE AND removed_at IS NULL "
        "ORDER BY state = 'retired', edited_at DESC",
        (label,),
    )
    return None if row is None else PARTS.value(dict(row))


def check_part(store: Store, part: PartRecord) -> None:
    """Refuse a label or a place that is taken, and a photo or a machine that is not there."""
    if part.photo and not store.files.holds(part.photo):
        raise InputError(f"the photo of part {part.label} is not in the history", todo="add it first")
    if part.removed is not None:
        return
    if part.where.state != "retired" and label_taken(store, part):
        raise InputError(f'there is a part in use with the label "{part.label}"', todo="choose another label")
    if part.where.machine is not None and part.where.arm is not None:
        machine = get_machine(store, part.where.machine)
        arm = machine.arm(part.where.arm)
        if isinstance(part.sizes, PropellerSizes) and part.sizes.hand != arm.hand:
            raise InputError(
                f"propeller {part.label} turns {part.sizes.hand}, but arm {arm.number} of {machine.name} "
                f"turns {arm.hand}",
                todo="choose another arm, or correct the hand",
            )
        there = on_arm(store, part)
        if there:
            raise InputError(
                f"arm {part.where.arm} of {machine.name} carries {part.kind} {there} already",
                todo="say first where that one goes",
            )


def label_taken(store: Store, part: PartRecord) -> bool:
    """Say whether another part in use has the label."""
    return bool(
        store.row(
            "SELECT 1 FROM parts WHERE label = ? COLLATE NOCASE AND id <> ? "
            "AND removed_at IS NULL AND state <> 'retired'",
            (part.label, part.id),
        )
    )


def on_arm(store: Store, part: PartRecord) -> str:
    """Give the label of another part of its kind where a part is fitted; empty if there is none."""
    row = store.row(
        "SELECT label FROM parts WHERE machine = ? AND arm = ? AND kind = ? AND id <> ? "
        "AND removed_at IS NULL AND state = 'fitted'",
        (part.where.machine, part.where.arm, part.kind, part.id),
    )
    return "" if row is None else str(row["label"])


def _order(part: PartRecord) -> dict[str, str]:
    return {"sort_key": natural_key(part.label)}

"""Events in the life of a part."""

from __future__ import annotations

from datetime import datetime

from balancer.errors import InputError
from balancer.history.records.event import Event, EventKind
from balancer.history.records.kept import new_id
from balancer.history.store import Store
from balancer.history.tables import EVENTS, PARTS


def add_event(store: Store, event: Event) -> None:
    """Keep an event; an `InputError` if there is no such part."""
    with store.transaction():
        PARTS.require(store, event.part)
        EVENTS.insert(store, EVENTS.row(EVENTS.data(event)))


def note_event(
    store: Store, part: str, kind: EventKind, at: datetime, now: datetime, words: str = ""
) -> Event:
    """Keep what a person says has happened to a part.

    Parameters
    ----------
    store : Store
        The history.
    part : str
        Id of the part.
    kind : str
        What happened.
    at, now : datetime
        When it happened, and when it is said, with their time zones.
    words : str
        What the person says about it.

    Returns
    -------
    Event
        As it is kept.

    Raises
    ------
    InputError
        If it would happen in the future, or there is no such part.
    """
    check_past(at, now)
    event = Event(id=new_id(), edited=now, part=part, kind=kind, at=at, words=words)
    add_event(store, event)
    return event


def check_past(at: datetime, now: datetime) -> None:
    """Refuse what would happen in the future; an `InputError`."""
    if at > now:
        raise InputError("this day is in the future", todo="say when it happened")


def update_event(store: Store, event: Event, now: datetime) -> Event:
    """Keep what was changed of an event, such as its words.

    Parameters
    ----------
    store : Store
        The history.
    event : Event
        As it is to be, made from what was read.
    now : datetime
        With its time zone.

    Returns
    -------
    Event
        As it is kept: edited now.

    Raises
    ------
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        return EVENTS.revise(store, event, now)


def events_of(store: Store, part: str, limit: int = 200) -> tuple[Event, ...]:
    """Give the events of a part, the latest first."""
    rows = store.rows(
        "SELECT * FROM events WHERE part = ? AND removed_at IS NULL ORDER BY at DESC, id LIMIT ?",
        (part, limit),
    )
    return tuple(EVENTS.value(dict(row)) for row in rows)

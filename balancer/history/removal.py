"""Removal is a mark that can be taken back; purge deletes what is marked, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any, Literal

from balancer.errors import InputError
from balancer.history.files import disk_in_words
from balancer.history.machines import check_machine, parts_on
from balancer.history.parts import check_part
from balancer.history.records.codecs import instant
from balancer.history.records.event import Event
from balancer.history.records.kept import Kept
from balancer.history.records.machine import Machine
from balancer.history.records.part import PartRecord
from balancer.history.records.run import JobRecord, RunRecord
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.stands import check_stand
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS, EVENTS, JOBS, MACHINES, PARTS, RUNS, STANDS, Table

_TABLES: dict[type[Kept], Table[Any]] = {
    Machine: MACHINES,
    PartRecord: PARTS,
    StandRecord: STANDS,
    JobRecord: JOBS,
    RunRecord: RUNS,
    CoefficientRecord: COEFFICIENTS,
    Event: EVENTS,
}

_BELOW = {
    "parts": (("events", "part"), ("jobs", "part"), ("runs", "part")),
    "jobs": (("runs", "job"),),
    "stands": (("coefficients", "stand"),),
}
"""What goes and comes back together with a record."""

_UNUSED = {
    "runs": "",
    "coefficients": "",
    "events": "",
    "jobs": "AND NOT EXISTS (SELECT 1 FROM runs WHERE job = jobs.id) "
    "AND NOT EXISTS (SELECT 1 FROM events WHERE job = jobs.id) "
    "AND NOT EXISTS (SELECT 1 FROM coefficients WHERE job = jobs.id)",
    "parts": "AND NOT EXISTS (SELECT 1 FROM runs WHERE part = parts.id) "
    "AND NOT EXISTS (SELECT 1 FROM jobs WHERE part = parts.id) "
    "AND NOT EXISTS (SELECT 1 FROM events WHERE part = parts.id)",
    "stands": "AND NOT EXISTS (SELECT 1 FROM runs WHERE stand = stands.id) "
    "AND NOT EXISTS (SELECT 1 FROM jobs WHERE stand = stands.id) "
    "AND NOT EXISTS (SELECT 1 FROM coefficients WHERE stand = stands.id)",
    "machines": "AND NOT EXISTS (SELECT 1 FROM parts WHERE machine = machines.id) "
    "AND NOT EXISTS (SELECT 1 FROM events WHERE machine = machines.id)",
}
"""In the order of deletion: that nothing which stays refers to it."""


@dataclass(frozen=True)
class Marked:
    """How much is marked as removed, or was deleted.

    Parameters
    ----------
    rows : tuple of (str, int)
        Name of each table and how many of its records.
    files : tuple of str
        Digests of the recordings and photos that only these refer to.
    """

    rows: tuple[tuple[str, int], ...]
    files: tuple[str, ...]

    @property
    def total(self) -> int:
        """How many records in all."""
        return sum(count for _, count in self.rows)


What = Literal["part", "machine", "stand", "job"]

_NAMED: Mapping[What, tuple[Table[Any], str]] = MappingProxyType(
    {"part": (PARTS, "label"), "machine": (MACHINES, "name"), "stand": (STANDS, "name")}
)


def named_record(store: Store, what: What, name: str, *, removed: bool, number: int = 1) -> Kept:
    """Give what a person names, to remove or to restore it.

    Parameters
    ----------
    store : Store
        The history.
    what : {"part", "machine", "stand", "job"}
        What it is.
    name : str
        Its label or name; of a job the label of its part.
    removed : bool
        Whether it is among what is marked as removed, the latest marked first, or among what counts.
    number : int
        Of a job: counted from 1 over all jobs of the part, the earliest first, removed ones too.

    Returns
    -------
    Machine, PartRecord, StandRecord or JobRecord
        As it is kept.

    Raises
    ------
    InputError
        If there is none.
    """
    table, column = _NAMED["part" if what == "job" else what]
    mark = "removed_at IS NOT NULL" if removed else "removed_at IS NULL"
    if what == "job":
        found = store.rows(
            "SELECT jobs.* FROM jobs JOIN parts ON parts.id = jobs.part WHERE parts.label = ? COLLATE NOCASE "
            "ORDER BY jobs.started_at, jobs.id",
            (name,),
        )
        rows = [row for row in found[number - 1 : number] if (row["removed_at"] is not None) == removed]
        table = JOBS
    else:
        rows = store.rows(
            f"SELECT * FROM {table.name} WHERE {column} = ? COLLATE NOCASE AND {mark} "
            "ORDER BY removed_at DESC, edited_at DESC",
            (name,),
        )
    if not rows:
        which = "marked as removed" if removed else "in the history"
        said = f"job {number} of {name}" if what == "job" else f'{what} "{name}"'
        raise InputError(f"there is no {said} {which}", todo="look at the list")
    kept: Kept = table.value(dict(rows[0]))
    return kept


def marked_names(store: Store) -> tuple[tuple[What, str], ...]:
    """Give kind and name of the parts, machines and stands that are marked as removed."""
    return tuple(
        (what, str(row[column]))
        for what, (table, column) in _NAMED.items()
        for row in store.rows(
            f"SELECT {column} FROM {table.name} WHERE removed_at IS NOT NULL ORDER BY {column}"
        )
    )


def remove(store: Store, value: Kept, now: datetime) -> None:
    """Mark as removed: a part with its events, jobs and runs, a job with its runs, a stand with its H.

    Parameters
    ----------
    store : Store
        The history.
    value : Machine, PartRecord, StandRecord, JobRecord, RunRecord, CoefficientRecord or Event
        As it was read.
    now : datetime
        With its time zone.

    Raises
    ------
    InputError
        If it is marked already, or is a machine that parts are fitted to.
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        if value.removed is not None:
            raise InputError("this is marked as removed already", todo="look at the list again")
        fitted = parts_on(store, value.id) if isinstance(value, Machine) else ()
        if fitted:
            raise InputError(
                f"parts are fitted to it: {', '.join(label for label, _ in fitted)}", todo="move them first"
            )
        _mark(store, value, now, None, instant(now))


def restore(store: Store, value: Kept, now: datetime) -> None:
    """Take the mark back, from all that was marked together with it.

    Parameters
    ----------
    store : Store
        The history.
    value : Machine, PartRecord, StandRecord, JobRecord, RunRecord, CoefficientRecord or Event
        As it was read, with its mark.
    now : datetime
        With its time zone.

    Raises
    ------
    InputError
        If it is not marked, or its name or place was given to another meanwhile.
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        if value.removed is None:
            raise InputError("this is not marked as removed", todo="look at the list again")
        back = replace(value, removed=None)
        if isinstance(back, PartRecord):
            check_part(store, back)
        elif isinstance(back, Machine):
            check_machine(store, back)
        elif isinstance(back, StandRecord):
            check_stand(store, back)
        _mark(store, value, now, instant(value.removed), None)


def _mark(store: Store, value: Kept, now: datetime, old: str | None, new: str | None) -> None:
    table = _TABLES[type(value)]
    table.check_unchanged(store, value)
    edited = instant(value.edited_at(now).edited)
    change = "SET removed_at = :new, edited_at = max(edited_at, :edited) WHERE removed_at IS :old AND"
    values = {"new": new, "old": old, "edited": edited, "id": value.id}
    for below, column in _BELOW.get(table.name, ()):
        store.execute(f"UPDATE {below} {change} {column} = :id", values)
    store.execute(f"UPDATE {table.name} {change} id = :id", values)


def marked(store: Store) -> Marked:
    """Say what a purge would delete, without doing it."""
    try:
        with store.transaction():
            raise _UndoError(_delete(store))
    except _UndoError as undo:
        return undo.found


class _UndoError(Exception):
    """Leaves a transaction without a trace."""

    def __init__(self, found: Marked) -> None:
        super().__init__()
        self.found = found


def purge(store: Store) -> Marked:
    """Delete for good what is marked as removed and not referred to, and the files that only it needed.

    Whoever calls this has asked the person. The files go after the rows, in a transaction of their own, so
    that nobody can refer to one anew meanwhile; a program that dies in between leaves files too many.

    Parameters
    ----------
    store : Store
        The history.

    Returns
    -------
    Marked
        What was deleted.
    """
    with store.transaction():
        gone = _delete(store)
    with store.transaction(), disk_in_words(store.files.folder):
        for digest in _without_rows(store, set(gone.files)):
            store.files.remove(digest)
    return gone


def _delete(store: Store) -> Marked:
    before = files_in_rows(store)
    counts = []
    for name, unused in _UNUSED.items():
        counts.append((name, store.execute(f"DELETE FROM {name} WHERE removed_at IS NOT NULL {unused}")))
    return Marked(tuple(counts), tuple(sorted(before - files_in_rows(store))))


def files_in_rows(store: Store) -> set[str]:
    """Give the digests of all files that a row refers to."""
    rows = store.rows(
        "SELECT file FROM runs WHERE file IS NOT NULL UNION SELECT marks_file FROM runs WHERE marks_file "
        "IS NOT NULL UNION SELECT photo FROM parts WHERE photo <> '' UNION SELECT photo FROM stands "
        "WHERE photo <> ''"
    )
    return {row[0] for row in rows}


def _without_rows(store: Store, digests: set[str]) -> list[str]:
    return sorted(digests - files_in_rows(store))

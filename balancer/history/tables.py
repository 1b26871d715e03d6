"""Value objects to rows and back: one mapping for every table.

A record's plain data are its row, except that an object named in `spread` fills columns of its own and what
is named in `json` is one column of text. SQLite takes numpy's whole numbers for bytes and refuses its other
kinds, so each number is cast.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

import numpy as np

from balancer.errors import InputError, OperationError
from balancer.history.records.codecs import (
    COEFFICIENT,
    EVENT,
    JOB,
    MACHINE,
    PART,
    RUN,
    STAND,
    instant,
)
from balancer.history.records.event import Event
from balancer.history.records.kept import Kept
from balancer.history.records.machine import Machine
from balancer.history.records.part import PartRecord
from balancer.history.records.run import JobRecord, RunRecord
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.store import Scalar, Store
from balancer.procedure.codec import Record

K = TypeVar("K", bound=Kept)

_WHERE = ("state", "machine", "arm", "turned_deg")


@dataclass(frozen=True)
class Table(Generic[K]):
    """A table of records.

    Parameters
    ----------
    name : str
        Of the table.
    what : str
        One of its records in words.
    record : Record
        How a record is written as plain data.
    json : tuple of str
        Keys that are one column of JSON.
    spread : tuple of (str, tuple of str)
        Objects whose keys are columns, the outer ones first.
    """

    name: str
    what: str
    record: Record
    json: tuple[str, ...] = ()
    spread: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def data(self, value: K) -> dict[str, Any]:
        """Give plain data, after making sure that they can be read again."""
        data = self.record.out(value)
        self.record.take(data, self.what)
        return data

    def row(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Give the columns of plain data."""
        row = dict(data)
        for key, columns in self.spread:
            inner = row.pop(key)
            row |= {column: None if inner is None else inner[column] for column in columns}
        return row | {key: None if row[key] is None else to_json(row[key]) for key in self.json}

    def plain(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """Give the plain data of a row, whatever other columns it has."""
        data = {key: row[key] for key in self.columns}
        data |= {key: None if data[key] is None else json.loads(data[key]) for key in self.json}
        for key, columns in reversed(self.spread):
            inner = {column: data.pop(column) for column in columns}
            data[key] = None if inner[columns[0]] is None else inner
        return data

    def value(self, row: Mapping[str, Any]) -> K:
        """Give the record of a row."""
        found: K = self.record.take(self.plain(row), self.what)
        return found

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns that are the record."""
        names = [key for key, _ in self.record.fields.values()]
        for key, columns in self.spread:
            names.remove(key)
            names += columns
        return tuple(names)

    def insert(self, store: Store, row: Mapping[str, Any]) -> None:
        """Add a row."""
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        store.execute(f"INSERT INTO {self.name}({names}) VALUES ({marks})", scalars(row))

    def update(self, store: Store, row: Mapping[str, Any]) -> None:
        """Change the row of the same id."""
        pairs = ", ".join(f"{name} = :{name}" for name in row if name != "id")
        if store.execute(f"UPDATE {self.name} SET {pairs} WHERE id = :id", scalars(row)) != 1:
            raise self.missing(row["id"])

    def revise(self, store: Store, value: K, now: datetime, **more: Any) -> K:
        """Write a changed record over the one that it was read from, and give it as edited now."""
        self.check_unchanged(store, value)
        revised = value.edited_at(now)
        self.update(store, self.row(self.data(revised)) | more)
        return revised

    def find(self, store: Store, id: str) -> K | None:
        """Give a record by its id, None if there is none."""
        row = store.row(f"SELECT * FROM {self.name} WHERE id = ?", (id,))
        return None if row is None else self.value(dict(row))

    def get(self, store: Store, id: str) -> K:
        """Give a record by its id; an `InputError` if there is none."""
        found = self.find(store, id)
        if found is None:
            raise self.missing(id)
        return found

    def require(self, store: Store, id: str) -> None:
        """Refuse to go on if there is no record of this id."""
        if not store.row(f"SELECT 1 FROM {self.name} WHERE id = ?", (id,)):
            raise self.missing(id)

    def check_unchanged(self, store: Store, value: K) -> None:
        """Refuse to change a record that another program has changed since `value` was read."""
        row = store.row(f"SELECT edited_at FROM {self.name} WHERE id = ?", (value.id,))
        if row is None:
            raise self.missing(value.id)
        if row["edited_at"] != instant(value.edited):
            raise OperationError(
                f"another program has changed this {self.what} meanwhile, so nothing was changed here",
                todo="look at it again and repeat the change",
            )

    def missing(self, id: str) -> InputError:
        """Make the error that there is no such record."""
        return InputError(f"there is no {self.what} with the id {id}", todo="look at the list")


def scalars(row: Mapping[str, Any]) -> dict[str, Scalar]:
    """Cast every value of a row to what SQLite stores as it is meant."""
    return {name: _scalar(value) for name, value in row.items()}


def _scalar(value: Any) -> Scalar:
    if value is None:
        return None
    if isinstance(value, str):
        # the name of a file may hold half a character, which no database takes
        return value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, (bool, int, np.integer, np.bool_)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value)
    raise TypeError(f"a column cannot hold {value!r}")


def to_json(value: Any) -> str:
    """Write plain data as JSON; an `InputError` if a number is not finite."""
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"), default=_number)
    except ValueError:
        raise InputError("a number that should be kept is not finite", todo="measure again") from None


def _number(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"JSON cannot hold {value!r}")


MACHINES: Table[Machine] = Table("machines", "machine", MACHINE, ("arms",))
PARTS: Table[PartRecord] = Table("parts", "part", PART, ("sizes", "places", "pieces"), (("now", _WHERE),))
STANDS: Table[StandRecord] = Table("stands", "stand", STAND, ("set_up",))
JOBS: Table[JobRecord] = Table("jobs", "job", JOB, ("frame",))
COEFFICIENTS: Table[CoefficientRecord] = Table(
    "coefficients", "influence coefficient", COEFFICIENT, ("coefficient",)
)
EVENTS: Table[Event] = Table("events", "event", EVENT, (), (("now", _WHERE),))
RUNS: Table[RunRecord] = Table("runs", "run", RUN, ("item", "recording"))
"""The readings in its `item`, and its `channels`, go to a table of their own: see `run_rows`."""

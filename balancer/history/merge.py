"""Joining records from elsewhere with those that are there: nothing doubled, nothing measured lost.

The rule: a record that is not there is added; of two that differ, the one edited later stays; of two edited
at the same moment, the one that is there. What a run measured is never replaced. A label, a name, a place or
a number in a job that is taken here gives way, and that is reported.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from balancer.errors import InputError
from balancer.history.records.codecs import INSTANT, LOCATION, instant
from balancer.history.records.part import LONGEST_LABEL, SPARE
from balancer.history.run_rows import insert_run, run_plain, update_run
from balancer.history.schema.version_2 import natural_key
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS, EVENTS, JOBS, MACHINES, PARTS, RUNS, STANDS, Table

Trouble = Literal["label", "name", "arm", "number", "measured", "same-time"]
Plain = dict[str, Any]

TABLES: tuple[Table[Any], ...] = (MACHINES, STANDS, PARTS, JOBS, RUNS, COEFFICIENTS, EVENTS)
"""In the order in which they refer to each other."""

_REFERS = {
    "jobs": (("part", "parts"), ("stand", "stands")),
    "runs": (("part", "parts"), ("stand", "stands"), ("job", "jobs")),
    "coefficients": (("stand", "stands"), ("job", "jobs")),
    "events": (("part", "parts"), ("job", "jobs")),
}
_TIMES = ("edited_at", "removed_at", "at", "started_at")
_MEASURED = ("part", "at", "channels", "stand", "job", "recording", "software")


@dataclass(frozen=True)
class Conflict:
    """Where two histories do not agree.

    Parameters
    ----------
    what : str
        Such as ``part``.
    id : str
        Of the record.
    name : str
        Its label, name or number, as it came.
    trouble : {"label", "name", "arm", "number", "measured", "same-time"}
        The label, name or number was taken here, so the one that came got another; the arm was, so it came
        as a spare; it was measured otherwise, or edited otherwise at the same time, so what is here stayed.
    now : str
        The label, name or number that it got; empty otherwise.
    """

    what: str
    id: str
    name: str
    trouble: Trouble
    now: str = ""


@dataclass
class Tally:
    """What a merge has come to so far: counts by table, and conflicts."""

    added: Counter[str] = field(default_factory=Counter)
    updated: Counter[str] = field(default_factory=Counter)
    unchanged: Counter[str] = field(default_factory=Counter)
    older: Counter[str] = field(default_factory=Counter)
    conflicts: list[Conflict] = field(default_factory=list)


def merge(store: Store, table: Table[Any], came: Mapping[str, Any], tally: Tally) -> None:
    """Join one record, within a transaction.

    Parameters
    ----------
    store : Store
        The history.
    table : Table
        Its table.
    came : mapping
        Its plain data, which the table's codec has accepted.
    tally : Tally
        Counts it.

    Raises
    ------
    InputError
        If it refers to what is not there.
    """
    data = with_plain_times(came)
    there = _there(store, table, data["id"])
    if there is None:
        _check_references(store, table, data)
        _insert(store, table, _settled(store, table, data, tally))
        tally.added[table.name] += 1
    elif there == data:
        tally.unchanged[table.name] += 1
    elif table is RUNS and _measured(there) != _measured(data):
        tally.conflicts.append(_conflict(table, data, "measured"))
    elif there["edited_at"] == data["edited_at"]:
        tally.conflicts.append(_conflict(table, data, "same-time"))
    elif there["edited_at"] > data["edited_at"]:
        tally.older[table.name] += 1
    else:
        _check_references(store, table, data)
        _update(store, table, _settled(store, table, data, tally))
        tally.updated[table.name] += 1


def with_plain_times(data: Mapping[str, Any]) -> Plain:
    """Write every time as UTC of fixed width, as whoever made the data may have written it otherwise."""
    return {
        key: instant(INSTANT.take(value, key)) if key in _TIMES and value is not None else value
        for key, value in data.items()
    }


def _there(store: Store, table: Table[Any], id: str) -> Plain | None:
    rows = store.rows(f"SELECT * FROM {table.name} WHERE id = ?", (id,))
    if not rows:
        return None
    return run_plain(store, rows)[0] if table is RUNS else table.plain(dict(rows[0]))


def _measured(data: Plain) -> list[Any]:
    return [*(data[key] for key in _MEASURED), {**data["item"], "set_aside": ""}]


def _check_references(store: Store, table: Table[Any], data: Plain) -> None:
    place = data.get("now") or {}
    wanted = [(data[key], name) for key, name in _REFERS.get(table.name, ())]
    for id, name in [*wanted, (place.get("machine"), "machines")]:
        if id is not None and not store.row(f"SELECT 1 FROM {name} WHERE id = ?", (id,)):
            raise InputError(
                f"the {table.what} {data['id']} refers to {id}, which is not among the {name}",
                todo="export the history anew",
            )


def _insert(store: Store, table: Table[Any], data: Plain) -> None:
    if table is RUNS:
        insert_run(store, data)
    else:
        table.insert(store, table.row(data) | _order(table, data))


def _update(store: Store, table: Table[Any], data: Plain) -> None:
    if table is RUNS:
        update_run(store, data)
    else:
        table.update(store, table.row(data) | _order(table, data))


def _order(table: Table[Any], data: Plain) -> Plain:
    return {"sort_key": natural_key(data["label"])} if table is PARTS else {}


def _settled(store: Store, table: Table[Any], data: Plain, tally: Tally) -> Plain:
    """Let what came give way where its label, name, place or number is taken here."""
    if table is RUNS:
        return _with_free_number(store, data, tally)
    if data["removed_at"] is not None:
        return data
    if table is PARTS:
        return _with_free_arm(store, _with_free_label(store, data, tally), tally)
    return _with_free_name(store, table, data, tally) if table in (MACHINES, STANDS) else data


def _with_free_label(store: Store, data: Plain, tally: Tally) -> Plain:
    if data["now"]["state"] == "retired":
        return data
    taken = (
        "SELECT 1 FROM parts WHERE label = ? COLLATE NOCASE AND id <> ? AND removed_at IS NULL "
        "AND state <> 'retired'"
    )
    label = _free(store, taken, data["label"], data["id"], LONGEST_LABEL)
    if label != data["label"]:
        tally.conflicts.append(_conflict(PARTS, data, "label", label))
    return data | {"label": label}


def _with_free_name(store: Store, table: Table[Any], data: Plain, tally: Tally) -> Plain:
    taken = f"SELECT 1 FROM {table.name} WHERE name = ? COLLATE NOCASE AND id <> ? AND removed_at IS NULL"
    name = _free(store, taken, data["name"], data["id"], 60)
    if name == data["name"]:
        return data
    tally.conflicts.append(_conflict(table, data, "name", name))
    set_up = data.get("set_up")
    return data | {"name": name} | ({"set_up": {**set_up, "stand": name}} if set_up else {})


def _free(store: Store, taken: str, name: str, id: str, longest: int) -> str:
    found, number = name, 1
    while store.row(taken, (found, id)):
        number += 1
        suffix = f"-{number}"
        found = f"{name[: longest - len(suffix)].rstrip()}{suffix}"
    return found


def _with_free_arm(store: Store, data: Plain, tally: Tally) -> Plain:
    now = data["now"]
    taken = (
        "SELECT 1 FROM parts WHERE machine = ? AND arm = ? AND kind = ? AND id <> ? AND removed_at IS NULL "
        "AND state = 'fitted'"
    )
    if now["state"] != "fitted" or not store.row(
        taken, (now["machine"], now["arm"], data["kind"], data["id"])
    ):
        return data
    tally.conflicts.append(_conflict(PARTS, data, "arm"))
    return data | {"now": LOCATION.out(SPARE)}


def _with_free_number(store: Store, data: Plain, tally: Tally) -> Plain:
    taken = "SELECT 1 FROM runs WHERE job = ? AND number = ? AND id <> ?"
    if data["job"] is None or not store.row(taken, (data["job"], data["number"], data["id"])):
        return data
    last = store.row("SELECT max(number) AS last FROM runs WHERE job = ?", (data["job"],))
    assert last is not None
    number = int(last["last"]) + 1
    tally.conflicts.append(_conflict(RUNS, data, "number", str(number)))
    return data | {"number": number}


def _conflict(table: Table[Any], data: Plain, trouble: Trouble, now: str = "") -> Conflict:
    name = data.get("label") or data.get("name") or str(data.get("number", ""))
    return Conflict(table.what, data["id"], name, trouble, now)

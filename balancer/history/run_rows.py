"""Runs to rows and back: a row each, and a row for each of their readings."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from balancer.history.records.run import RunRecord
from balancer.history.store import Store
from balancer.history.tables import RUNS, scalars

Plain = dict[str, Any]

_VECTOR = ("re", "im", "var_re", "var_im", "cov")
_AMPLITUDE = ("amplitude", "sd_amplitude")
_AT_ONCE = 500  # names in one query: SQLite takes 32766, older builds 999


def insert_run(store: Store, data: Mapping[str, Any]) -> None:
    """Add the rows of a run's plain data."""
    row, readings = _split(data)
    RUNS.insert(store, row)
    for reading in readings:
        names = ", ".join(reading)
        marks = ", ".join(f":{name}" for name in reading)
        store.execute(f"INSERT INTO readings({names}) VALUES ({marks})", scalars(reading))


def update_run(store: Store, data: Mapping[str, Any]) -> None:
    """Change the row of a run; its readings are never changed."""
    RUNS.update(store, _split(data)[0])


def _split(data: Mapping[str, Any]) -> tuple[Plain, list[Plain]]:
    item, run = data["item"], data["item"]["run"]
    bare = {key: value for key, value in run.items() if key != "readings"}
    row = RUNS.row({**data, "item": {**item, "run": bare}})
    channels, readings = row.pop("channels"), run["readings"]
    return row, [
        {"run": row["id"], "position": k, "channel": channel["name"], "unit": channel["unit"], **reading}
        for k, (channel, reading) in enumerate(zip(channels, readings, strict=True))
    ]


def run_plain(store: Store, rows: Sequence[sqlite3.Row]) -> list[Plain]:
    """Give the plain data of rows of `runs`, in their order."""
    found = _readings(store, [row["id"] for row in rows])
    return [_joined(row, *found[row["id"]]) for row in rows]


def _joined(row: sqlite3.Row, channels: list[Plain], readings: list[Plain]) -> Plain:
    data = RUNS.plain({**dict(row), "channels": channels})
    data["item"]["run"]["readings"] = readings
    return data


def run_values(store: Store, rows: Sequence[sqlite3.Row]) -> tuple[RunRecord, ...]:
    """Give the records of rows of `runs`, in their order."""
    return tuple(RUNS.record.take(data, RUNS.what) for data in run_plain(store, rows))


def _readings(store: Store, runs: Sequence[str]) -> dict[str, tuple[list[Plain], list[Plain]]]:
    found: dict[str, tuple[list[Plain], list[Plain]]] = defaultdict(lambda: ([], []))
    for start in range(0, len(runs), _AT_ONCE):
        some = runs[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        for row in store.rows(f"SELECT * FROM readings WHERE run IN ({marks}) ORDER BY run, position", some):
            keys = _AMPLITUDE if row["re"] is None else _VECTOR
            channels, readings = found[row["run"]]
            channels.append({"name": row["channel"], "unit": row["unit"]})
            readings.append({key: row[key] for key in keys})
    return found

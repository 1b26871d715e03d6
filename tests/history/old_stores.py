"""Stores of older versions of the schema, with a record of each kind: tests/data/history/version_N.sql.

    python -m tests.history.old_stores N

writes one, once, before the version that follows it: from then on the file is what people have on their
disks, and a change that it does not survive needs a migration.
"""

import sqlite3
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from balancer.core.vectors import Covariance, UncertainComplex
from balancer.history.connection import connect
from balancer.history.migrations import migrate
from balancer.history.records.part import Location
from balancer.history.records.stand import CoefficientRecord
from balancer.history.run_rows import insert_run
from balancer.history.schema import MIGRATIONS
from balancer.history.schema.version_2 import natural_key
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS, EVENTS, JOBS, MACHINES, PARTS, RUNS, STANDS
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from tests.history import makers

VERSIONS = tuple(range(1, MIGRATIONS[-1].number))


def file_of(version):
    return Path(__file__).parent.parent / "data" / "history" / f"version_{version}.sql"


def records():
    """Table and record, in the order in which they refer to each other."""
    machine, stand = makers.machine(), makers.stand(set_up=SetUp("bench", ("x", "y"), moving_mass=0.42))
    fitted = makers.part("P10", where=Location("fitted", machine.id, 1), pieces=(makers.tape_piece(),))
    spare, bell = makers.part("p2"), makers.bell("M1")
    job = makers.job(fitted, stand)
    influence = (UncertainComplex(2.1e5 + 1e4j, Covariance(1e6, 1e6)),) * 2
    found = StoredCoefficient(stand.set_up, 544.5, influence, makers.START.date(), 3, True, 1, None)
    yield MACHINES, machine
    yield STANDS, stand
    yield from ((PARTS, part) for part in (fitted, spare, bell))
    yield JOBS, job
    for number in (1, 2):
        yield RUNS, makers.run(fitted, number, job=job.id, stand=stand.id, number=number)
    yield RUNS, replace(makers.run(bell), removed=makers.later(days=1))
    coefficient = CoefficientRecord(
        id=makers.ident("h"), edited=makers.START, stand=stand.id, coefficient=found, job=job.id
    )
    yield COEFFICIENTS, coefficient
    yield EVENTS, makers.event(fitted, "balanced", makers.later(days=2), job=job.id)
    yield EVENTS, makers.event(fitted, "crashed", makers.later(days=5))
    yield EVENTS, makers.event(fitted, "moved", makers.later(days=6), where=fitted.where)
    yield EVENTS, makers.event(spare, "made")


def main(version):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "history.sqlite3"
        connection = connect(path)
        migrate(connection, path, MIGRATIONS[:version])
        with Store(Path(folder), connection) as store:
            with store.transaction():
                for table, record in records():
                    insert(store, table, table.data(record), version)
            file_of(version).write_text("\n".join(connection.iterdump()) + "\n", encoding="utf-8")


def insert(store, table, data, version):
    if table is RUNS:
        insert_run(store, data)
        return
    row = table.row(data)
    if version < 3:
        row.pop("turned_deg", None)
    if table is PARTS and version > 1:
        row["sort_key"] = natural_key(row["label"])
    table.insert(store, row)


def build(path, version):
    """Make a store of a version at a path, as that version of the program left it."""
    connection = sqlite3.connect(path)
    connection.executescript(file_of(version).read_text(encoding="utf-8"))
    connection.execute("PRAGMA application_id = 0x62616c31")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()


if __name__ == "__main__":
    main(int(sys.argv[1]))

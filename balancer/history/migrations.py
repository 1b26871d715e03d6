"""Bringing a store up to date: each migration with its record in one transaction, a backup before it."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from balancer.errors import InputError, OperationError
from balancer.history.backup import copy_database
from balancer.history.connection import begin, is_file_trouble
from balancer.history.schema import MIGRATIONS
from balancer.history.schema.migration import Migration

APPLICATION_ID = 0x62616C31
"""What SQLite's header says of whose file it is ("bal1")."""

BACKUPS = "backups"
"""Folder beside the database that holds what it was before each migration."""

_RECORD = "INSERT INTO migrations(number, name, applied_at) VALUES (?, ?, ?)"


def version_of(connection: sqlite3.Connection) -> int:
    """Give the version of the schema, 0 for a file with nothing in it.

    Raises
    ------
    InputError
        If it is a database of something else.
    """
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    if not tables and application in {0, APPLICATION_ID}:
        return 0
    if application != APPLICATION_ID or "migrations" not in tables:
        raise InputError("this is a database of something else, not a history", todo="choose another folder")
    return int(connection.execute("SELECT max(number) FROM migrations").fetchone()[0] or 0)


def migrate(connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration] = MIGRATIONS) -> None:
    """Apply what is missing.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode, outside a transaction.
    path : Path
        Of its file; the backups go into a folder beside it.
    migrations : sequence of Migration
        All there are, in order.

    Raises
    ------
    InputError
        If a newer program made the store, or it is none.
    OperationError
        If a migration fails; the store is then as it was.
    """
    version = version_of(connection)
    newest = migrations[-1].number
    if version > newest:
        raise InputError(
            f"this history has version {version}, made by a newer program; this one knows up to {newest}",
            todo="update the program",
        )
    for migration in migrations:
        if migration.number > version:
            _apply(connection, path, migration, keep=version > 0)


def _apply(connection: sqlite3.Connection, path: Path, migration: Migration, *, keep: bool) -> None:
    # a table is only rebuilt with the checks of references off, which cannot be changed in a transaction
    connection.execute("PRAGMA foreign_keys = OFF")
    begin(connection)
    try:
        version = version_of(connection)
        if version < migration.number:  # another program may have been quicker
            if keep:
                _keep_old(path, version)
            _run(connection, migration)
        connection.execute("COMMIT")
    except BaseException as error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if isinstance(error, sqlite3.Error) and not is_file_trouble(error):
            raise OperationError(
                f"the change to version {migration.number} ({migration.name}) failed ({error}), so the "
                "history was left as it was",
                todo="keep the file and report it",
            ) from error
        raise
    finally:
        connection.execute("PRAGMA foreign_keys = ON")


def _run(connection: sqlite3.Connection, migration: Migration) -> None:
    if migration.number == 1:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(
            "CREATE TABLE migrations "
            "(number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at TEXT NOT NULL) STRICT"
        )
    for step in migration.steps:
        if isinstance(step, str):
            connection.execute(step)
        else:
            step(connection)
    broken = connection.execute("PRAGMA foreign_key_check").fetchone()
    if broken is not None:
        raise sqlite3.IntegrityError(f"a row of {broken[0]} refers to nothing")
    now = datetime.now(UTC).isoformat(timespec="seconds")
    connection.execute(_RECORD, (migration.number, migration.name, now))


def _keep_old(path: Path, version: int) -> None:
    """Copy the file as it was last committed: a second connection does not see the transaction at hand."""
    folder = path.parent / BACKUPS
    folder.mkdir(exist_ok=True)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    copy_database(path, folder / f"version-{version}-{stamp}.sqlite3")

"""The connection to the file: its settings, waiting for other programs, what goes wrong in a sentence."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from balancer.errors import BalancerError, InputError, OperationError

WAIT = 5.0
"""Seconds for which SQLite waits by itself while another program writes."""

PATIENCE = 15.0
"""Seconds after which a transaction that cannot begin is given up."""

_OLDEST_SQLITE = (3, 38, 0)  # STRICT tables came with 3.37, JSON functions in every build with 3.38

_CODES = {
    sqlite3.SQLITE_BUSY: ("another program is writing to it", "close the other program and try again"),
    sqlite3.SQLITE_LOCKED: ("another program is writing to it", "close the other program and try again"),
    sqlite3.SQLITE_READONLY: ("it may only be read", "check who may write to the file and its folder"),
    sqlite3.SQLITE_PERM: ("it may not be used", "check who may write to the file and its folder"),
    sqlite3.SQLITE_CANTOPEN: ("it cannot be opened", "check the folder and who may write there"),
    sqlite3.SQLITE_FULL: ("the disk is full, so nothing was changed", "make room and try again"),
    sqlite3.SQLITE_IOERR: (
        "the disk could not be read or written, so nothing was changed",
        "check the disk and the space that is left",
    ),
    sqlite3.SQLITE_NOTADB: ("this is no database", "choose another folder, or restore a backup"),
    sqlite3.SQLITE_CORRUPT: ("the database is damaged", "keep the file and restore a backup"),
}
_GIVEN = {sqlite3.SQLITE_NOTADB}


def connect(path: Path) -> sqlite3.Connection:
    """Open a database file and make it if it is not there.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    sqlite3.Connection
        In autocommit mode, with foreign keys on and a write-ahead log; commits reach the disk.

    Raises
    ------
    OperationError
        If this Python's SQLite is too old.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise OperationError(
            f"this Python has SQLite {sqlite3.sqlite_version}, and the history needs 3.38",
            todo="use a newer Python",
        )
    # a Streamlit page runs in another thread each time; Store's lock lets one at a time in
    connection = sqlite3.connect(path, timeout=WAIT, isolation_level=None, check_same_thread=False)
    try:
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA foreign_keys = ON")
        _patiently(connection, "PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
    except BaseException:
        connection.close()
        raise
    return connection


def begin(connection: sqlite3.Connection, patience: float = PATIENCE) -> None:
    """Begin a transaction that may write at once, so that it never fails half-way for want of the lock.

    A page that shows what it did within a moment gives up sooner than `PATIENCE` seconds.
    """
    if patience >= WAIT:
        _patiently(connection, "BEGIN IMMEDIATE", patience)
        return
    connection.execute(f"PRAGMA busy_timeout = {int(1e3 * patience)}")
    try:
        _patiently(connection, "BEGIN IMMEDIATE", patience)
    finally:
        connection.execute(f"PRAGMA busy_timeout = {int(1e3 * WAIT)}")


def _patiently(connection: sqlite3.Connection, statement: str, patience: float = PATIENCE) -> None:
    latest = time.monotonic() + patience
    while True:
        try:
            connection.execute(statement)
            return
        except sqlite3.OperationalError as error:
            if _primary(error) != sqlite3.SQLITE_BUSY or time.monotonic() > latest:
                raise
        time.sleep(0.01)  # some locks are refused at once, whatever the time-out


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn what SQLite complains about into one sentence that names the file."""
    try:
        yield
    except sqlite3.Error as error:
        raise _sentence(error, path) from error


def is_file_trouble(error: sqlite3.Error) -> bool:
    """Say whether the file is the trouble (locked, full, damaged), not what was to be done."""
    return _primary(error) in _CODES


def _sentence(error: sqlite3.Error, path: Path) -> BalancerError:
    code = _primary(error)
    if code in _CODES:
        what, todo = _CODES[code]
        return (InputError if code in _GIVEN else OperationError)(what, todo=todo, file=path)
    if isinstance(error, sqlite3.IntegrityError):
        return InputError(f"this does not fit the rest ({error})", todo="check what it refers to", file=path)
    return OperationError(f"the history cannot do this ({error})", todo="report it", file=path)


def _primary(error: sqlite3.Error) -> int:
    # extended codes carry the primary one in the low byte
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF

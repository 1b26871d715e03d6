"""The one door to the history: opening it, its transactions, its rows and files, its backup."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import platformdirs

from balancer.errors import BalancerError, OperationError
from balancer.history.backup import copy_database
from balancer.history.connection import PATIENCE, begin, connect, in_words
from balancer.history.files import ContentFiles, disk_in_words
from balancer.history.migrations import migrate

DATABASE = "history.sqlite3"
FILES = "files"

Scalar = str | int | float | None


def default_home() -> Path:
    """Give the folder of a person's data, as the system wants it, where the history lives by default."""
    return Path(platformdirs.user_data_dir("multirotor-balancer", appauthor=False))


class Store:
    """An open history; use it as a context manager, or close it.

    One store may be used from several threads (one at a time is let in), and several programs may have the
    same history open.

    Parameters
    ----------
    home : Path
        Its folder.
    connection : sqlite3.Connection
        To the database in it.
    """

    def __init__(self, home: Path, connection: sqlite3.Connection) -> None:
        self.home = home
        self.path = home / DATABASE
        self.files = ContentFiles(home / FILES)
        self._connection = connection
        self._lock = threading.RLock()
        self._depth = 0
        self._writing = False

    @classmethod
    def open(cls, home: str | Path | None = None) -> Self:
        """Open the history in a folder; make it if there is none, bring it up to date if it is older.

        Parameters
        ----------
        home : str or Path, optional
            The folder; that of the person's data by default.

        Returns
        -------
        Store
            The open history.

        Raises
        ------
        InputError
            If the file is no history, or a newer program made it.
        OperationError
            If it is locked, damaged, or cannot be written.
        """
        folder = default_home() if home is None else Path(home)
        path = folder / DATABASE
        with disk_in_words(folder):
            folder.mkdir(parents=True, exist_ok=True)
        try:
            with in_words(path), disk_in_words(path):
                connection = connect(path)
                try:
                    migrate(connection, path)
                except BaseException:
                    connection.close()
                    raise
        except BalancerError as error:
            raise error.at(path) from error
        return cls(folder, connection)

    def close(self) -> None:
        """Close it; what was committed is on the disk already."""
        with self._lock:
            self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self, patience: float = PATIENCE) -> Iterator[None]:
        """Change all or nothing: the one owner of transactions.

        The outermost one takes the lock for writing before anything is read, so what is read in it stays true
        until it commits; one inside another is a savepoint. It waits for another program's lock for so many
        seconds.
        """
        with self._lock, in_words(self.path):
            if self._depth and not self._writing:
                raise RuntimeError("a snapshot is for reading: begin the transaction before it")
            if self._depth:
                name = f"level_{self._depth}"
                self._connection.execute(f"SAVEPOINT {name}")
                yield from self._inside(f"RELEASE {name}", (f"ROLLBACK TO {name}", f"RELEASE {name}"))
            else:
                begin(self._connection, patience)
                self._writing = True
                yield from self._inside("COMMIT", ("ROLLBACK",))

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Read several things as they were at one moment."""
        with self._lock, in_words(self.path):
            if self._depth:
                yield
            else:
                self._connection.execute("BEGIN")
                yield from self._inside("COMMIT", ("ROLLBACK",))

    def _inside(self, end: str, undo: Sequence[str]) -> Iterator[None]:
        self._depth += 1
        try:
            yield
            self._connection.execute(end)
        except BaseException:
            for statement in undo:
                # a full disk makes SQLite roll back by itself, and then there is nothing left to undo
                if self._connection.in_transaction:
                    self._connection.execute(statement)
            raise
        finally:
            self._depth -= 1
            self._writing = self._writing and self._depth > 0

    def rows(self, statement: str, values: Sequence[Scalar] | Mapping[str, Scalar] = ()) -> list[sqlite3.Row]:
        """Give all rows of a query."""
        with self._lock, in_words(self.path):
            return self._connection.execute(statement, values).fetchall()

    def row(self, statement: str, values: Sequence[Scalar] | Mapping[str, Scalar] = ()) -> sqlite3.Row | None:
        """Give the first row of a query, None if there is none."""
        found = self.rows(statement, values)
        return found[0] if found else None

    def changes(self) -> tuple[int, int]:
        """Give two numbers that change whenever others (the first) or this one changed anything."""
        others, own = self.row("PRAGMA data_version"), self.row("SELECT total_changes() AS changes")
        assert others is not None
        assert own is not None
        return int(others[0]), int(own[0])

    def execute(self, statement: str, values: Sequence[Scalar] | Mapping[str, Scalar] = ()) -> int:
        """Change rows within `transaction`, and give how many were changed."""
        with self._lock, in_words(self.path):
            # a full disk ends a transaction early: what follows must not be committed by itself
            if not (self._writing and self._connection.in_transaction):
                raise RuntimeError("rows are changed inside Store.transaction() only")
            return self._connection.execute(statement, values).rowcount


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds.

    Parameters
    ----------
    folder : Path
        Where it is; it can be opened as a history.
    files : int
        How many recordings and photos.
    damaged : tuple of str
        Digests of those whose content is no longer what it was; restore them from an older backup.
    """

    folder: Path
    files: int
    damaged: tuple[str, ...]


def backup(store: Store, folder: str | Path) -> BackedUp:
    """Copy a history with its recordings and photos, while other programs go on writing.

    The database first: the rows in the copy then refer to files that are there already.

    Parameters
    ----------
    store : Store
        The history.
    folder : str or Path
        Where to: no folder yet, or an empty one. It can be opened as a history of its own.

    Returns
    -------
    BackedUp
        What was copied.

    Raises
    ------
    OperationError
        If there is something in the folder, or it cannot be written.
    """
    target = Path(folder)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise OperationError(
            "there is something of this name already", todo="name a new folder for the backup", file=target
        )
    with disk_in_words(target), in_words(store.path):
        target.mkdir(parents=True, exist_ok=True)
        copy_database(store.path, target / DATABASE)
        copied, damaged = _copy_files(store.files, ContentFiles(target / FILES))
    return BackedUp(target, copied, damaged)


def _copy_files(old: ContentFiles, new: ContentFiles) -> tuple[int, tuple[str, ...]]:
    copied, damaged = 0, []
    for digest in old.all():
        try:
            kept = new.keep_stream(old.chunks(digest))
        except FileNotFoundError:
            continue  # purged meanwhile
        copied += 1
        if kept != digest:
            damaged.append(digest)
    return copied, tuple(damaged)

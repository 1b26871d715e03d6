"""Whether a history is sound: the database in itself, and its rows with the files beside it."""

from __future__ import annotations

from dataclasses import dataclass

from balancer.errors import OperationError
from balancer.history.removal import files_in_rows
from balancer.history.store import Store


@dataclass(frozen=True)
class Health:
    """What was found.

    Parameters
    ----------
    complaints : tuple of str
        What SQLite says of a damaged database; empty if all is well.
    dangling : int
        Rows that refer to rows that are not there.
    missing : tuple of str
        Digests of files that rows refer to and that are not there.
    damaged : tuple of str
        Digests of files whose content is no longer what it was.
    extra : tuple of str
        Digests of files that no row refers to: harmless, left by a program that was stopped.
    """

    complaints: tuple[str, ...]
    dangling: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...]
    extra: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is lost."""
        return not (self.complaints or self.dangling or self.missing or self.damaged)


def check(store: Store, *, contents: bool = True) -> Health:
    """Look through a history.

    Parameters
    ----------
    store : Store
        The history.
    contents : bool
        Whether to read every file and compare it with its digest, too.

    Returns
    -------
    Health
        What was found.
    """
    with store.snapshot():
        said = [row[0] for row in store.rows("PRAGMA integrity_check")]
        dangling = len(store.rows("PRAGMA foreign_key_check"))
        wanted = files_in_rows(store)
    there = set(store.files.all())
    damaged = [digest for digest in sorted(wanted & there) if contents and not _whole(store, digest)]
    return Health(
        complaints=() if said == ["ok"] else tuple(said),
        dangling=dangling,
        missing=tuple(sorted(wanted - there)),
        damaged=tuple(damaged),
        extra=tuple(sorted(there - wanted)),
    )


def _whole(store: Store, digest: str) -> bool:
    try:
        store.files.read(digest)
    except OperationError:
        return False
    return True

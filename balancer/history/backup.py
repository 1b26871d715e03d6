"""A copy of a database as it was last committed, taken while others write."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from balancer.history.connection import WAIT
from balancer.history.files import sync_folder


def copy_database(source: Path, target: Path) -> None:
    """Copy a database by SQLite's online backup.

    All pages in one go: with a write-ahead log readers do not hold writers up, and a copy in several goes
    begins anew whenever another program writes, perhaps for ever.

    Parameters
    ----------
    source, target : Path
        Files; the target is there whole or not at all.
    """
    part = target.with_name(f"{target.name}.part")
    part.unlink(missing_ok=True)
    try:
        with (
            closing(sqlite3.connect(source, timeout=WAIT)) as old,
            closing(sqlite3.connect(part)) as new,
        ):
            old.backup(new, pages=-1)
            # a single file: what is copied has no write-ahead log of its own yet
            new.execute("PRAGMA journal_mode = DELETE")
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, target)
        sync_folder(target.parent)
    finally:
        part.unlink(missing_ok=True)

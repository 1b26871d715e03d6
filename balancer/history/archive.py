"""The whole history in one zip of open formats, and back: JSON lines for records, files byte for byte.

    manifest.json              form, when, counts
    machines.jsonl ...         a record a line, in the trade's units, each named in its key
    files/<sha-256>            recordings and photos

Form 2; those before are read, too (see `archive_forms`). Names in an archive are only compared with these,
never used as paths.
"""

from __future__ import annotations

import json
import os
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from balancer import __version__
from balancer.errors import OperationError
from balancer.history.archive_forms import FORM, NAME
from balancer.history.archive_reader import USUAL, Archive, Limits
from balancer.history.files import disk_in_words
from balancer.history.merge import TABLES, Conflict, Tally, merge
from balancer.history.records.codecs import instant
from balancer.history.removal import files_in_rows
from balancer.history.run_rows import run_plain
from balancer.history.store import Store
from balancer.history.tables import RUNS, Table, to_json

_AT_ONCE = 500

Counts = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Exported:
    """What an archive holds.

    Parameters
    ----------
    path : Path
        The file.
    rows : tuple of (str, int)
        Name of each table and how many of its records.
    files : int
        How many recordings and photos.
    missing : tuple of str
        Digests of those that records refer to but the history has lost.
    """

    path: Path
    rows: Counts
    files: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Imported:
    """What an import came to; each count is by table.

    Parameters
    ----------
    added, updated, unchanged, older : tuple of (str, int)
        Records that were not there; that came edited later; that are the same; that are edited later here.
    conflicts : tuple of Conflict
        Where the two histories do not agree, and what was done.
    files : int
        Recordings and photos that were not there.
    missing : tuple of str
        Digests of those that the archive refers to and neither has.
    ignored : tuple of str
        Names in the archive that are none of a history's.
    """

    added: Counts
    updated: Counts
    unchanged: Counts
    older: Counts
    conflicts: tuple[Conflict, ...]
    files: int
    missing: tuple[str, ...]
    ignored: tuple[str, ...]


def export_store(store: Store, path: str | Path, now: datetime) -> Exported:
    """Write the whole history to one zip, while other programs go on writing.

    Parameters
    ----------
    store : Store
        The history.
    path : str or Path
        The archive; there must be no such file.
    now : datetime
        With its time zone; written into the archive.

    Returns
    -------
    Exported
        What it holds.

    Raises
    ------
    OperationError
        If there is a file already, or it cannot be written.
    """
    target = Path(path)
    if target.exists():
        raise OperationError("there is a file of this name already", todo="choose another name", file=target)
    part = target.with_name(f"{target.name}.part")
    with disk_in_words(target):
        try:
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
                done = _write(store, archive, target, now)
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)
    return done


def _write(store: Store, archive: zipfile.ZipFile, target: Path, now: datetime) -> Exported:
    with store.snapshot():
        counts = tuple((table.name, _write_table(store, archive, table, now)) for table in TABLES)
        wanted = files_in_rows(store)
    missing = []
    for digest in sorted(wanted):
        if store.files.holds(digest):
            with archive.open(_info(f"files/{digest}", now), "w", force_zip64=True) as file:
                for chunk in store.files.chunks(digest):
                    file.write(chunk)
        else:
            missing.append(digest)
    manifest = {
        "form": f"{NAME} {FORM}",
        "made_at": instant(now),
        "software": __version__,
        "records": dict(counts),
        "files": len(wanted) - len(missing),
        "missing": missing,
    }
    archive.writestr(_info("manifest.json", now), json.dumps(manifest, indent=1))
    return Exported(target, counts, len(wanted) - len(missing), tuple(missing))


def _write_table(store: Store, archive: zipfile.ZipFile, table: Table[Any], now: datetime) -> int:
    count = 0
    with archive.open(_info(f"{table.name}.jsonl", now), "w", force_zip64=True) as file:
        for data in _all(store, table):
            file.write(to_json(data).encode() + b"\n")
            count += 1
    return count


def _all(store: Store, table: Table[Any]) -> Iterator[dict[str, Any]]:
    last = ""
    while True:
        rows = store.rows(f"SELECT * FROM {table.name} WHERE id > ? ORDER BY id LIMIT ?", (last, _AT_ONCE))
        if not rows:
            return
        last = rows[-1]["id"]
        yield from run_plain(store, rows) if table is RUNS else (table.plain(dict(row)) for row in rows)


def _info(name: str, now: datetime) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, now.astimezone(UTC).timetuple()[:6])
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def import_store(store: Store, path: str | Path, limits: Limits = USUAL) -> Imported:
    """Join an archive with the history, by identity; all of it or nothing.

    Everything is read and checked before anything is changed. The rule is in `merge`; importing the same
    archive again changes nothing.

    Parameters
    ----------
    store : Store
        The history.
    path : str or Path
        The archive.
    limits : Limits
        How large it may be.

    Returns
    -------
    Imported
        What was done.

    Raises
    ------
    InputError
        If it is no archive of a history, is damaged, too large, or made by a newer program.
    OperationError
        If the history cannot be written.
    """
    with Archive.open(path, limits) as archive:
        wanted = archive.check(TABLES, free_in=store.home)
        files = sum(archive.keep(store.files, digest) for digest in sorted(wanted))
        tally = Tally()
        with store.transaction():
            for table in TABLES:
                for place, data in archive.records(table.name):
                    with archive.naming(place):
                        merge(store, table, data, tally)
            for digest in wanted:  # a purge may have come between
                archive.keep(store.files, digest)
        missing = tuple(sorted(digest for digest in wanted if not store.files.holds(digest)))
        return Imported(
            added=_counts(tally.added),
            updated=_counts(tally.updated),
            unchanged=_counts(tally.unchanged),
            older=_counts(tally.older),
            conflicts=tuple(tally.conflicts),
            files=files,
            missing=missing,
            ignored=archive.ignored,
        )


def _counts(found: Counter[str]) -> Counts:
    return tuple(sorted(found.items()))

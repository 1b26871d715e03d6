"""The recordings of the bench on disk: their names, which are kept, and which are in the way."""

from __future__ import annotations

import secrets
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from balancer.app.bench.view import BenchFile
from balancer.errors import OperationError

MOST_KEPT = 20
"""Recordings kept; the oldest go when a new one begins."""

FOLDER = "live"

_STAMP = "%Y-%m-%d_%H-%M-%S"
_STAMP_LENGTH = len("2025-01-01_00-00-00")
_IN_USE = 5.0  # s since its status was written: another server's recorder renews it several times a second
_LEFT_BEHIND = 3600.0  # s after which what stands beside no recording belongs to none that begins
_BESIDE = (".status.json", ".status.json.part", ".log")


def new_file(home: Path) -> Path:
    """Give the name of a recording that begins now, and make room for it.

    Parameters
    ----------
    home : Path
        Folder of the person's data.

    Returns
    -------
    Path
        A file that is not there yet, in a folder that is.

    Raises
    ------
    OperationError
        If the folder cannot be made.
    """
    folder = home / FOLDER
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OperationError(
            f"the folder for recordings cannot be made ({error.strerror})",
            todo="check the disk and who may write there",
            file=folder,
        ) from None
    for old in kept_files(home)[MOST_KEPT - 1 :]:
        _remove(old.path)
    _tidy(folder)
    return folder / f"{datetime.now():{_STAMP}}-{secrets.token_hex(3)}.stream"


def kept_files(home: Path) -> list[BenchFile]:
    """List the recordings that no recorder is writing, latest first."""
    found: list[tuple[datetime, float, BenchFile]] = []
    for path in (home / FOLDER).glob("*.stream*"):
        if path.name.endswith(_BESIDE) or _in_use(path):
            continue
        with suppress(OSError):  # gone since it was listed
            facts = path.stat()
            file = BenchFile(path.name, path, _started(path, facts.st_mtime), facts.st_size)
            found.append((file.started, facts.st_mtime, file))
    # of those that began in the same second the one that was written last
    return [file for *_, file in sorted(found, key=lambda one: one[:2], reverse=True)]


def _started(path: Path, otherwise: float) -> datetime:
    try:
        return datetime.strptime(path.name[:_STAMP_LENGTH], _STAMP).astimezone()
    except ValueError:
        return datetime.fromtimestamp(otherwise).astimezone()


def _in_use(path: Path) -> bool:
    try:
        # either way: a clock that was put back must not let a recording look in use for hours
        return abs(time.time() - path.with_name(f"{path.name}.status.json").stat().st_mtime) < _IN_USE
    except OSError:
        return False


def _remove(path: Path) -> None:
    for file in (path, *(path.with_name(path.name + ending) for ending in _BESIDE)):
        with suppress(OSError):  # where another program holds it open it stays until the next time
            file.unlink()


def _tidy(folder: Path) -> None:
    """Remove what a killed server left of a recording that never came to be."""
    for log in folder.glob("*.stream.log"):
        file = log.with_suffix("")
        with suppress(OSError):
            if not file.exists() and time.time() - log.stat().st_mtime > _LEFT_BEHIND:
                _remove(file)

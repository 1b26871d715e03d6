"""The recordings of a job's runs on disk: each beside the job's file, with how it was read.

No name comes from a person: `<job>.run-<number>` and a suffix by content. What the file was called stands in
a small JSON file, with a digest of the run: so what was left there by another run is not taken for its own.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from balancer.errors import BalancerError, InputError
from balancer.history.files import disk_in_words
from balancer.procedure.job import JobRun
from balancer.procedure.json_file import read_json, write_json, write_whole
from balancer.recording import stream_binary, stream_text, wav
from balancer.recording.files import HEAD_BYTES, Format, read_file
from balancer.recording.hints import NOTHING, Hints

_FORM = "balancer run file 1"
_TODO = "hand the recording in again"
_LONGEST_NAME = 200  # characters
_SUFFIXES: tuple[tuple[Format, str], ...] = ((stream_binary, "stream"), (stream_text, "csv"), (wav, "wav"))


class RunFile(NamedTuple):
    """A recording as it was handed in, and what was said of it.

    Parameters
    ----------
    name : str
        Of the file: shown, never used as a path.
    content : bytes
        All of it, as it came.
    hints : Hints
        With which it was read.
    marks : (str, bytes), optional
        Name and content of a second file with the mark times.
    """

    name: str
    content: bytes
    hints: Hints = NOTHING
    marks: tuple[str, bytes] | None = None


def keep_run_file(base: Path, number: int, run: JobRun, file: RunFile) -> None:
    """Keep the recording of a run: first the bytes, then what tells of them.

    Parameters
    ----------
    base : Path
        The job's file without its suffix.
    number : int
        Of the run, from 1.
    run : JobRun
        As it is added to the job.
    file : RunFile
        Its recording.

    Raises
    ------
    OperationError
        If it cannot be written.
    """
    forget_run_file(base, number)
    about: dict[str, Any] = {
        "name": file.name[:_LONGEST_NAME],
        "suffix": _suffix(file.content),
        "run": _digest(run),
        "at": datetime.now(UTC).isoformat(),
        "hints": {key: value for key, value in asdict(file.hints).items() if value is not None},
    }
    write_whole(_beside(base, number, about["suffix"]), file.content)
    if file.marks is not None:
        about["marks"] = file.marks[0][:_LONGEST_NAME]
        write_whole(_beside(base, number, "marks"), file.marks[1])
    write_json(_beside(base, number, "json"), _FORM, about)


def forget_run_file(base: Path, number: int) -> None:
    """Take away what lies where the recording of a run goes: it belongs to a run that was never added."""
    with disk_in_words(base):
        for suffix in ("json", "marks", "bin", *(suffix for _, suffix in _SUFFIXES)):
            _beside(base, number, suffix).unlink(missing_ok=True)


def run_file(base: Path, number: int, run: JobRun) -> tuple[RunFile, datetime] | None:
    """Give the recording of a run and when it was handed in.

    Parameters
    ----------
    base : Path
        The job's file without its suffix.
    number : int
        Of the run, from 1.
    run : JobRun
        As it stands in the job.

    Returns
    -------
    (RunFile, datetime) or None
        None if none lies there, or one of another run.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    path = _beside(base, number, "json")
    if not path.exists():
        return None
    about = read_json(path, _FORM, _TODO)
    try:
        if about["run"] != _digest(run):
            return None
        hints, at = Hints(**about["hints"]), datetime.fromisoformat(about["at"])
        name, suffix, marks = str(about["name"]), str(about["suffix"]), about.get("marks")
    except (KeyError, TypeError, ValueError):
        raise InputError("this does not tell of a run's recording", todo=_TODO, file=path) from None
    content = read_file(_beside(base, number, suffix if suffix.isalnum() else "bin"))
    times = None if marks is None else (str(marks), read_file(_beside(base, number, "marks")))
    return RunFile(name, content, hints, times), at


def _beside(base: Path, number: int, suffix: str) -> Path:
    return base.with_name(f"{base.name}.run-{number}.{suffix}")


def _digest(run: JobRun) -> str:
    """Give what tells this run from others: its readings, as far as they come back from a file unchanged."""
    readings = ";".join(f"{reading.value:.9g}" for reading in run.run.readings)
    return hashlib.sha256(f"{run.source}|{readings}".encode()).hexdigest()


def _suffix(content: bytes) -> str:
    head = content[:HEAD_BYTES]
    for form, suffix in _SUFFIXES:
        try:
            if form.detect(head, ""):
                return suffix
        except BalancerError:
            continue
    return "bin" if b"\0" in head else "csv"

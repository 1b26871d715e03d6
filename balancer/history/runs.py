"""Runs of the history: kept once, never changed but for whether they count."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from balancer.errors import InputError
from balancer.history.records.codecs import instant
from balancer.history.records.run import RecordingRef, RunRecord
from balancer.history.run_rows import insert_run, run_plain, run_values, update_run
from balancer.history.store import Store
from balancer.history.tables import PARTS, RUNS
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Recording


def keep_recording(
    store: Store,
    content: bytes,
    recording: Recording,
    *,
    name: str = "",
    hints: Hints = NOTHING,
    marks: tuple[str, bytes] | None = None,
    near: float | None = None,
) -> RecordingRef:
    """Keep the file of a recording, and say how it was read.

    Parameters
    ----------
    store : Store
        The history.
    content : bytes
        Of the file, as it came.
    recording : Recording
        What was read from it.
    name : str, optional
        Of the file; that of the recording's source by default.
    hints : Hints, optional
        With which it was read.
    marks : (str, bytes), optional
        Name and content of a second file with the mark times.
    near : float, optional
        Speed in rad/s that was expected when it was measured.

    Returns
    -------
    RecordingRef
        For the run.

    Raises
    ------
    OperationError
        If the file cannot be written.
    """
    marks_name, times = marks or ("", b"")
    return RecordingRef(
        file=store.files.keep(content),
        name=name or Path(recording.source).name,
        digest=recording.digest,
        hints=hints,
        marks=store.files.keep(times) if marks else "",
        marks_name=marks_name,
        near=near,
    )


def add_run(store: Store, run: RunRecord) -> None:
    """Keep a run; its recording must have been kept before (`keep_recording`).

    Parameters
    ----------
    store : Store
        The history.
    run : RunRecord
        The run.

    Raises
    ------
    InputError
        If there is no such part, its recording is not in the history, or its number in the job is taken.
    """
    with store.transaction():
        PARTS.require(store, run.part)
        # in the transaction: a purge, which deletes files, waits for it
        for digest in run.files:
            if not store.files.holds(digest):
                raise InputError("the recording of the run is not in the history", todo="add the file first")
        if run.job is not None and store.row(
            "SELECT 1 FROM runs WHERE job = ? AND number = ?", (run.job, run.number)
        ):
            raise InputError(f"the job has a run {run.number} already", todo="read the job again")
        insert_run(store, RUNS.data(run))


def set_aside(store: Store, run: RunRecord, reason: str, now: datetime) -> RunRecord:
    """Let a run not count, for a reason; with an empty reason it counts again.

    Parameters
    ----------
    store : Store
        The history.
    run : RunRecord
        As it was read.
    reason : str
        In a few words.
    now : datetime
        With its time zone.

    Returns
    -------
    RunRecord
        As it is kept.

    Raises
    ------
    OperationError
        If another program has changed it meanwhile.
    """
    edited = instant(run.edited_at(now).edited)
    with store.transaction():
        RUNS.check_unchanged(store, run)
        # the data as they are kept: through SI and back, what was measured would change in its last digit
        (data,) = run_plain(store, store.rows("SELECT * FROM runs WHERE id = ?", (run.id,)))
        item = {**data["item"], "set_aside": reason.strip()}
        update_run(store, {**data, "item": item, "edited_at": edited})
        return get_run(store, run.id)


def get_run(store: Store, id: str) -> RunRecord:
    """Give a run by its id; an `InputError` if there is none."""
    with store.snapshot():
        rows = store.rows("SELECT * FROM runs WHERE id = ?", (id,))
        if not rows:
            raise RUNS.missing(id)
        return run_values(store, rows)[0]


def runs_of_job(store: Store, job: str) -> tuple[RunRecord, ...]:
    """Give the runs of a job in their order, those marked as removed left out."""
    with store.snapshot():
        rows = store.rows("SELECT * FROM runs WHERE job = ? AND removed_at IS NULL ORDER BY number", (job,))
        return run_values(store, rows)


def runs_of_part(store: Store, part: str, limit: int = 50, offset: int = 0) -> tuple[RunRecord, ...]:
    """Give runs of a part, the latest first."""
    with store.snapshot():
        rows = store.rows(
            "SELECT * FROM runs WHERE part = ? AND removed_at IS NULL ORDER BY at DESC, id LIMIT ? OFFSET ?",
            (part, limit, offset),
        )
        return run_values(store, rows)


def runs_of_recording(store: Store, file: str) -> tuple[RunRecord, ...]:
    """Give the runs that were measured from a file, by its digest: none is to be kept twice unawares."""
    with store.snapshot():
        rows = store.rows("SELECT * FROM runs WHERE file = ? AND removed_at IS NULL ORDER BY at", (file,))
        return run_values(store, rows)

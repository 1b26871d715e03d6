"""Jobs of the history: kept at every change, taken up again at any point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from balancer import __version__
from balancer.errors import InputError
from balancer.history.records.kept import new_id
from balancer.history.records.run import JobRecord, RecordingRef, RunRecord
from balancer.history.runs import add_run, runs_of_job, set_aside
from balancer.history.store import Store
from balancer.history.tables import JOBS, PARTS
from balancer.procedure.job import Job, JobRun
from balancer.procedure.job_codecs import JOB_RUN
from balancer.recording.model import Channel

_ROUNDING = 1e-9  # of a number: units are converted to and fro


@dataclass(frozen=True)
class Taken:
    """How the readings of a new run came about.

    Parameters
    ----------
    at : datetime
        When it was made, with its time zone.
    channels : tuple of Channel
        Name and unit of each reading.
    recording : RecordingRef or None
        Its recording, kept already; None for readings that were typed in.
    """

    at: datetime
    channels: tuple[Channel, ...]
    recording: RecordingRef | None = None


def add_job(store: Store, job: JobRecord) -> None:
    """Keep a job that begins; an `InputError` if there is no such part."""
    with store.transaction():
        PARTS.require(store, job.part)
        JOBS.insert(store, JOBS.row(JOBS.data(job)))


def save_job(
    store: Store,
    kept: JobRecord,
    job: Job,
    now: datetime,
    taken: Sequence[Taken] = (),
    software: str = __version__,
) -> JobRecord:
    """Keep a job as it is now: what is said of it, its new runs, and which of them are set aside.

    Parameters
    ----------
    store : Store
        The history.
    kept : JobRecord
        As it was read or kept last.
    job : Job
        As it is now.
    now : datetime
        With its time zone.
    taken : sequence of Taken
        One for each run that is new.
    software : str
        Version of the program that measured them.

    Returns
    -------
    JobRecord
        As it is kept.

    Raises
    ------
    InputError
        If a run that is kept is missing or measured otherwise in `job`, or `taken` does not fit the new runs.
    OperationError
        If another program has changed the job meanwhile.
    """
    with store.transaction():
        changed = JOBS.revise(store, replace(kept, frame=replace(job, runs=())), now)
        old = runs_of_job(store, kept.id)
        new = job.runs[len(old) :]
        if len(job.runs) < len(old) or len(new) != len(taken):
            raise InputError(
                f"this job has {len(job.runs)} runs, where {len(old)} are kept and {len(taken)} are new",
                todo="set runs aside instead of leaving them out",
            )
        for run, item in zip(old, job.runs, strict=False):
            _check_same(run, item)
            if run.item.set_aside != item.set_aside:
                set_aside(store, run, item.set_aside, now)
        first = _next_number(store, kept.id)
        for number, (item, how) in enumerate(zip(new, taken, strict=True), first):
            add_run(store, _record(changed, item, how, number, now, software))
        return changed


def get_job(store: Store, id: str) -> JobRecord:
    """Give a job without its runs by its id; an `InputError` if there is none."""
    return JOBS.get(store, id)


def whole_job(store: Store, id: str) -> Job:
    """Give a job with its runs, as `next_step` takes it."""
    with store.snapshot():
        return JOBS.get(store, id).with_runs(runs_of_job(store, id))


def jobs_of_part(store: Store, part: str, limit: int = 50) -> tuple[JobRecord, ...]:
    """Give the jobs of a part, the latest first."""
    rows = store.rows(
        "SELECT * FROM jobs WHERE part = ? AND removed_at IS NULL ORDER BY started_at DESC, id LIMIT ?",
        (part, limit),
    )
    return tuple(JOBS.value(dict(row)) for row in rows)


def find_job(store: Store, part: str, job: Job) -> JobRecord | None:
    """Give the kept job of a part that a job is: the one with the same first run; None if there is none.

    A job file names no record, but no two jobs begin with the same reading.
    """
    if not job.runs:
        return None
    first = JOB_RUN.out(replace(job.runs[0], set_aside=""))
    with store.snapshot():
        for record in jobs_of_part(store, part, limit=1000):
            runs = runs_of_job(store, record.id)
            if runs and _same(JOB_RUN.out(replace(runs[0].item, set_aside="")), first):
                return record
    return None


def _record(job: JobRecord, item: JobRun, how: Taken, number: int, now: datetime, software: str) -> RunRecord:
    return RunRecord(
        id=new_id(),
        edited=now,
        part=job.part,
        at=how.at,
        item=item,
        channels=how.channels,
        stand=job.stand,
        job=job.id,
        number=number,
        recording=how.recording,
        software=software,
    )


def _next_number(store: Store, job: str) -> int:
    row = store.row("SELECT coalesce(max(number), 0) AS last FROM runs WHERE job = ?", (job,))
    assert row is not None
    return int(row["last"]) + 1


def _check_same(run: RunRecord, item: JobRun) -> None:
    """Refuse to take another measurement for one that is kept."""
    if not _same(JOB_RUN.out(run.item), JOB_RUN.out(replace(item, set_aside=run.item.set_aside))):
        raise InputError(
            f"run {run.number} of this job is not the one that is kept", todo="read the job again"
        )


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)):
        return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=_ROUNDING)
    return bool(one == other)

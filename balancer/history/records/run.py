"""What is kept of a job and of a run: enough to compute all of it again."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from balancer.errors import InputError
from balancer.history.records.kept import Kept, check_digest, check_id, check_time
from balancer.procedure.job import Job, JobRun
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Channel


@dataclass(frozen=True)
class RecordingRef:
    """A stored recording, and how it was read.

    Parameters
    ----------
    file : str
        SHA-256 of the file, byte for byte as it came: its name in the store.
    name : str
        Its name when it came.
    digest : str
        `Recording.digest` of what was read from it.
    hints : Hints
        What the person said about a file that does not say it itself.
    marks : str
        SHA-256 of a second file with the mark times; empty for none.
    marks_name : str
        The name of that file when it came.
    near : float or None
        Speed in rad/s that was expected, used without marks.
    """

    file: str
    name: str
    digest: str
    hints: Hints = NOTHING
    marks: str = ""
    marks_name: str = ""
    near: float | None = None

    def __post_init__(self) -> None:
        check_digest("recording file", self.file)
        check_digest("recording", self.digest)
        if self.marks:
            check_digest("file of mark times", self.marks)
        if self.near is not None and not 0 < self.near < math.inf:
            raise InputError("the speed that was expected must be above 0", todo="leave it out")


@dataclass(frozen=True, kw_only=True)
class RunRecord(Kept):
    """A run of the history.

    Parameters
    ----------
    part : str
        Id of the part.
    at : datetime
        When it was made, with its time zone.
    item : JobRun
        Readings, masses, purpose, speed, findings, signs, and why it is set aside if it is.
    channels : tuple of Channel
        Name and unit of each reading.
    stand : str or None
        Id of the stand.
    job : str or None
        Id of the job; None for a run by itself.
    number : int
        Its place in the job from 1; 0 without a job.
    recording : RecordingRef or None
        None for readings that were typed in.
    software : str
        Version of the program that measured it.
    """

    part: str
    at: datetime
    item: JobRun
    channels: tuple[Channel, ...]
    stand: str | None = None
    job: str | None = None
    number: int = 0
    recording: RecordingRef | None = None
    software: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        check_time("the time of the run", self.at)
        for what, value in (("part", self.part), ("stand", self.stand), ("job", self.job)):
            if value is not None:
                check_id(what, value)
        if len(self.channels) != len(self.item.run.readings) or not self.channels:
            raise InputError(
                f"a run of {len(self.item.run.readings)} readings does not fit {len(self.channels)} channels",
                todo="name each channel once",
            )
        if not 0 <= self.number < 1_000_000 or (self.job is None) != (self.number == 0):
            raise InputError("the runs of a job are numbered from 1, and no others are")

    @property
    def files(self) -> tuple[str, ...]:
        """Names in the store of the files it was measured from."""
        if self.recording is None:
            return ()
        return (self.recording.file, self.recording.marks)[: 2 if self.recording.marks else 1]


@dataclass(frozen=True, kw_only=True)
class JobRecord(Kept):
    """A job of the history: the runs of one part on one stand.

    Parameters
    ----------
    part : str
        Id of the part.
    started : datetime
        With its time zone.
    frame : Job
        The job without its runs, which are records of their own.
    stand : str or None
        Id of the stand.
    """

    part: str
    started: datetime
    frame: Job
    stand: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check_time("the start of the job", self.started)
        check_id("part", self.part)
        if self.stand is not None:
            check_id("stand", self.stand)
        if self.frame.runs:
            raise InputError("the frame of a job holds no runs: each is a record of its own")

    def with_runs(self, runs: Iterable[RunRecord]) -> Job:
        """Give the job whole: `runs` are its records, in any order."""
        ordered = sorted(runs, key=lambda run: run.number)
        return replace(self.frame, runs=tuple(run.item for run in ordered))

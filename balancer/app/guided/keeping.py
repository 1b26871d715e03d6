"""The jobs of the display on disk: a file for each, written whole at every change.

The files are those of `balancer job`: a job begun here can be taken up there, and the other way round. Beside
one on the simulated bench lies a small file that says which part it is. Neither name comes from a person.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from pathlib import Path

from balancer.app.guided.trainer import FORM as PART_FORM
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.services import MovedError
from balancer.errors import BalancerError, InputError
from balancer.history.files import disk_in_words
from balancer.procedure.facts import Facts
from balancer.procedure.job import Job
from balancer.procedure.job_file import FORM, job_from_data, write_job
from balancer.procedure.json_file import content, read_json, write_json
from balancer.procedure.next_step import next_step
from balancer.procedure.step import Step
from balancer.recording.files import read_file

FOLDER = "jobs"
_ID = re.compile(r"\d{8}-\d{6}-[0-9a-f]{6}")
_TODO = "begin another job"
_LOCK = threading.Lock()


@dataclass(frozen=True, eq=False)
class Worked:
    """A job with all that follows from it, worked out once.

    Parameters
    ----------
    job : Job
        As it stands in its file.
    """

    job: Job

    @cached_property
    def facts(self) -> Facts:
        """What its runs amount to."""
        return Facts(self.job)

    @cached_property
    def step(self) -> Step:
        """The one thing to do now."""
        return next_step(self.job)


@dataclass(frozen=True, eq=False)
class Kept:
    """A job as it lies on disk.

    Parameters
    ----------
    id : str
        Its name in the folder and in the page's address.
    digest : str
        Of its file: another one says that it has been changed.
    worked : Worked
        The job, and what follows from it.
    simulated : SimulatedPart or None
        The part on the simulated bench; None for the person's own.
    changed : datetime
        When its file was written.
    """

    id: str
    digest: str
    worked: Worked
    simulated: SimulatedPart | None
    changed: datetime

    @property
    def job(self) -> Job:
        """The job."""
        return self.worked.job

    @property
    def step(self) -> Step:
        """The one thing to do now."""
        return self.worked.step


class JobFolder:
    """The folder in which the jobs lie.

    Parameters
    ----------
    home : Path
        Folder of the person's data; made when the first job is begun.
    """

    def __init__(self, home: Path) -> None:
        self.folder = home / FOLDER

    def begin(self, job: Job, simulated: SimulatedPart | None = None) -> str:
        """Keep a job that begins, and give its id.

        Raises
        ------
        OperationError
            If the folder cannot be written.
        """
        id = f"{datetime.now():%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
        with disk_in_words(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
        if simulated is not None:  # first: a job without it would be taken for one of the person's own
            write_json(self._beside(id), PART_FORM, simulated.data, new=True)
        write_job(job, self._file(id), new=True)
        return id

    def holds(self, id: str) -> bool:
        """Say whether there is a job of this id; whatever stands in an address may be asked."""
        return bool(_ID.fullmatch(id)) and self._file(id).exists()

    def get(self, id: str) -> Kept:
        """Read a job.

        Raises
        ------
        InputError
            If there is none, or its file cannot be read.
        """
        if not _ID.fullmatch(id):
            raise InputError("there is no such job", todo=_TODO)
        path, beside = self._file(id), self._beside(id)
        data = read_file(path)
        try:
            worked = _worked(data)
        except BalancerError as error:
            raise error.at(path) from None
        simulated = SimulatedPart.of_data(read_json(beside, PART_FORM, _TODO)) if beside.exists() else None
        changed = datetime.fromtimestamp(path.stat().st_mtime)
        return Kept(id, hashlib.sha256(data).hexdigest()[:12], worked, simulated, changed)

    def change(self, id: str, seen: str, work: Callable[[Kept], Job]) -> Kept:
        """Change a job and keep it, or leave it as it is.

        Parameters
        ----------
        id : str
            Of the job.
        seen : str
            Its digest as the person saw it.
        work : callable
            Makes the new job from the one that is kept.

        Returns
        -------
        Kept
            As it is kept now.

        Raises
        ------
        MovedError
            If it has been changed meanwhile.
        InputError, OperationError
            What `work` refuses, or what keeps the file from being written.
        """
        with _LOCK:
            kept = self.get(id)
            if kept.digest != seen:
                raise MovedError
            write_job(work(kept), self._file(id))
            return self.get(id)

    def latest(self, most: int) -> Sequence[Kept]:
        """Give the jobs that were changed last, the latest first; files that cannot be read are left out."""
        if not self.folder.is_dir():
            return ()
        files = [path for path in self.folder.glob("*.json") if _ID.fullmatch(path.stem)]
        files.sort(key=lambda path: path.stat().st_mtime, reverse=True)
        found = []
        for path in files[:most]:
            try:
                found.append(self.get(path.stem))
            except BalancerError:
                continue
        return found

    def _file(self, id: str) -> Path:
        return self.folder / f"{id}.json"

    def _beside(self, id: str) -> Path:
        return self.folder / f"{id}.part.json"


@lru_cache(maxsize=32)
def _worked(data: bytes) -> Worked:
    """Read a job's file, once for all tabs and all clicks that leave it as it is."""
    try:
        return Worked(job_from_data(content(json.loads(data), FORM, _TODO)))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise InputError("this is no job", todo=_TODO) from None

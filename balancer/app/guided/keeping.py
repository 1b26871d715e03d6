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
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, lru_cache
from pathlib import Path

from balancer.app.guided.link import NO_LINK, Link, in_step, keep, read_link, tied_to, write_link
from balancer.app.guided.run_files import RunFile, forget_run_file, keep_run_file, run_file
from balancer.app.guided.stored import declined, used_again, with_stored
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

FOLDER, REMOVED = "jobs", "removed"
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
    base : Path
        Its file without the suffix; what belongs to it lies beside, under this name and a suffix.
    link : Link
        What ties it to the history.
    """

    id: str
    digest: str
    worked: Worked
    simulated: SimulatedPart | None
    changed: datetime
    base: Path
    link: Link = NO_LINK

    @property
    def due(self) -> bool:
        """Whether something of it is still to be kept in the history."""
        return bool(self.link.part and self.job.runs) and self.link.kept != self.digest

    def recording(self, number: int) -> tuple[RunFile, datetime] | None:
        """Give the recording of a run, counted from 1, and when it was handed in; None if there is none."""
        return run_file(self.base, number, self.job.runs[number - 1])

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
        self.home = home
        self.folder = home / FOLDER

    def begin(self, job: Job, simulated: SimulatedPart | None = None, link: Link = NO_LINK) -> str:
        """Keep a job that begins, and give its id.

        Parameters
        ----------
        job : Job
            The job.
        simulated : SimulatedPart, optional
            The part on the simulated bench that it is about.
        link : Link, optional
            To the part of the history that it is about.

        Returns
        -------
        str
            Its id.

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
        if link != NO_LINK:
            write_link(self.folder / id, link)
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
        base, path, beside = self.folder / id, self._file(id), self._beside(id)
        data, changed = read_file(path), _written(path)
        try:
            worked = _worked(data)
        except BalancerError as error:
            raise error.at(path) from None
        simulated = SimulatedPart.of_data(read_json(beside, PART_FORM, _TODO)) if beside.exists() else None
        digest, link = hashlib.sha256(data).hexdigest()[:12], in_step(read_link(base), worked.job)
        return Kept(id, digest, worked, simulated, datetime.fromtimestamp(changed), base, link)

    def change(
        self,
        id: str,
        seen: str,
        work: Callable[[Kept], Job],
        *,
        recording: RunFile | None = None,
    ) -> Kept:
        """Change a job and keep it, or leave it as it is.

        Parameters
        ----------
        id : str
            Of the job.
        seen : str
            Its digest as the person saw it.
        work : callable
            Makes the new job from the one that is kept.
        recording : RunFile, optional
            That of the run that `work` adds: written before the job, so that no run stands in it without its
            recording.

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

        def changed(kept: Kept) -> tuple[Job, Link]:
            job = work(kept)
            if len(job.runs) > len(kept.job.runs):
                self._keep_run(kept.base, job, recording)
            return with_stored(self.home, kept, job)

        return self._change(id, seen, changed)

    def tie(self, id: str, part: str, bell: str = "") -> Kept:
        """Tie a job to a part of the history, and to the bell below; what it has is kept there at once.

        Raises
        ------
        InputError
            If the part is of another kind, the bell is none, or the job is on the simulated bench.
        """
        with _LOCK:
            kept = self.get(id)
            link = tied_to(self.home, kept, part, bell)
            write_link(kept.base, link)
            return self._keep(replace(kept, link=link))

    def keep_now(self, id: str) -> Kept:
        """Keep a job in the history again, where that did not work at its last change."""
        with _LOCK:
            return self._keep(self.get(id))

    def decline(self, id: str, seen: str) -> Kept:
        """Let a job go on without the stored influence coefficient; raises as `change` does."""
        return self._change(id, seen, declined)

    def use_stored(self, id: str, seen: str) -> Kept:
        """Give a job a stored influence coefficient after all; raises as `change` does."""
        return self._change(id, seen, lambda kept: used_again(self.home, kept))

    def remove(self, id: str) -> None:
        """Take a job out of the lists: its files go into a folder beside, and none is deleted.

        Raises
        ------
        InputError
            If there is none.
        OperationError
            If the folder cannot be written.
        """
        with _LOCK:
            if not self.holds(id):
                raise InputError("there is no such job", todo=_TODO)
            away = self.folder / REMOVED
            with disk_in_words(away):
                away.mkdir(exist_ok=True)
                # its own file first: with it the job is gone, whatever ends in between
                for path in (self._file(id), *self.folder.glob(f"{id}.*")):
                    if path.exists():
                        path.replace(away / path.name)

    def _change(self, id: str, seen: str, work: Callable[[Kept], tuple[Job, Link]]) -> Kept:
        with _LOCK:
            kept = self.get(id)
            if kept.digest != seen:
                raise MovedError
            job, link = work(kept)
            if link != kept.link:
                write_link(kept.base, link)
            write_job(job, self._file(id))
            return self._keep(self.get(id))

    def _keep(self, kept: Kept) -> Kept:
        """Keep it in the history if that is due; the job itself is on the disk already."""
        link = keep(self.home, kept)
        if link != kept.link:
            write_link(kept.base, link)
        return replace(kept, link=link)

    def latest(self, most: int) -> Sequence[Kept]:
        """Give the jobs that were changed last, the latest first; files that cannot be read are left out."""
        return tuple(one for one in self._looked_at(most) if isinstance(one, Kept))

    def unreadable(self, most: int) -> Sequence[str]:
        """Say of which of the jobs that were changed last the files cannot be read, and why."""
        return tuple(str(one) for one in self._looked_at(most) if isinstance(one, BalancerError))

    def _looked_at(self, most: int) -> Iterator[Kept | BalancerError]:
        if not self.folder.is_dir():
            return
        files = [path for path in self.folder.glob("*.json") if _ID.fullmatch(path.stem)]
        for path in sorted(files, key=_written, reverse=True)[:most]:
            try:
                yield self.get(path.stem)
            except BalancerError as error:
                if path.exists():  # else it was removed while we looked
                    yield error

    def _keep_run(self, base: Path, job: Job, recording: RunFile | None) -> None:
        number = len(job.runs)
        if recording is None:
            forget_run_file(base, number)
        else:
            keep_run_file(base, number, job.runs[-1], recording)

    def _file(self, id: str) -> Path:
        return self.folder / f"{id}.json"

    def _beside(self, id: str) -> Path:
        return self.folder / f"{id}.part.json"


def _written(path: Path) -> float:
    """Give when a file was written, in s since 1970; 0 for one that is gone."""
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


@lru_cache(maxsize=1024)  # as many as the list of all jobs shows, at some 30 kB each
def _worked(data: bytes) -> Worked:
    """Read a job's file, once for all tabs and all clicks that leave it as it is."""
    try:
        return Worked(job_from_data(content(json.loads(data), FORM, _TODO)))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise InputError("this is no job", todo=_TODO) from None

"""The link between a job of the page and the history: whose job it is, and what of it is kept there.

Beside the job's file lies a small file of its own. The job is written first, then it is kept in the history
in one transaction, then this file says which state of the job is kept. Whatever ends in between, the next
change sees from it that something is due.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from balancer.app import services
from balancer.errors import BalancerError, InputError
from balancer.history.bench import check_below, take_reading
from balancer.history.jobs import Taken
from balancer.history.keeping import keep_job, runs_kept
from balancer.history.parts import get_part
from balancer.history.records.part import PartRecord
from balancer.history.runs import keep_recording
from balancer.history.store import DATABASE, Store
from balancer.procedure.job import Job, JobRun
from balancer.procedure.json_file import read_json, write_json
from balancer.recording.files import read_bytes

if TYPE_CHECKING:
    from balancer.app.guided.keeping import Kept

PATIENCE = 0.2
"""Seconds for which a click waits while another program writes to the history."""

_FORM = "balancer job link 1"
_TODO = "choose the part again under “Keep it with a part”"


@dataclass(frozen=True)
class Stored:
    """A stored influence coefficient as it was given to a job.

    Parameters
    ----------
    stand : str
        Name of the stand that it belongs to.
    day : str
        When it was found, such as ``2026-05-31``; empty when not known.
    jobs : int
        From how many jobs.
    rpm : float
        At which speed.
    left_percent : float
        Share of the vibration that one run and this coefficient may be expected to leave.
    suffices : bool
        Whether it stands in for a trial run; otherwise it only sizes one.
    """

    stand: str
    day: str
    jobs: int
    rpm: float
    left_percent: float
    suffices: bool


@dataclass(frozen=True)
class Link:
    """What ties a job to the history.

    Parameters
    ----------
    part, bell : str
        Ids of the part, and of the bell below a propeller; empty for none.
    kept : str
        Digest of the job's file as it was kept in the history last; empty for never.
    trouble : str
        Why it could not be kept at the last change; empty if it could.
    stored : Stored or None
        The stored influence coefficient that was given to it.
    declined : bool
        Whether the person goes on without that.
    unfit : tuple of str
        Why none of the stored ones fits this job.
    """

    part: str = ""
    bell: str = ""
    kept: str = ""
    trouble: str = ""
    stored: Stored | None = None
    declined: bool = False
    unfit: tuple[str, ...] = ()


NO_LINK = Link()


def read_link(base: Path) -> Link:
    """Read the link of a job; what cannot be read ties it to nothing, and says so."""
    path = _file(base)
    if not path.exists():
        return NO_LINK
    try:
        return _link(read_json(path, _FORM, _TODO))
    except BalancerError as error:
        return Link(trouble=str(error))


def in_step(link: Link, job: Job) -> Link:
    """Let a link say of the stored coefficient what its job does: that is what counts.

    The link is written first, so a program that ended between the two left one that is ahead of its job.
    """
    used = job.known is not None or job.hint is not None
    if link.stored is None or used != link.declined:
        return link
    # without a run, the first one asks again; later the person is asked
    return replace(link, declined=not used) if used or job.runs else replace(link, stored=None, unfit=())


def write_link(base: Path, link: Link) -> None:
    """Write the link of a job whole; an `OperationError` if that fails."""
    write_json(_file(base), _FORM, asdict(link))


def _file(base: Path) -> Path:
    return base.with_name(f"{base.name}.kept.json")


def _link(data: dict[str, Any]) -> Link:
    try:
        stored = data.pop("stored")
        unfit = tuple(str(text) for text in data.pop("unfit"))
        return Link(**data, stored=None if stored is None else Stored(**stored), unfit=unfit)
    except (KeyError, TypeError):
        raise InputError("this does not say which part a job is about", todo=_TODO) from None


def history(home: Path) -> Store | None:
    """Give the history of a home; None where none was begun, for looking makes none."""
    return services.store(home) if (home / DATABASE).is_file() else None


def tied_to(home: Path, kept: Kept, part: str, bell: str) -> Link:
    """Give the link of a job to a part of the history.

    Parameters
    ----------
    home : Path
        Folder of the person's data.
    kept : Kept
        The job.
    part, bell : str
        Ids of the part, and of the bell that a propeller stands on; empty for none.

    Returns
    -------
    Link
        With nothing kept yet.

    Raises
    ------
    InputError
        If the part is of another kind, the bell is none, or the job is on the simulated bench.
    """
    check_free(kept)
    store = services.store(home)
    with store.snapshot():
        record = part_in_use(store, part)
        check_below(record, part_in_use(store, bell) if bell else None)
    if record.kind != kept.job.part.kind:
        raise InputError(
            f"the job is about a {kept.job.part.kind}, but {record.label} is a {record.kind}",
            todo="choose another part",
        )
    return replace(kept.link, part=part, bell=bell, kept="", trouble="")


def check_free(kept: Kept) -> None:
    """Refuse to tie a job on the simulated bench, or one that is kept with a part already."""
    if kept.simulated is not None:
        raise InputError(
            "a job on the simulated bench is not kept in the history: its part is invented",
            todo="begin a job on a part of your own",
        )
    if kept.link.kept:
        raise InputError("this job is kept with a part already", todo="look at what is shown now")


def part_in_use(store: Store, id: str) -> PartRecord:
    """Give a part that was not removed; an `InputError` if there is none."""
    try:
        part = get_part(store, id)
    except InputError:
        part = None
    if part is None or part.removed is not None:
        raise InputError("this part is no longer in the history", todo="choose another part")
    return part


def keep(home: Path, kept: Kept) -> Link:
    """Keep a job in the history as it is now, if that is due: all of it or nothing.

    Parameters
    ----------
    home : Path
        Folder of the person's data.
    kept : Kept
        The job as it lies on disk.

    Returns
    -------
    Link
        As it is now: with the state that is kept, or with what went wrong.
    """
    if not kept.due:
        return kept.link
    try:
        _keep(services.store(home), kept)
    except BalancerError as error:
        return replace(kept.link, trouble=str(error))
    return replace(kept.link, kept=kept.digest, trouble="")


def _keep(store: Store, kept: Kept) -> None:
    job, link = kept.job, kept.link
    when = kept.changed.astimezone()
    with store.transaction(PATIENCE):
        part = part_in_use(store, link.part)
        bell = part_in_use(store, link.bell) if link.bell else None
        first = runs_kept(store, part, job) + 1
        taken = [_taken(store, kept, number, when) for number in range(first, len(job.runs) + 1)]
        keep_job(store, part, job, taken, when, bell=bell)


def _taken(store: Store, kept: Kept, number: int, when: datetime) -> Taken:
    """Put the recording of a run into the history, and say how the run came about."""
    run: JobRun = kept.job.runs[number - 1]
    found = kept.recording(number)
    if found is None:
        return take_reading(kept.job, run, when)
    file, at = found
    recording = read_bytes(file.content, file.name, file.hints, file.marks)
    ref = keep_recording(
        store,
        file.content,
        recording,
        name=file.name,
        hints=file.hints,
        marks=file.marks,
        near=kept.job.speed,
    )
    return Taken(at, recording.channels, ref)

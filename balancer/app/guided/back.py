"""One step back in a job: what was said before the last click is kept beside the job's file.

Nothing that was measured is removed: a run made since then is set aside, and can be taken back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from balancer.app.guided.keeping import JobFolder, Kept
from balancer.app.guided.run_files import RunFile
from balancer.errors import BalancerError, InputError
from balancer.procedure.job import Job
from balancer.procedure.job_file import job_from_data, job_to_data
from balancer.procedure.json_file import read_json, write_json

MOST = 40
"""Steps kept; the oldest go first."""

REASON = "the job went back to before it"
"""Why a run does not count that was made since."""

Step = dict[str, Any]
"""How many runs there were, and the job without them, as plain data."""

_FORM = "balancer earlier steps 1"
_TODO = "go on from the step that is shown"


def change(
    folder: JobFolder,
    id: str,
    seen: str,
    work: Callable[[Kept], Job],
    *,
    recording: RunFile | None = None,
) -> Kept:
    """Change a job as `JobFolder.change` does, and remember what was said before.

    Parameters
    ----------
    folder, id, seen, work, recording
        As there.

    Returns
    -------
    Kept
        As it is kept now.
    """

    def noted(kept: Kept) -> Job:
        job = work(kept)
        if not _alike(_bare(job), _bare(kept.job)) or len(job.runs) > len(kept.job.runs):
            # first: a crash before the job is written leaves a step that changes nothing, and is skipped
            step = {"runs": len(kept.job.runs), "job": job_to_data(_bare(kept.job))}
            _write(kept.base, [*_earlier(kept.base), step][-MOST:])
        return job

    return folder.change(id, seen, noted, recording=recording)


def before(kept: Kept) -> Job | None:
    """Give the job as it would be one step back; None where there is none."""
    found = _last(kept)
    return None if found is None else found[0]


def gone_back(kept: Kept) -> Job:
    """Go one step back; an `InputError` if there is none. To be used with `JobFolder.change` itself."""
    found = _last(kept)
    if found is None:
        raise InputError("there is no step before this one", todo=_TODO)
    job, steps = found
    _write(kept.base, steps)
    return job


def undone(kept: Kept) -> str:
    """Say what a step back would undo; empty where there is none."""
    job, now = before(kept), kept.job
    if job is None:
        return ""
    aside = [
        str(number)
        for number, (one, other) in enumerate(zip(job.runs, now.runs, strict=True), 1)
        if one.set_aside != other.set_aside
    ]
    if aside:
        return f"Run {', '.join(aside)} is set aside, not lost."
    if not _alike(_bare(replace(job, fitted=())), _bare(replace(now, fitted=()))):
        return "What was said last is undone."
    if not _alike(_bare(job), _bare(now)):
        return "What was said to be on the rotor is undone."
    return ""


def _last(kept: Kept) -> tuple[Job, list[Step]] | None:
    """Give the job after a step back, and the steps that are left then."""
    steps = _earlier(kept.base)
    while steps:
        job = _before(kept.job, steps.pop())
        if job is not None and not _alike(job, kept.job):
            return job, steps
    return None


def _before(job: Job, step: Step) -> Job | None:
    """Give the job as it was at a step, runs made since set aside; None if the step cannot be read."""
    try:
        runs, said = int(step["runs"]), job_from_data(step["job"])
    except (BalancerError, KeyError, TypeError, ValueError):
        return None
    job = replace(job, acknowledged=said.acknowledged, below=said.below, check=said.check, fitted=said.fitted)
    for number, run in enumerate(job.runs, 1):
        if number > runs and not run.set_aside:
            job = job.set_aside(number, REASON)
    return job


def _bare(job: Job) -> Job:
    return replace(job, runs=())


def _alike(one: Job, other: Job) -> bool:
    """Compare two jobs; a number written in a trade's unit and read again may be off in its last digit."""
    return bool(_rounded(job_to_data(one)) == _rounded(job_to_data(other)))


def _rounded(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _rounded(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_rounded(value) for value in data]
    return float(f"{data:.9g}") if isinstance(data, float) else data


def _file(base: Path) -> Path:
    return base.with_name(f"{base.name}.before.json")


def _earlier(base: Path) -> list[Step]:
    """Read what is kept; a file that cannot be read costs the way back, and nothing else."""
    path = _file(base)
    if not path.exists():
        return []
    try:
        return [dict(step) for step in read_json(path, _FORM, _TODO)["steps"]]
    except (BalancerError, KeyError, TypeError, ValueError):
        return []


def _write(base: Path, steps: list[Step]) -> None:
    write_json(_file(base), _FORM, {"steps": steps})

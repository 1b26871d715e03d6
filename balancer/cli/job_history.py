"""Jobs and the history: a job that begins with a part of it, and one that is kept there."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import json_option, print_json, print_lines, progress
from balancer.cli.foreign import foreign_options, read_foreign
from balancer.cli.home import day_option, home_option, moment, open_store, the_part
from balancer.cli.job import job
from balancer.errors import InputError

if TYPE_CHECKING:
    from balancer.history.jobs import Taken
    from balancer.history.store import Store
    from balancer.procedure.job import Job, JobRun
    from balancer.procedure.part import Part
    from balancer.recording.model import Recording

_OF_THE_PART = (
    "kind",
    "name",
    "blades",
    "blade_mm",
    "usual_mm",
    "sand_from_mm",
    "ring_mm",
    "slots",
    "screws",
)
_SAME = 1e-6  # share by which readings of the same recording may differ between computers


def part_of_history(label: str, bell: str | None, home: str | None, said: dict[str, Any]) -> tuple[Part, str]:
    """Give a part of the history as a job takes it, and what is known of the bell below.

    Parameters
    ----------
    label, bell : str
        Labels of the part, and of the bell that a propeller stands on.
    home : str or None
        Folder of the history.
    said : dict
        The other options of `job start`.

    Returns
    -------
    part : Part
        Its mass is of all that turns.
    below : str
        As `Job.below`.

    Raises
    ------
    InputError
        If the history does not know the part or enough of it.
    click.UsageError
        If options say what the history tells, or a mass is missing.
    """
    from balancer.history.bench import bench_part, known_good
    from balancer.units import kg_from_g

    extra = [f"--{name.replace('_', '-')}" for name in _OF_THE_PART if said[name]]
    if extra:
        raise click.UsageError(f"the history tells this of {label}: leave out {', '.join(extra)}")
    mass = None if said["mass_g"] is None else kg_from_g(said["mass_g"])
    with open_store(home) as store:
        record = the_part(store, label)
        below = None if bell is None else the_part(store, bell)
        if record.kind == "propeller" and below is None and mass is None:
            raise click.UsageError(
                "a propeller turns with its bell: name it with --on BELL, or give --mass-g"
            )
        part = bench_part(store, record, below, hand=said["hand"], mass=mass)
        checked = below is not None and known_good(store, below)
    return part, "balanced" if checked else str(said["below"])


@job.command()
@click.argument("file", type=click.Path(), metavar="JOB.json")
@click.option("--for", "label", help="The part of the history; the name in the job if left out.")
@click.option("--on", "bell", help="The bell that the propeller stood on, both marks in line.")
@click.option("--without-recordings", is_flag=True, help="Keep runs whose recordings are gone, too.")
@day_option("When the job was")
@foreign_options
@home_option
@json_option
def save(
    file: str,
    label: str | None,
    bell: str | None,
    without_recordings: bool,
    when: datetime | None,
    home: str | None,
    as_json: bool,
    **said: Any,
) -> None:
    """Keep the job in the history: its runs with their recordings, what is on the part, what it found.

    Do it again whenever there is more: only what is new is added. When the job is done, the part counts as
    balanced (or as checked, if nothing had to be put on), and an influence coefficient that it found is kept
    with its stand.
    """
    from balancer.contract.history import kept_json
    from balancer.history.keeping import keep_job, runs_kept
    from balancer.procedure.job_file import read_job
    from balancer.wording.history import kept_lines

    now = read_job(file)
    named = label or now.part.name
    if not named:
        raise click.UsageError("say of which part, with --for LABEL")
    if said["calibration"] is not None:
        raise click.UsageError("give the scale itself, with --wav-scale: the history keeps it")
    with open_store(home) as store:
        part = the_part(store, named)
        below = None if bell is None else the_part(store, bell)
        new = now.runs[runs_kept(store, part, now) :]
        taken = [_taken(store, now, run, file, said, without_recordings, when) for run in new]
        at = moment(when) if when else max((one.at for one in taken), default=moment(None))
        try:
            kept = keep_job(store, part, now, taken, at, bell=below)
        except InputError as error:
            raise error.at(file) from None
    if as_json:
        print_json(kept_json(kept))
        return
    print_lines(kept_lines(kept, part, below))


def _taken(
    store: Store,
    now: Job,
    run: JobRun,
    file: str,
    said: dict[str, Any],
    without: bool,
    when: datetime | None,
) -> Taken:
    """Put the recording of a run into the history, and say how the run came about."""
    from balancer.history.bench import take_reading
    from balancer.history.jobs import Taken
    from balancer.history.runs import keep_recording
    from balancer.recording.files import read_file
    from balancer.recording.hints import Hints

    path = None if run.source == "typed" else _found(run.source, file)
    if run.source == "typed" or (path is None and without):
        return take_reading(now, run, moment(when))
    if path is None:
        raise InputError(
            "the recording of this run is gone",
            todo="put it back, or keep the job --without-recordings",
            file=run.source,
        )
    progress(f"keeping {path}")
    recording = read_foreign(str(path), said)
    _check_same(now, run, recording, path)
    hints = {key: value for key, value in said.items() if key in Hints.__dataclass_fields__}
    marks = None if said["marks"] is None else (Path(said["marks"]).name, read_file(said["marks"]))
    kept = keep_recording(
        store,
        read_file(path),
        recording,
        name=path.name,
        hints=Hints(**hints),
        marks=marks,
        near=now.speed,
    )
    made = moment(when) if when else datetime.fromtimestamp(path.stat().st_mtime, UTC)
    return Taken(made, recording.channels, kept)


def _found(source: str, file: str) -> Path | None:
    """Give where a recording is: as it was named, or beside the job's file."""
    for path in (Path(source), Path(file).parent / source, Path(file).parent / Path(source).name):
        if path.is_file():
            return path
    return None


def _check_same(now: Job, run: JobRun, recording: Recording, path: Path) -> None:
    """Refuse a file that another recording has replaced meanwhile."""
    from balancer.procedure.measure import measure, run_of

    found = run_of(measure(recording, near=now.speed), run.run.masses, run.run.purpose)
    kept = [reading.value for reading in run.run.readings]
    apart = [abs(a - b.value) for a, b in zip(kept, found.readings, strict=False)]
    if len(found.readings) != len(kept) or any(
        gap > _SAME * max(abs(value), 1e-12) for gap, value in zip(apart, kept, strict=True)
    ):
        raise InputError(
            "this file holds another recording than the one that the run was measured from",
            todo="put the right one back; a foreign file needs the same options as when it was added",
            file=path,
        )

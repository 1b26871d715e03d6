"""The job on the command line: start it, do what is next, add the run, and so on to the end."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import (
    ABOVE_0,
    angles_option,
    commands,
    json_option,
    print_json,
    print_lines,
    progress,
)
from balancer.cli.foreign import foreign_options, read_foreign
from balancer.cli.home import home_option
from balancer.cli.places import part_and_stock_options, places_of, stock_of
from balancer.errors import InputError, OperationError

if TYPE_CHECKING:
    from balancer.procedure.job import Job
    from balancer.procedure.part import Part
    from balancer.procedure.step import Step


class _Digits(click.ParamType):  # type: ignore[type-arg] # generic from click 8.2 on
    """A number as it was typed: its last digit tells how well it is known."""

    name = "number"

    def __init__(self, least: float | None = None) -> None:
        self.least = least

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Decimal:
        """Keep the digits."""
        try:
            number = Decimal(value)
        except InvalidOperation:
            self.fail(f"{value!r} is not a number", param, ctx)
        if not number.is_finite() or (self.least is not None and number < Decimal(self.least)):
            self.fail(f"{value!r} is not a number of {self.least or 0:g} or more", param, ctx)
        return number


_FILE = click.argument("file", type=click.Path(), metavar="JOB.json")


@commands.group()
def job() -> None:
    """Balance a part step by step: the tool says what is next and why.

    A job is kept in a file of its own, so it can be left and taken up again at any point. Begin with
    `balancer job start`, then `balancer job next` after everything that you do.
    """


@job.command()
@_FILE
@click.option(
    "--part",
    "kind",
    type=click.Choice(["propeller", "bell", "adapter"]),
    help="A propeller if it has blades, else a bell.",
)
@click.option("--name", default="", help="What is written on the part.")
@click.option("--mass-g", type=ABOVE_0, help="Of all that turns, weighed.")
@click.option("--rpm", type=click.FloatRange(min=60), required=True, help="Speed of the runs.")
@click.option("--hand", type=click.Choice(["ccw", "cw"]), default="ccw", help="Turns so, from the front.")
@click.option(
    "--grade", type=ABOVE_0, default=6.3, show_default=True, help="Balance quality grade; 2.5 is finer."
)
@part_and_stock_options
@click.option("--stand", default="", help="Name of the stand.")
@click.option("--moving-g", type=ABOVE_0, help="All that shakes on the stand, weighed: it sizes the trial.")
@click.option("--force-n", type=ABOVE_0, help="Most that a trial piece may pull.")
@click.option(
    "--bell",
    "below",
    type=click.Choice(["balanced", "unbalanced", "accepted"]),
    default="unbalanced",
    show_default=True,
    help="Of a propeller: whether the bare bell below was balanced first, or you go on without.",
)
@click.option("--for", "label", help="A part of the history, which tells all about it.")
@click.option("--on", "bell", help="With --for, of a propeller: the bell below it in the history.")
@home_option
def start(file: str, label: str | None, bell: str | None, home: str | None, **said: Any) -> None:
    """Start a job: say what the part is, where masses may go, and what tape there is.

    With --for the history tells what the part is and where masses may go; keep the job there at the end with
    `balancer job save`.
    """
    from balancer.procedure.job import Job, Limits, Stand
    from balancer.procedure.job_file import write_job
    from balancer.units import kg_from_g, rad_s_from_rpm

    moving = None if said["moving_g"] is None else kg_from_g(said["moving_g"])
    if label is not None:
        from balancer.cli.job_history import part_of_history

        part, said["below"] = part_of_history(label, bell, home, said)
    elif bell is not None:
        raise click.UsageError("--on belongs to --for")
    else:
        part = _part(said)
    begun = Job(
        part,
        stock_of(said),
        speed=rad_s_from_rpm(said["rpm"]),
        stand=Stand(said["stand"], moving),
        limits=Limits(said["force_n"]),
        below=said["below"],
    )
    write_job(begun, file, new=True)
    print_lines([f"{file}: the job has begun."])
    _show_next(begun, file)


def _part(said: dict[str, Any]) -> Part:
    from balancer.procedure.part import Part
    from balancer.units import kg_from_g

    if said["mass_g"] is None:
        raise click.UsageError("give --mass-g, or a part of the history with --for")
    return Part(
        said["kind"] or ("propeller" if said["blades"] else "bell"),
        kg_from_g(said["mass_g"]),
        places_of(said),
        name=said["name"],
        hand=said["hand"],
        grade=said["grade"] * 1e-3,
    )


@job.command("next")
@_FILE
@angles_option
@json_option
def next_(file: str, angles: Any, as_json: bool) -> None:
    """Say the one thing to do now, and why."""
    from balancer.contract.job import step_json
    from balancer.procedure.job_file import read_job
    from balancer.procedure.next_step import next_step

    now = read_job(file)
    if as_json:
        print_json(step_json(next_step(now), now))
        return
    _show_next(now, file, angles)


@job.command()
@_FILE
@angles_option
@json_option
def show(file: str, angles: Any, as_json: bool) -> None:
    """Show how the job stands: its runs, what is on, what is known, what is next."""
    from balancer.contract.job import step_json
    from balancer.procedure.job_file import job_to_data, read_job
    from balancer.procedure.next_step import next_step
    from balancer.wording.job import answer_lines, job_lines

    now = read_job(file)
    step = next_step(now)
    if as_json:
        print_json({"job": job_to_data(now), "next": step_json(step, now)})
        return
    print_lines(job_lines(now, angles))
    print_lines(answer_lines(step, now.part.places.radius, angles))
    _show_next(now, file, angles)


@job.command()
@_FILE
def acknowledge(file: str) -> None:
    """Say that you have read the cautions."""
    from dataclasses import replace

    from balancer.procedure.job_file import read_job

    _keep(replace(read_job(file), acknowledged=True), file)


@job.command()
@_FILE
@click.option("--accept", is_flag=True, help="Go on without balancing the bell.")
def bell(file: str, accept: bool) -> None:
    """Say that the bare bell below the propeller was balanced."""
    from dataclasses import replace

    from balancer.procedure.job_file import read_job

    _keep(replace(read_job(file), below="accepted" if accept else "balanced"), file)


@job.command("check")
@_FILE
@click.argument("recording", required=False, type=click.Path())
@click.option("--skip", is_flag=True, help="Go on without this check.")
@foreign_options
def check_sensor(file: str, recording: str | None, skip: bool, **said: Any) -> None:
    """Check stand and sensor from a recording of the sensor alone at rest."""
    from dataclasses import replace

    from balancer.procedure.check import check_still
    from balancer.procedure.job import SensorCheck
    from balancer.procedure.job_file import read_job
    from balancer.wording import checked_lines

    now = read_job(file)
    if (recording is None) == (not skip):
        raise click.UsageError("give a recording of the sensor at rest, or --skip")
    if recording is None:
        _keep(replace(now, check=SensorCheck(skipped=True)), file)
        return
    checked = check_still(read_foreign(recording, said))
    print_lines(checked_lines(checked))
    _keep(replace(now, check=SensorCheck(checked.findings)), file)


@job.command()
@_FILE
@click.option("--nothing", is_flag=True, help="Everything was taken off.")
@click.option(
    "--mass",
    "masses",
    type=(float, float, float),
    multiple=True,
    metavar="G MM DEG",
    help="What is on instead: grams, radius in mm, degrees against the rotation. Repeat for more.",
)
def fit(file: str, nothing: bool, masses: tuple[tuple[float, float, float], ...]) -> None:
    """Say that the pieces are on as advised, or what is on instead."""
    from math import radians

    from balancer.core.masses import Mass
    from balancer.core.pieces import Piece
    from balancer.procedure.job_file import read_job
    from balancer.procedure.next_step import next_step
    from balancer.units import kg_from_g, m_from_mm

    now = read_job(file)
    if nothing and masses:
        raise click.UsageError("--nothing and --mass contradict each other")
    if masses or nothing:
        on = [Piece.of_mass(Mass(kg_from_g(g), m_from_mm(mm), radians(deg))) for g, mm, deg in masses]
        _keep(now.with_fitted(on), file)
        return
    step = next_step(now)
    if step.action != "fit":
        raise InputError(
            "the next step is not to fit pieces",
            todo=f"look at balancer job next {file}, or say what is on with --mass or --nothing",
            file=file,
        )
    _keep(now.with_fitted(step.pieces), file)


@job.command()
@_FILE
@click.argument("recording", required=False, type=click.Path())
@click.option(
    "--source", metavar="NAME", help="Record it now instead, as balancer record does with --steady."
)
@click.option("--revolutions", type=click.IntRange(min=50), default=400, help="Of a recording made now.")
@click.option("--amplitude", type=_Digits(0), help="A typed reading instead of a recording.")
@click.option("--phase-deg", type=_Digits(), help="Its phase; left out: amplitudes only.")
@click.option("--lead", is_flag=True, help="The phase counts as a lead, not as a lag.")
@click.option("--sd-amplitude", type=ABOVE_0, help="Standard uncertainty of the amplitude.")
@click.option("--sd-phase-deg", type=ABOVE_0, help="Standard uncertainty of the phase.")
@click.option("--again", is_flag=True, help="One more run with what is on, though another step is next.")
@foreign_options
def add(file: str, recording: str | None, again: bool, **said: Any) -> None:
    """Add the run that was made with what is on now: a recording, or a typed reading."""
    from balancer.procedure.job_file import read_job
    from balancer.procedure.next_step import next_step, purpose_now

    now = read_job(file)
    typed = {key: said.pop(key) for key in ("amplitude", "phase_deg", "lead", "sd_amplitude", "sd_phase_deg")}
    source, revolutions = said.pop("source"), said.pop("revolutions")
    if sum(given is not None for given in (recording, source, typed["amplitude"])) != 1:
        raise click.UsageError(
            "give a recording, or --source, or a typed reading with --amplitude: one of them"
        )
    if next_step(now).action != "spin" and not again:
        raise InputError(
            "the next step is not a run",
            todo=f"look at balancer job next {file}; --again adds a run with what is on now",
            file=file,
        )
    purpose = purpose_now(now)
    if source is not None:
        recording = _record_now(now, file, source, revolutions)
    grown = _typed(now, purpose, typed) if recording is None else _recorded(now, purpose, recording, said)
    _keep(grown, file)


def _record_now(now: Job, file: str, source: str, revolutions: int) -> str:
    """Record the run beside the job's file; a simulated bench gets the masses that are on."""
    import json
    from pathlib import Path

    from balancer.cli.recording import record_to
    from balancer.contract.job import mass_json
    from balancer.live.recorder import Plan
    from balancer.live.sources import SourceOptions
    from balancer.wording.job import SPINNING_CAUTION

    click.echo(SPINNING_CAUTION, err=True)
    path = Path(file)
    number = len(now.runs) + 1
    while (out := path.with_name(f"{path.stem}-run-{number}.stream")).exists():
        number += 1
    simulated = source.partition(":")[0] == "simulated"
    masses = {"masses": [mass_json(mass) for mass in now.masses]}
    end = record_to(
        str(out),
        source,
        Plan(None, revolutions, 0.02, 3.0),
        SourceOptions(None, 1.0),
        first=json.dumps(masses).encode() if simulated else b"",
    )
    if end.error:
        raise OperationError(end.error)
    return str(out)


def _recorded(now: Job, purpose: str, recording: str, said: dict[str, Any]) -> Job:
    from balancer.procedure.job_runs import with_recording
    from balancer.wording import measurement_lines

    progress(f"measuring {recording}")
    grown, measured = with_recording(now, purpose, read_foreign(recording, said), name=recording)
    print_lines(measurement_lines(measured))
    return grown


def _typed(now: Job, purpose: str, typed: dict[str, Any]) -> Job:
    from balancer.procedure.job_runs import run_of_reading
    from balancer.procedure.typed import typed_reading

    assumed = typed["sd_amplitude"] is None or (
        typed["phase_deg"] is not None and typed["sd_phase_deg"] is None
    )
    amplitude = typed.pop("amplitude")
    return now.with_run(run_of_reading(now, purpose, typed_reading(amplitude, **typed), assumed=assumed))


@job.command()
@_FILE
@click.argument("coefficients", type=click.Path())
def take(file: str, coefficients: str) -> None:
    """Take a stored influence coefficient that fits this job: it saves the trial run, or sizes it."""
    from datetime import date

    from balancer.procedure.job_coefficients import read_coefficients, take_coefficient
    from balancer.procedure.job_file import read_job
    from balancer.wording.job import taken_lines

    taken = take_coefficient(read_job(file), read_coefficients(coefficients), date.today())
    print_lines(taken_lines(taken))
    _keep(taken.job, file)


@job.command()
@_FILE
@click.argument("coefficients", type=click.Path())
def keep(file: str, coefficients: str) -> None:
    """Keep the influence coefficient that this job found in a file, for later jobs on this stand."""
    from datetime import date
    from pathlib import Path

    from balancer.procedure.job_coefficients import found_coefficient, read_coefficients, write_coefficients
    from balancer.procedure.job_file import read_job
    from balancer.wording.coefficients import coefficient_lines

    found = found_coefficient(read_job(file), date.today())
    before = read_coefficients(coefficients) if Path(coefficients).exists() else ()
    write_coefficients((*before, found), coefficients)
    print_lines([f"{coefficients}: {len(before) + 1} kept.", *coefficient_lines(found)])


@job.command("set-aside")
@_FILE
@click.argument("numbers", nargs=-1, required=True, type=click.IntRange(min=1), metavar="NUMBER...")
@click.option("--reason", required=True, help="Why they do not count.")
def set_aside(file: str, numbers: tuple[int, ...], reason: str) -> None:
    """Let runs not count; they are kept, and can be taken back."""
    from balancer.procedure.job_file import read_job

    now = read_job(file)
    for number in numbers:
        now = _placed(now.set_aside, file)(number, reason)
    _keep(now, file)


@job.command("take-back")
@_FILE
@click.argument("number", type=click.IntRange(min=1))
def take_back(file: str, number: int) -> None:
    """Let a run count again that was set aside."""
    from balancer.procedure.job_file import read_job

    _keep(_placed(read_job(file).taken_back, file)(number), file)


def _placed(change: Any, file: str) -> Any:
    """Let a refusal name the job's file."""

    def placed(*args: Any) -> Job:
        try:
            changed: Job = change(*args)
        except InputError as error:
            raise error.at(file) from None
        return changed

    return placed


def _keep(now: Job, file: str) -> None:
    from balancer.procedure.job_file import write_job

    write_job(now, file)
    _show_next(now, file)


def _show_next(now: Job, file: str, angles: Any = "against") -> None:
    from balancer.procedure.next_step import next_step
    from balancer.wording.job import step_lines

    step = next_step(now)
    title, *lines = step_lines(step, now, angles)
    print_lines(["", f"Next: {title}", *lines])
    hint = _hint(step, file)
    if hint:
        print_lines([f"  Then: {hint}"])


def _hint(step: Step, file: str) -> str:
    """Give the command that tells the program that the step was done."""
    numbers = " ".join(str(number) for number in step.runs)
    return {
        "acknowledge": f"balancer job acknowledge {file}",
        "balance-bell": f"balancer job bell {file}",
        "check-sensor": f"balancer job check {file} RECORDING (or --skip)",
        "fit": f"balancer job fit {file}",
        "spin": f"balancer job add {file} RECORDING",
        "set-aside": f"balancer job set-aside {file} {numbers} --reason WORDS",
    }.get(step.action, "")

"""Commands that record: from a board, or on the simulated bench."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from balancer.cli.base import IN_THE_WAY, commands, json_option, print_json, print_lines, progress
from balancer.errors import BalancerError, OperationError

if TYPE_CHECKING:
    from balancer.live.recorder import Plan
    from balancer.live.source import Source
    from balancer.live.sources import SourceOptions
    from balancer.live.status import Status


@commands.command()
@click.argument("out", type=click.Path(), metavar="FILE.stream.csv")
@click.option("--part", type=click.Choice(["propeller", "bell"]), default="propeller", show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Chooses the part.")
@click.option(
    "--run", type=click.IntRange(min=0), default=0, show_default=True, help="Chooses noise and wander."
)
@click.option("--rpm", type=click.FloatRange(600, 30000), default=5200.0, show_default=True)
@click.option("--seconds", type=click.FloatRange(0.1, 600), default=8.0, show_default=True)
@click.option(
    "--mass",
    "masses",
    type=(float, float, float),
    multiple=True,
    metavar="G MM DEG",
    help="A mass fitted: grams, radius in mm, angle in degrees against the rotation. Repeat for more.",
)
@click.option("--no-marks", is_flag=True, help="Leave the pick-up out: amplitudes only.")
@click.option("--truth", type=click.Path(), help="Hide what the part really is in this JSON file.")
@click.option("--overwrite", is_flag=True, help="Replace files that are there already.")
def simulate(
    out: str,
    part: str,
    seed: int,
    run: int,
    rpm: float,
    seconds: float,
    masses: tuple[tuple[float, float, float], ...],
    no_marks: bool,
    truth: str | None,
    overwrite: bool,
) -> None:
    """Record a run on the simulated bench; with --truth you can test yourself."""
    from dataclasses import replace
    from math import radians

    from balancer.core.masses import Mass
    from balancer.recording.files import write
    from balancer.simulator.presets import coastal_part
    from balancer.simulator.truth_file import write_truth
    from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

    fitted = tuple(Mass(kg_from_g(g), m_from_mm(mm), radians(deg)) for g, mm, deg in masses)
    bench = coastal_part(part, seed)
    if truth is not None and Path(truth).exists() and not overwrite:
        raise OperationError(IN_THE_WAY, todo="choose another name or add --overwrite", file=truth)
    progress(f"simulating {seconds:g} s")
    recording = bench.record(
        speed=rad_s_from_rpm(rpm), duration=seconds, masses=fitted, seed=seed * 1000 + run
    )
    if no_marks:
        recording = replace(recording, marks=None)
    write(recording, out, overwrite=overwrite)
    if truth is not None:
        write_truth(bench.truth(speed=rad_s_from_rpm(rpm), masses=fitted), Path(truth))
    click.echo(f"{out}: {recording.duration:.1f} s at {rpm:.0f} rpm written.")


@commands.command("ports")
@json_option
def list_ports(as_json: bool) -> None:
    """List the serial ports, with a hint which one the board is."""
    from balancer.contract import ports_json
    from balancer.live.ports import ports
    from balancer.wording import port_lines

    found = ports()
    if as_json:
        print_json(ports_json(found))
        return
    print_lines(port_lines(found))


@commands.command()
@click.option(
    "--source",
    required=True,
    metavar="NAME",
    help="serial:PORT, board:SERIALNUMBER, socket://HOST:PORT, file:PATH, or on the simulated bench "
    "simulated, simulated:propeller:N or simulated:bell:N (part N, 0 to 9999).",
)
@click.option("--out", required=True, type=click.Path(), help="The file to make; never overwritten.")
@click.option("--seconds", type=click.FloatRange(min=0, min_open=True), help="Record so long.")
@click.option("--revolutions", type=click.IntRange(min=1), help="Record so many revolutions.")
@click.option(
    "--steady", is_flag=True, help="Wait for a steady speed first; then 400 revolutions by default."
)
@click.option(
    "--band",
    type=click.FloatRange(min=0, min_open=True, max=50),
    default=2.0,
    show_default=True,
    help="Steady: fastest and slowest differ by no more than so many percent,",
)
@click.option(
    "--hold",
    type=click.FloatRange(0.5, 60),
    default=3.0,
    show_default=True,
    help="for so many seconds.",
)
@click.option(
    "--baud", type=click.IntRange(min=300), help="Speed of the port; found by listening if left out."
)
@click.option(
    "--replay-speed",
    type=click.FloatRange(min=0, min_open=True),
    default=1.0,
    show_default=True,
    help="How many times faster a file is replayed; inf for at once.",
)
@click.option("--status", type=click.Path(), help="Keep a small JSON file up to date, for other programs.")
@click.option(
    "--until-stdin-closes",
    is_flag=True,
    help="End when standard input does; lines on it go to a simulated source, and are answered.",
)
@json_option
def record(
    source: str,
    out: str,
    seconds: float | None,
    revolutions: int | None,
    steady: bool,
    band: float,
    hold: float,
    baud: int | None,
    replay_speed: float,
    status: str | None,
    until_stdin_closes: bool,
    as_json: bool,
) -> None:
    """Record a stream as it comes; Ctrl-C ends it, and what came is kept.

    The speed of a board and the form of its stream are found by listening. With --steady your hands can stay
    on the throttle: recording begins by itself once the speed is steady.
    """
    from balancer.contract import status_json
    from balancer.live.recorder import Plan
    from balancer.live.sources import SourceOptions
    from balancer.wording import CAUTIONS, recording_lines

    for caution in ("Before any propeller turns:", *(f"  - {line}" for line in CAUTIONS)):
        click.echo(caution, err=True)
    if steady and revolutions is None and seconds is None:
        revolutions = 400
    plan = Plan(seconds, revolutions, band / 100 if steady else None, hold)
    end = record_to(
        out, source, plan, SourceOptions(baud, replay_speed), status=status, until_stdin=until_stdin_closes
    )
    if as_json:
        print_json(status_json(end))
    else:
        print_lines(recording_lines(end))
    if end.error:
        raise OperationError(end.error)


def record_to(
    out: str,
    source: str,
    plan: Plan,
    options: SourceOptions,
    *,
    status: str | None = None,
    until_stdin: bool = False,
    first: bytes = b"",
) -> Status:
    """Record a source into a new file.

    Parameters
    ----------
    out : str
        The file; never overwritten.
    source : str
        Name of the source.
    plan : Plan
        When to begin and to end.
    options : SourceOptions
        For opening the source.
    status : str, optional
        A small JSON file to keep up to date.
    until_stdin : bool
        End when standard input does.
    first : bytes
        A line for the source to begin with, such as the masses on a simulated bench.

    Returns
    -------
    Status
        How it ended.

    Raises
    ------
    OperationError
        If the file is there already, or the source cannot be opened.
    """
    from balancer.live.ending import run_until_told
    from balancer.live.recorder import Recorder
    from balancer.live.source import AnsweringSource
    from balancer.live.sources import open_source

    if Path(out).exists():
        raise OperationError("there is a file of this name already", todo="choose another name", file=out)
    progress(f"opening {source}")
    with open_source(source, options, {"simulated": _simulated}) as opened:
        if first:
            opened.command(first)
        answering = AnsweringSource(opened, _answer)

        def command(line: bytes) -> None:
            try:
                answering.command(line)
            except BalancerError as error:
                click.echo(str(error), err=True)

        recorder = Recorder(answering, out, plan, status=status, progress=_show_recording)
        stdin = sys.stdin.fileno() if until_stdin else None
        end = run_until_told(recorder, stdin, command)
    if sys.stderr.isatty():
        click.echo(err=True)
    return end


def _answer(commands: int, before: int) -> None:
    """Tell the program that sends lines from which byte of the stream on they can show."""
    click.echo(f"{commands} taken after byte {before}", err=True)


def _simulated(part: str, options: SourceOptions) -> Source:
    """Put a part on the simulated bench: ``bell:N``, ``propeller:N``, N for a propeller, or the first one."""
    from balancer.simulator.live_source import SimulatedSource
    from balancer.simulator.presets import COASTAL_SPEED, coastal_part, part_named

    kind, number = part_named(part)
    bench = coastal_part(kind, number)
    return SimulatedSource(bench, speed=COASTAL_SPEED, seed=number, pace=options.replay_speed)


def _show_recording(status: Status) -> None:
    """Show a person how the recording stands, on one line that is written over again."""
    from balancer.wording import recording_text

    if sys.stderr.isatty():
        click.echo(f"\r{recording_text(status):<100.100}", nl=False, err=True)

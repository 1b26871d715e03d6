"""The command line: each command asks, calls and shows; imports that take long happen inside the commands."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from balancer import __version__
from balancer.cli_files import foreign_options, read_foreign
from balancer.errors import BalancerError, InputError, OperationError

if TYPE_CHECKING:
    from balancer.core.tape import Tape
    from balancer.live.source import Source
    from balancer.live.sources import SourceOptions
    from balancer.live.status import Status
    from balancer.procedure.solve import Solution

_IN_THE_WAY = "there is a file of this name already"
TAPES = ("packing", "polyimide", "aluminium", "masking", "vinyl")


def main() -> None:
    """Run the command line; every error becomes one sentence on standard error."""
    try:
        status = commands.main(prog_name="balancer", standalone_mode=False)
        sys.exit(status if isinstance(status, int) else 0)
    except BalancerError as error:
        _fail(str(error), error.exit_status)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(2)
    except click.ClickException as error:
        context = getattr(error, "ctx", None)
        command = context.command_path if context else "balancer"
        _fail(f"{error.format_message().rstrip('.')}; see {command} --help.", 2)
    except (click.Abort, KeyboardInterrupt):
        _fail("Stopped.", 130)
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has gone; Python would complain about it at exit
        sys.exit(1)
    except Exception as error:
        # a mistake of ours: whoever stands at a bench can do nothing with a traceback
        what = " ".join(f"{type(error).__name__}: {error}".split())
        _fail(f"The program made a mistake ({what}); please report it with the command that you gave.", 1)


def _fail(sentence: str, status: int) -> None:
    click.echo(sentence, err=True)
    sys.exit(status)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="balancer")
def commands() -> None:
    """Balance motor bells and propellers: from recordings to where the tape goes.

    Start with `balancer demo`: a whole job on a simulated bench.
    """


_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
_angles = click.option(
    "--angles",
    type=click.Choice(["against", "with"]),
    default="against",
    show_default=True,
    help="Show angles counted against or with the rotation (not in JSON: always against).",
)


_above_0 = click.FloatRange(min=0, min_open=True)
_rpm = click.option(
    "--rpm", type=click.FloatRange(min=1), help="Expected speed, for recordings without marks."
)


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@_rpm
@foreign_options
@_angles
@_json
def measure(files: tuple[str, ...], rpm: float | None, angles: Any, as_json: bool, **said: Any) -> None:
    """Measure speed and 1x vector of recordings: streams, CSV tables, WAV files."""
    from balancer.contract import measurements_json
    from balancer.procedure.measure import measure as measure_recording
    from balancer.units import rad_s_from_rpm
    from balancer.wording import measurement_lines, understood_lines

    near = None if rpm is None else rad_s_from_rpm(rpm)
    measured = []
    for name in files:
        _progress(f"measuring {name}")
        recording = read_foreign(name, said)
        if not as_json and recording.understood is not None:
            _print(understood_lines(recording))
        measured.append(measure_recording(recording, near=near))
        if not as_json:
            _print(measurement_lines(measured[-1], angles))
    if as_json:
        _print_json(measurements_json(measured))


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--still", is_flag=True, help="The sensor alone at rest, nothing running.")
@click.option("--want", type=_above_0, metavar="PERCENT", help="Uncertainty of the 1x amplitude asked for.")
@_rpm
@foreign_options
@_json
def check(
    files: tuple[str, ...], still: bool, want: float | None, rpm: float | None, as_json: bool, **said: Any
) -> None:
    """Tell whether recordings can be trusted: what they were taken for, and all that is odd about them."""
    from balancer.contract import checks_json
    from balancer.procedure.check import check_running, check_still
    from balancer.units import rad_s_from_rpm
    from balancer.wording import checked_lines, understood_lines

    near = None if rpm is None else rad_s_from_rpm(rpm)
    pairs = []
    for name in files:
        _progress(f"checking {name}")
        recording = read_foreign(name, said)
        if not as_json:
            _print(understood_lines(recording))
        wanted = None if want is None else want / 100
        checked = check_still(recording) if still else check_running(recording, near=near, want=wanted)
        pairs.append((recording, checked))
        if not as_json:
            _print(checked_lines(checked))
    if as_json:
        _print_json(checks_json(pairs))


@commands.command()
@click.argument("runs", metavar="RUNS.toml")
@click.option("--tape", type=click.Choice(TAPES), help="Also give the correction as tape of this kind.")
@click.option(
    "--tape-g-m2", type=click.FloatRange(min=0, min_open=True), help="Weighed mass per area of the tape."
)
@click.option("--tape-width-mm", type=click.FloatRange(min=0, min_open=True), default=10.0, show_default=True)
@click.option("--picture", type=click.Path(), help="Write the polar picture as an SVG file.")
@_angles
@_json
def solve(
    runs: str,
    tape: str | None,
    tape_g_m2: float | None,
    tape_width_mm: float,
    picture: str | None,
    angles: Any,
    as_json: bool,
) -> None:
    """Find the correction from a runs file (TOML): recordings or typed readings, with or without phase."""
    from balancer.contract import solution_json
    from balancer.procedure.runs_file import read_runs_file
    from balancer.procedure.solve import solve_file
    from balancer.wording import solution_lines

    roll = _tape(tape, tape_g_m2, tape_width_mm)
    solution = solve_file(read_runs_file(runs), progress=lambda name: _progress(f"measuring {name}"))
    if picture is not None:
        from balancer.figures import standalone
        from balancer.pictures import runs_picture

        _write(Path(picture), standalone(runs_picture(solution, unit="", direction=angles)))
    if as_json:
        _print_json(solution_json(solution))
        return
    _print(solution_lines(solution, angles))
    if roll is not None:
        _print(_tape_lines(solution, roll))


def _tape(kind: str | None, g_m2: float | None, width_mm: float) -> Tape | None:
    from balancer.core.tape import Tape, usual_tape
    from balancer.units import kg_m2_from_g_m2, m_from_mm

    if g_m2 is not None:
        return Tape(kind or "weighed", kg_m2_from_g_m2(g_m2), m_from_mm(width_mm), weighed=True)
    return None if kind is None else usual_tape(kind, m_from_mm(width_mm))


def _tape_lines(solution: Solution, roll: Tape) -> list[str]:
    from balancer.core.tape import cut_strip
    from balancer.wording import tape_length_text, tape_text

    strip = cut_strip(roll, solution.answer.correction.amplitude / solution.radius)
    return [tape_length_text(strip), f"The tape is {tape_text(roll)}."]


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
    from balancer.simulator.presets import coastal_bell, coastal_propeller
    from balancer.simulator.truth_file import write_truth
    from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

    fitted = tuple(Mass(kg_from_g(g), m_from_mm(mm), radians(deg)) for g, mm, deg in masses)
    bench = coastal_propeller(seed) if part == "propeller" else coastal_bell(seed)
    if truth is not None and Path(truth).exists() and not overwrite:
        raise OperationError(_IN_THE_WAY, todo="choose another name or add --overwrite", file=truth)
    _progress(f"simulating {seconds:g} s")
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
@_json
def list_ports(as_json: bool) -> None:
    """List the serial ports, with a hint which one the board is."""
    from balancer.contract import ports_json
    from balancer.live.ports import ports
    from balancer.wording import port_lines

    found = ports()
    if as_json:
        _print_json(ports_json(found))
        return
    _print(port_lines(found))


@commands.command()
@click.option(
    "--source",
    required=True,
    metavar="NAME",
    help="serial:PORT, board:SERIALNUMBER, socket://HOST:PORT, file:PATH, or simulated[:SEED].",
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
    help="End when standard input does; lines on it go to a simulated source.",
)
@_json
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
    from balancer.live.ending import run_until_told
    from balancer.live.recorder import Plan, Recorder
    from balancer.live.sources import SourceOptions, open_source
    from balancer.wording import CAUTIONS, recording_lines

    for caution in ("Before any propeller turns:", *(f"  - {line}" for line in CAUTIONS)):
        click.echo(caution, err=True)
    if steady and revolutions is None and seconds is None:
        revolutions = 400
    plan = Plan(seconds, revolutions, band / 100 if steady else None, hold)
    if Path(out).exists():
        raise OperationError("there is a file of this name already", todo="choose another name", file=out)
    _progress(f"opening {source}")
    with open_source(source, SourceOptions(baud, replay_speed), {"simulated": _simulated}) as opened:

        def command(line: bytes) -> None:
            try:
                opened.command(line)
            except BalancerError as error:
                click.echo(str(error), err=True)

        recorder = Recorder(opened, out, plan, status=status, progress=_show_recording)
        stdin = sys.stdin.fileno() if until_stdin_closes else None
        end = run_until_told(recorder, stdin, command)
    if sys.stderr.isatty():
        click.echo(err=True)
    if as_json:
        _print_json(status_json(end))
    else:
        _print(recording_lines(end))
    if end.error:
        raise OperationError(end.error)


def _simulated(seed: str, options: SourceOptions) -> Source:
    from balancer.simulator.live_source import SimulatedSource
    from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller

    if seed and not seed.isdigit():
        raise InputError(f"simulated:{seed} is not understood", todo="write simulated:1 or another number")
    return SimulatedSource(
        coastal_propeller(int(seed or 1)), speed=COASTAL_SPEED, seed=int(seed or 1), pace=options.replay_speed
    )


def _show_recording(status: Status) -> None:
    """Show a person how the recording stands, on one line that is written over again."""
    from balancer.wording import recording_text

    if sys.stderr.isatty():
        click.echo(f"\r{recording_text(status):<100.100}", nl=False, err=True)


@commands.command()
@click.option(
    "--out", type=click.Path(), default="balancing-demo", show_default=True, help="Folder for its files."
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Chooses the propeller."
)
@_json
def demo(out: str, seed: int, as_json: bool) -> None:
    """Balance a propeller on the simulated bench and tell the story."""
    from balancer.contract import solution_json
    from balancer.core.tape import usual_tape
    from balancer.figures import standalone
    from balancer.pictures import story_pictures
    from balancer.procedure.story import play
    from balancer.procedure.strips import Places
    from balancer.recording.files import write
    from balancer.simulator.presets import COASTAL_RADIUS, COASTAL_RIM, COASTAL_SPEED, coastal_propeller
    from balancer.wording import story_lines, story_opening

    folder = _folder(Path(out))
    if not as_json:
        _print(story_opening(COASTAL_SPEED, "One of its propellers, on its motor,"))
    story = play(
        coastal_propeller(seed),
        speed=COASTAL_SPEED,
        duration=8.0,
        seed=seed,
        places=Places.of_propeller(2, COASTAL_RADIUS, COASTAL_RIM, "bell rim"),
        tape=usual_tape("aluminium", 0.010),
        progress=_progress,
    )
    for run in (story.as_is, story.trial, story.check):
        write(run.recording, folder / f"{run.purpose}.stream.csv", overwrite=True)
    for name, svg in story_pictures(story).items():
        _write(folder / name, standalone(svg), overwrite=True)
    if as_json:
        _print_json(solution_json(story.outcome))
        return
    _print(story_lines(story))
    _print(["", f"Recordings and pictures are in {folder}: open {folder / 'propeller.svg'} in a browser."])


@commands.command()
@click.option(
    "--port", type=click.IntRange(1, 65535), help="Port of the page; 8501 or the next free one if left out."
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
def app(port: int | None, no_browser: bool) -> None:
    """Open the display in a browser, on this computer only."""
    from balancer.launch import run

    run(port=port, browser=not no_browser)


def _progress(words: str) -> None:
    """Show what is being done, but only to a person: scripts get nothing but the result."""
    if sys.stderr.isatty():
        click.echo(f"... {words}", err=True)


def _print(lines: Sequence[str]) -> None:
    for line in lines:
        click.echo(line)


def _print_json(data: dict[str, Any]) -> None:
    click.echo(json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2))


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OperationError(
            f"the folder cannot be made ({error.strerror})", todo="choose another", file=path
        ) from None
    return path


def _write(path: Path, text: str, *, overwrite: bool = False) -> None:
    if path.exists() and not overwrite:
        raise OperationError(_IN_THE_WAY, todo="choose another name", file=path)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OperationError(
            f"this cannot be written ({error.strerror})", todo="choose another place", file=path
        ) from None

"""Commands that measure, check and solve what was recorded."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import (
    ABOVE_0,
    TAPES,
    angles_option,
    commands,
    json_option,
    print_json,
    print_lines,
    progress,
    rpm_option,
    tape_of,
    write_file,
)
from balancer.cli.foreign import foreign_options, read_foreign

if TYPE_CHECKING:
    from balancer.core.tape import Tape
    from balancer.procedure.solve import Solution


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@rpm_option
@foreign_options
@angles_option
@json_option
def measure(files: tuple[str, ...], rpm: float | None, angles: Any, as_json: bool, **said: Any) -> None:
    """Measure speed and 1x vector of recordings: streams, CSV tables, WAV files."""
    from balancer.contract import measurements_json
    from balancer.procedure.measure import measure as measure_recording
    from balancer.units import rad_s_from_rpm
    from balancer.wording import measurement_lines, understood_lines

    near = None if rpm is None else rad_s_from_rpm(rpm)
    measured = []
    for name in files:
        progress(f"measuring {name}")
        recording = read_foreign(name, said)
        if not as_json and recording.understood is not None:
            print_lines(understood_lines(recording))
        measured.append(measure_recording(recording, near=near))
        if not as_json:
            print_lines(measurement_lines(measured[-1], angles))
    if as_json:
        print_json(measurements_json(measured))


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--still", is_flag=True, help="The sensor alone at rest, nothing running.")
@click.option("--want", type=ABOVE_0, metavar="PERCENT", help="Uncertainty of the 1x amplitude asked for.")
@rpm_option
@foreign_options
@json_option
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
        progress(f"checking {name}")
        recording = read_foreign(name, said)
        if not as_json:
            print_lines(understood_lines(recording))
        wanted = None if want is None else want / 100
        checked = check_still(recording) if still else check_running(recording, near=near, want=wanted)
        pairs.append((recording, checked))
        if not as_json:
            print_lines(checked_lines(checked))
    if as_json:
        print_json(checks_json(pairs))


@commands.command()
@click.argument("runs", metavar="RUNS.toml")
@click.option("--tape", type=click.Choice(TAPES), help="Also give the correction as tape of this kind.")
@click.option(
    "--tape-g-m2", type=click.FloatRange(min=0, min_open=True), help="Weighed mass per area of the tape."
)
@click.option("--tape-width-mm", type=click.FloatRange(min=0, min_open=True), default=10.0, show_default=True)
@click.option("--picture", type=click.Path(), help="Write the polar picture as an SVG file.")
@angles_option
@json_option
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

    roll = tape_of(tape, tape_g_m2, tape_width_mm)
    solution = solve_file(read_runs_file(runs), progress=lambda name: progress(f"measuring {name}"))
    if picture is not None:
        from balancer.figures import standalone
        from balancer.pictures import runs_picture

        write_file(Path(picture), standalone(runs_picture(solution, unit="", direction=angles)))
    if as_json:
        print_json(solution_json(solution))
        return
    print_lines(solution_lines(solution, angles))
    if roll is not None:
        print_lines(_tape_lines(solution, roll))


def _tape_lines(solution: Solution, roll: Tape) -> list[str]:
    from balancer.core.tape import cut_strip
    from balancer.wording import tape_length_text, tape_text

    strip = cut_strip(roll, solution.answer.correction.amplitude / solution.radius)
    return [tape_length_text(strip), f"The tape is {tape_text(roll)}."]

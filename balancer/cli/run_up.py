"""The command that reads a run-up or a coast-down."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from balancer.cli.base import ABOVE_0, commands, json_option, print_json, print_lines, progress, write_file
from balancer.cli.foreign import foreign_options, read_foreign
from balancer.errors import InputError


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--hover-rpm", type=ABOVE_0, help="Speed at which the craft hovers: balance near it.")
@click.option("--picture", type=click.Path(), help="Write amplitude and phase against speed as an SVG file.")
@foreign_options
@json_option
def runup(
    files: tuple[str, ...], hover_rpm: float | None, picture: str | None, as_json: bool, **said: Any
) -> None:
    """Read run-ups or coast-downs: resonances, damping, a speed to balance at."""
    from balancer.contract.run_up import run_ups_json
    from balancer.procedure.run_up import run_up
    from balancer.units import rad_s_from_rpm
    from balancer.wording.run_up import SWEEP_CAUTIONS, run_up_lines

    if picture is not None and len(files) > 1:
        raise InputError("one picture cannot show several sweeps", todo="give one file with --picture")
    for caution in ("Before a sweep:", *(f"  - {line}" for line in SWEEP_CAUTIONS)):
        click.echo(caution, err=True)
    hover = None if hover_rpm is None else rad_s_from_rpm(hover_rpm)
    shown = []
    for name in files:
        progress(f"reading {name}")
        shown.append(run_up(read_foreign(name, said), hover=hover))
        if not as_json:
            print_lines(run_up_lines(shown[-1]))
    if picture is not None:
        from balancer.figures import standalone
        from balancer.pictures import sweep_picture

        write_file(Path(picture), standalone(sweep_picture(shown[0])))
    if as_json:
        print_json(run_ups_json(shown))

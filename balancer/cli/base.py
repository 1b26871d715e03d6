"""What all commands share: the group, common options, and how results and progress are shown."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from balancer import __version__
from balancer.errors import OperationError

if TYPE_CHECKING:
    from balancer.core.tape import Tape

IN_THE_WAY = "there is a file of this name already"


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="balancer")
def commands() -> None:
    """Balance motor bells and propellers: from recordings to where the tape goes.

    Start with `balancer demo`: a whole job on a simulated bench.
    """


json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")

angles_option = click.option(
    "--angles",
    type=click.Choice(["against", "with"]),
    default="against",
    show_default=True,
    help="Show angles counted against or with the rotation (not in JSON: always against).",
)

ABOVE_0 = click.FloatRange(min=0, min_open=True)

TAPES = ("packing", "polyimide", "aluminium", "masking", "vinyl")

rpm_option = click.option(
    "--rpm", type=click.FloatRange(min=1), help="Expected speed, for recordings without marks."
)


def progress(words: str) -> None:
    """Show what is being done, but only to a person: scripts get nothing but the result."""
    if sys.stderr.isatty():
        click.echo(f"... {words}", err=True)


def print_lines(lines: Sequence[str]) -> None:
    """Print each line on standard output."""
    for line in lines:
        click.echo(line)


def print_json(data: dict[str, Any]) -> None:
    """Print one JSON object and nothing else."""
    click.echo(json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2))


def folder_at(path: Path) -> Path:
    """Make a folder if it is not there, and return it; an `OperationError` if that fails."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OperationError(
            f"the folder cannot be made ({error.strerror})", todo="choose another", file=path
        ) from None
    return path


def write_file(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write a text file; an `OperationError` if one is there already or it cannot be written."""
    if path.exists() and not overwrite:
        raise OperationError(IN_THE_WAY, todo="choose another name", file=path)
    try:
        path.write_text(text, encoding="utf-8", newline="")  # lines end as the caller ends them
    except OSError as error:
        raise OperationError(
            f"this cannot be written ({error.strerror})", todo="choose another place", file=path
        ) from None


def tape_of(kind: str | None, g_m2: float | None, width_mm: float) -> Tape | None:
    """Give the roll that the options name: weighed, of a usual kind, or None."""
    from balancer.core.tape import Tape, usual_tape
    from balancer.units import kg_m2_from_g_m2, m_from_mm

    if g_m2 is not None:
        return Tape(kind or "weighed", kg_m2_from_g_m2(g_m2), m_from_mm(width_mm), weighed=True)
    return None if kind is None else usual_tape(kind, m_from_mm(width_mm))

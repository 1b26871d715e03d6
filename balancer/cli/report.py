"""Reports on the command line: a part's card or a machine's sheet, to read, to print, for scripts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import (
    IN_THE_WAY,
    angles_option,
    commands,
    json_option,
    print_json,
    print_lines,
    write_file,
)
from balancer.cli.home import home_option, open_store, the_machine, the_part
from balancer.errors import InputError, OperationError

if TYPE_CHECKING:
    from balancer.report.card import MachineSheet, PartCard
    from balancer.report.files import Suffix
    from balancer.wording import Direction


@commands.command()
@click.argument("part", required=False)
@click.option("--machine", metavar="NAME", help="A machine with all that is on its arms, instead of a part.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write it as .html (to read and to print), .json or .csv.",
)
@click.option("--overwrite", is_flag=True, help="Replace a file that is there already.")
@home_option
@angles_option
@json_option
def report(
    part: str | None,
    machine: str | None,
    out: Path | None,
    overwrite: bool,
    home: str | None,
    angles: Any,
    as_json: bool,
) -> None:
    """Report on a part, or on a machine: before and after, what is on it, what is due.

    PART is what is written on it. The page that --out FILE.html writes holds all in one file, prints on A4
    and needs no network.
    """
    if (part is None) == (machine is None):
        raise click.UsageError("name a part, or a machine with --machine")
    from balancer.report.files import report_json, report_text

    suffix = _suffix(out, overwrite, as_json)
    found = _gather(part, machine, home)
    if out is not None:
        write_file(out, report_text(found, suffix, angles), overwrite=overwrite)
        print_lines([f"{out} is written."])
    elif as_json:
        print_json(report_json(found))
    else:
        print_lines(_lines(found, angles))


def _suffix(out: Path | None, overwrite: bool, as_json: bool) -> Suffix:
    """Give the ending of the file, and refuse one that cannot be written before anything is gathered."""
    from balancer.report.files import SUFFIXES

    if out is None:
        return ".html"
    if as_json:
        raise click.UsageError("--json prints and --out writes: give one of them")
    found = next((one for one in SUFFIXES if one == out.suffix.lower()), None)
    if found is None:
        raise InputError(
            "a report is .html, .json or .csv", todo="give the file one of these endings", file=out
        )
    if out.exists() and not overwrite:
        raise OperationError(IN_THE_WAY, todo="choose another name or add --overwrite", file=out)
    return found


def _gather(part: str | None, machine: str | None, home: str | None) -> PartCard | MachineSheet:
    from datetime import UTC, datetime

    from balancer.report.gather import machine_sheet, part_card

    now = datetime.now(UTC)
    with open_store(home) as store:
        if part is not None:
            return part_card(store, the_part(store, part).id, now)
        return machine_sheet(store, the_machine(store, machine).id, now)


def _lines(found: PartCard | MachineSheet, angles: Direction) -> list[str]:
    from balancer.report.card import PartCard
    from balancer.wording.report import card_lines, sheet_lines

    return card_lines(found, angles) if isinstance(found, PartCard) else sheet_lines(found)

"""The command that asks whether it is unbalance."""

from __future__ import annotations

from typing import Any

import click

from balancer.cli.base import commands, json_option, print_json, print_lines, progress
from balancer.cli.foreign import foreign_options, read_foreign


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--blades", type=click.IntRange(min=0), help="Of the propeller; 0 for a bare bell.")
@click.option("--magnets", type=click.IntRange(min=2), help="In the bell.")
@click.option("--axial", metavar="CHANNEL", help="The channel along the shaft, such as z, or none.")
@click.option("--before", type=click.Path(), help="A recording of the same part before it was balanced.")
@click.option("--same", is_flag=True, help="The runs have the same masses fitted: compare them.")
@foreign_options
@json_option
def diagnose(
    files: tuple[str, ...],
    blades: int | None,
    magnets: int | None,
    axial: str | None,
    before: str | None,
    same: bool,
    as_json: bool,
    **said: Any,
) -> None:
    """Tell what speaks for unbalance and what against it.

    Best is a recording of 6 s or more at one speed, with the power cut after that and the coast-down in it.
    """
    from balancer.contract import findings_json
    from balancer.procedure.symptoms import compare_recordings, symptoms
    from balancer.wording.symptoms import LOOKING_CAUTION, repeats_lines, symptoms_lines

    along = None if axial is None or axial.lower() == "none" else axial
    earlier = None if before is None else read_foreign(before, said)
    recordings, found = [], []
    for name in files:
        progress(f"looking at {name}")
        recordings.append(read_foreign(name, said))
        found.append(symptoms(recordings[-1], blades=blades, magnets=magnets, axial=along, before=earlier))
    compared = compare_recordings(recordings if same else ())
    if as_json:
        looked = [
            {
                "file": one.source,
                "speaks_for": findings_json(one.speaks_for),
                "speaks_against": findings_json(one.speaks_against),
                "untold": findings_json(one.untold),
            }
            for one in found
        ]
        print_json({"recordings": looked, "compared": findings_json(compared)})
        return
    for one in found:
        print_lines(symptoms_lines(one))
    print_lines([*repeats_lines(compared), LOOKING_CAUTION])

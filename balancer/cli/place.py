"""The command that turns a correction into pieces at places where they may go."""

from __future__ import annotations

import math
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
from balancer.cli.places import part_and_stock_options, places_of, stock_of

if TYPE_CHECKING:
    from balancer.core.pieces import Piece


@commands.command()
@click.argument("runs", required=False, metavar="[RUNS.toml]")
@click.option("--gmm", type=ABOVE_0, help="Unbalance to add, instead of a runs file.")
@click.option("--deg", type=float, help="Its angle from the mark, against the rotation.")
@part_and_stock_options
@click.option("--pieces", type=click.IntRange(1, 4), default=3, show_default=True, help="Most new pieces.")
@click.option(
    "--on",
    type=(float, ABOVE_0, float),
    multiple=True,
    metavar="G MM DEG",
    help="A piece that is on now and may come off. Repeat for more.",
)
@click.option("--rotor-g", type=ABOVE_0, help="Of all that turns, for the grade.")
@click.option("--rpm", type=click.FloatRange(min=1), help="For the grade.")
@angles_option
@json_option
def place(runs: str | None, pieces: int, angles: Any, as_json: bool, **said: Any) -> None:
    """Turn a correction into pieces: where they go, how large, and what that leaves.

    The correction comes from a runs file (what to add to what is fitted in its last run), or from --gmm and
    --deg. Fewest pieces that serve come first, other ways after it.
    """
    from balancer.contract.place import place_json
    from balancer.core import placement
    from balancer.core.grade import permissible_unbalance
    from balancer.core.placement_findings import placement_findings
    from balancer.units import degrees_0_360
    from balancer.wording import CONVENTION, CONVENTION_WITH, finding_line, significant, tape_text
    from balancer.wording.tape import placement_lines

    places, stock = places_of(said), stock_of(said)
    correction, fitted, sd, rotor = _wanted(runs, said)
    allowed = permissible_unbalance(*rotor) if rotor else 0.0
    found = placement.place(correction, places, stock, pieces=pieces, fitted=fitted)
    # a third of what is permissible, so that hands and measurement may take the rest
    best = placement.choose(found, max(sd, allowed / 3))
    others = [one for one in found if one is not best and one.work]
    findings = placement_findings(best, places, stock, enough=allowed)
    if as_json:
        print_json(place_json(correction, best, others, rotor=rotor, findings=findings))
        return
    mass, speed = rotor or (None, None)
    shown = degrees_0_360(math.atan2(correction.imag, correction.real) * (1 if angles == "against" else -1))
    print_lines([f"To add: {significant(abs(correction) * 1e6)} g mm at {shown:.0f} deg."])
    print_lines([CONVENTION if angles == "against" else CONVENTION_WITH])
    print_lines([finding_line(finding) for finding in findings])
    if stock.tape is not None:
        print_lines([f"Lengths are for {tape_text(stock.tape)}."])
    print_lines(placement_lines(best, others, rotor_mass=mass, speed=speed, direction=angles))


def _wanted(
    runs: str | None, said: dict[str, Any]
) -> tuple[complex, list[Piece], float, tuple[float, float] | None]:
    """Give the correction, what is fitted, its uncertainty, and mass and speed of the rotor if known."""
    from balancer.core.masses import Mass
    from balancer.core.pieces import Piece
    from balancer.procedure.runs_file import read_runs_file
    from balancer.procedure.solve import solve_file
    from balancer.units import kg_from_g, kgm_from_gmm, m_from_mm, rad_s_from_rpm

    typed = said["gmm"] is not None and said["deg"] is not None
    if (runs is None) != typed or (said["gmm"] is None) != (said["deg"] is None):
        raise click.UsageError("give a runs file, or --gmm and --deg")
    masses = [Mass(kg_from_g(g), m_from_mm(mm), math.radians(deg)) for g, mm, deg in said["on"]]
    mass = None if said["rotor_g"] is None else kg_from_g(said["rotor_g"])
    speed = None if said["rpm"] is None else rad_s_from_rpm(said["rpm"])
    sd = 0.0
    if runs is None:
        size, angle = kgm_from_gmm(said["gmm"]), math.radians(said["deg"])
        correction = complex(size * math.cos(angle), size * math.sin(angle))
    else:
        job = read_runs_file(runs)
        solution = solve_file(job, progress=lambda name: progress(f"measuring {name}"))
        correction, sd = solution.answer.next_correction.value, solution.answer.next_correction.sd_amplitude
        masses = masses or list(solution.runs[-1].masses)
        mass, speed = mass or job.rotor_mass, speed or solution.speed
    fitted = [Piece.of_mass(one) for one in masses]
    return correction, fitted, sd, None if mass is None or speed is None else (mass, speed)

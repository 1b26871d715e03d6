"""The command that says which propeller belongs on which motor, and turned how."""

from __future__ import annotations

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
    tape_of,
)
from balancer.cli.home import home_option, open_store, the_machine

if TYPE_CHECKING:
    from balancer.core.matching import Taping


class _Positions(click.ParamType):  # type: ignore[type-arg] # generic from click 8.2 on
    """How many positions a hub has, or free."""

    name = "positions"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Give the number, 0 for free."""
        if value in {"free", 0}:
            return 0
        if str(value).isdigit() and 1 <= int(value) <= 72:
            return int(value)
        self.fail(f"{value!r} is neither a number from 1 to 72 nor free", param, ctx)


@commands.command()
@click.argument("machine", required=False)
@click.option("--goal", type=click.Choice(["worst", "sum"]), default="worst", show_default=True)
@click.option(
    "--measure",
    type=click.Choice(["force", "unbalance", "grade"]),
    default="force",
    show_default=True,
    help="In what the arms are compared.",
)
@click.option(
    "--positions",
    type=_Positions(),
    default="2",
    show_default=True,
    metavar="N|free",
    help="In how many ways a propeller goes on its hub: 2 for two screws or flats, free for a clamp.",
)
@click.option(
    "--first-deg", type=float, default=0.0, help="Its mark in the first of them, from the bell's mark."
)
@click.option("--rpm", type=click.FloatRange(min=1), help="In hover; that of the jobs if left out.")
@click.option("--grade", type=ABOVE_0, help="Balance quality grade that is good enough for every arm.")
@click.option("--mounting-gmm", type=click.FloatRange(min=0), default=0.0, help="How much a mounting varies.")
@click.option("--tape", type=click.Choice(TAPES), help="Compare what is left after tape of this kind.")
@click.option("--tape-g-m2", type=ABOVE_0, help="Weighed mass per area of the tape.")
@click.option("--tape-width-mm", type=ABOVE_0, default=10.0, show_default=True)
@click.option("--pieces", type=click.IntRange(1, 4), default=2, show_default=True, help="Most on a pair.")
@angles_option
@home_option
@json_option
def match(
    machine: str | None,
    goal: Any,
    measure: Any,
    positions: int,
    first_deg: float,
    rpm: float | None,
    grade: float | None,
    mounting_gmm: float,
    angles: Any,
    home: str | None,
    as_json: bool,
    **said: Any,
) -> None:
    """Say which propeller belongs on which motor of MACHINE, and turned how, so that it shakes least.

    From the parts' own unbalance as their last jobs left it: each bell measured alone, each propeller on a
    bell that its job names (`balancer job save --on BELL`), both marks in line. How each is turned on its hub
    now is what `balancer parts move --turned-deg` or the page of matching noted last; where nothing is
    noted, the marks are taken to be in line. Spares are tried too. What the history cannot tell is named and
    left out.
    """
    from math import radians

    from balancer.contract.history import match_json
    from balancer.core import matching
    from balancer.history.own import candidates
    from balancer.units import kgm_from_gmm, rad_s_from_rpm
    from balancer.wording.history import source_lines
    from balancer.wording.matching import match_lines

    taping = _taping(said)
    speed = None if rpm is None else rad_s_from_rpm(rpm)
    with open_store(home) as store:
        among = candidates(
            store, the_machine(store, machine), matching.Hub(positions, radians(first_deg)), speed
        )
    progress(f"{len(among.motors)} motors, {len(among.propellers)} propellers")
    found = matching.match(
        among.motors,
        among.propellers,
        among.fitted,
        goal=goal,
        measure=measure,
        taping=taping,
        mounting=kgm_from_gmm(mounting_gmm),
    )
    chosen = matching.choose(found, None if grade is None else grade * 1e-3)
    if as_json:
        print_json(match_json(found, chosen, among))
        return
    print_lines([*source_lines(among), *match_lines(found, chosen, angles)])


def _taping(said: dict[str, Any]) -> Taping | None:
    from balancer.core.matching import Taping
    from balancer.core.pieces import Stock

    roll = tape_of(said["tape"], said["tape_g_m2"], said["tape_width_mm"])
    return None if roll is None else Taping(Stock(roll), said["pieces"])

"""Options of the command line that say where masses may go on a part, and what there is to put on."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import ABOVE_0, TAPES, tape_of

if TYPE_CHECKING:
    from balancer.core.pieces import Stock
    from balancer.core.places import Places

_PART = (
    click.option("--blades", type=click.IntRange(2, 8), help="Of a propeller; leave out for a bare bell."),
    click.option("--blade-mm", type=(ABOVE_0, ABOVE_0), metavar="INNER OUTER", help="Where tape may lie."),
    click.option("--usual-mm", type=ABOVE_0, help="Radius where a strip on a blade is liked best."),
    click.option("--one-face", is_flag=True, help="Tape on one face of a blade only."),
    click.option(
        "--sand-from-mm", type=ABOVE_0, help="The back of a blade may be sanded beyond this radius."
    ),
    click.option("--ring-mm", type=ABOVE_0, help="Radius of hub or bell rim, if masses may go there."),
    click.option(
        "--slots", type=(click.IntRange(1), ABOVE_0), metavar="N DEG", help="Of the ring: how many, how wide."
    ),
    click.option(
        "--screws",
        type=(click.IntRange(1), ABOVE_0),
        metavar="N MM",
        help="Screw heads: how many, at what radius.",
    ),
    click.option(
        "--first-deg",
        type=float,
        default=0.0,
        show_default=True,
        help="Angle of first blade, slot and screw.",
    ),
)
_STOCK = (
    click.option("--tape", type=click.Choice(TAPES), help="Kind of tape."),
    click.option("--tape-g-m2", type=ABOVE_0, help="Weighed mass per area of the tape."),
    click.option("--tape-width-mm", type=ABOVE_0, default=10.0, show_default=True),
    click.option("--longest-mm", type=ABOVE_0, default=30.0, show_default=True, help="Longest strip."),
    click.option(
        "--layers",
        type=click.IntRange(1, 20),
        default=3,
        show_default=True,
        help="Most on a face of a blade.",
    ),
    click.option(
        "--ring-layers", type=click.IntRange(1, 20), default=6, show_default=True, help="Most on a ring."
    ),
    click.option("--drop-mg", type=ABOVE_0, help="Drops of glue in steps of so much."),
    click.option(
        "--washer-mg", type=ABOVE_0, multiple=True, help="A washer for a screw head. Repeat for more."
    ),
    click.option("--sand-mg", type=ABOVE_0, help="Material taken off in steps of so much."),
)


def part_options(command: Any) -> Any:
    """Give a command the options of the part alone; it receives them by their names."""
    for option in reversed(_PART):
        command = option(command)
    return command


def part_and_stock_options(command: Any) -> Any:
    """Give a command the options; it receives them by their names."""
    for option in reversed((*_PART, *_STOCK)):
        command = option(command)
    return command


def places_of(said: dict[str, Any]) -> Places:
    """Give the places that the options name.

    Parameters
    ----------
    said : dict
        Values of all options by their names.

    Returns
    -------
    Places
        Of a propeller where there are blades, else of a bell.

    Raises
    ------
    InputError
        If there is no place, or a size is impossible.
    click.UsageError
        If an option lacks another.
    """
    from balancer.core.places import Places, Ring, Slot, Spots, evenly
    from balancer.units import m_from_mm

    first = math.radians(said["first_deg"])

    def metres(option: str) -> float | None:
        return None if said[option] is None else m_from_mm(said[option])

    radius = metres("ring_mm")
    slots: tuple[Slot, ...] = ()
    if said["slots"] is not None:
        count, wide = said["slots"]
        slots = tuple(Slot(angle, math.radians(wide)) for angle in evenly(count, first))
    if slots and radius is None:
        raise click.UsageError("--slots needs --ring-mm: the radius of the ring that has them")
    name = "hub or bell rim" if said["blades"] else "rim"
    rings = () if radius is None else (Ring(name, radius, slots),)
    spots: tuple[Spots, ...] = ()
    if said["screws"] is not None:
        count, mm = said["screws"]
        spots = (Spots("screw", m_from_mm(mm), evenly(count, first)),)
    if said["blades"] is None:
        return Places((), rings, spots)
    if said["blade_mm"] is None:
        raise click.UsageError("a propeller needs --blade-mm INNER OUTER: where tape may lie on a blade")
    inner, outer = (m_from_mm(one) for one in said["blade_mm"])
    propeller = Places.of_propeller(
        said["blades"],
        inner,
        outer,
        usual=metres("usual_mm"),
        first=first,
        faces=1 if said["one_face"] else 2,
        sanded_from=metres("sand_from_mm"),
    )
    return Places(propeller.blades, rings, spots)


def stock_of(said: dict[str, Any]) -> Stock:
    """Give what there is to put on; an `InputError` if that is nothing at all."""
    from balancer.core.pieces import Stock
    from balancer.units import kg_from_g, m_from_mm

    def kilograms(milligrams: float | None) -> float:
        return kg_from_g((milligrams or 0.0) * 1e-3)

    return Stock(
        tape_of(said["tape"], said["tape_g_m2"], said["tape_width_mm"]),
        longest=m_from_mm(said["longest_mm"]),
        layers=said["layers"],
        ring_layers=said["ring_layers"],
        drop_step=kilograms(said["drop_mg"]),
        washers=tuple(kilograms(one) for one in said["washer_mg"]),
        removal_step=kilograms(said["sand_mg"]),
    )

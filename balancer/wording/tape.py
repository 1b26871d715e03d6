"""Words for pieces of tape."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.core.pieces import cutting_error, worst_cutting_error
from balancer.core.tape import Strip, Tape
from balancer.units import g_from_kg, g_m2_from_kg_m2, gmm_from_kgm, mm_from_m
from balancer.wording.basics import FITTING_CAUTION, Direction, angle_text, significant

if TYPE_CHECKING:  # what is laid need not be loaded for words about it
    from balancer.core.pieces import Piece, Placement


_NAMES = MappingProxyType({"drop": "a drop", "washer": "a washer", "mass": "a mass"})

SANDING_CAUTION = (
    "Sand the back of the blade only, in its outer third, never the spar or the root, and not below what the "
    "maker allows; wear a dust mask, and throw a blade away that shows fibres or cracks."
)


def piece_label(piece: Piece) -> str:
    """Say what a piece is, in short: ``23 mg of tape, 2 layers``."""
    milligrams = f"{significant(g_from_kg(piece.amount) * 1e3)} mg"
    if piece.strip is not None:
        layers = f", {piece.strip.layers} layers" if piece.strip.layers > 1 else ""
        return f"{milligrams} of tape{layers}"
    return milligrams if piece.kind in ("mass", "removed") else f"{piece.kind} of {milligrams}"


def piece_text(piece: Piece, direction: Direction = "against") -> str:
    """Say what a piece is and where it goes (or where material goes)."""
    where = f"{piece.where}: " if piece.where else ""
    milligrams = f"{significant(g_from_kg(piece.amount) * 1e3)} mg"
    at = f"radius {mm_from_m(piece.radius):g} mm, {angle_text(piece.angle, direction)}"
    if piece.kind == "removed":
        back = ", sanded off the back" if piece.along_blade else ""
        return f"{where}take {milligrams} off at {at}{back}"
    if piece.strip is None:
        return f"{where}{_NAMES[piece.kind]} of {milligrams} at {at}"
    along = "along the blade" if piece.along_blade else "along the ring"
    return (
        f"{where}{_layers_text(piece)} of {mm_from_m(piece.strip.length):.0f} mm by "
        f"{mm_from_m(piece.strip.tape.width):g} mm tape {along}, its middle at {at} ({milligrams})"
    )


def _layers_text(piece: Piece) -> str:
    assert piece.strip is not None
    layers = piece.strip.layers
    if layers == 1:
        return "one layer"
    if piece.faces == 2:
        return f"{layers} layers, {layers - layers // 2} on the back and {layers // 2} on the front, each"
    return f"{layers} layers on each other, each"


def left_text(placement: Placement, rotor_mass: float | None = None, speed: float | None = None) -> str:
    """Say what a placement leaves: in g mm, in percent of what it corrects, and as a grade where known."""
    wanted = placement.left + sum(piece.unbalance for piece in placement.pieces)
    left = abs(placement.left)
    text = f"{significant(gmm_from_kgm(left), 2)} g mm left"
    if placement.pieces:
        text += f", {significant(100 * left / abs(wanted), 2)} % of {significant(gmm_from_kgm(abs(wanted)))}"
    if rotor_mass is None or speed is None:
        return text
    return f"{text}: G{significant(placement.grade(rotor_mass, speed) * 1e3, 2)}"


def placement_lines(
    best: Placement,
    others: Sequence[Placement] = (),
    *,
    rotor_mass: float | None = None,
    speed: float | None = None,
    direction: Direction = "against",
) -> list[str]:
    """Say what to put on and take off, what that leaves, what unsteady hands add, and what else would do.

    Parameters
    ----------
    best : Placement
        The one to recommend.
    others : sequence of Placement
        Alternatives, with fewer pieces or with more.
    rotor_mass, speed : float, optional
        In kg and rad/s, for the grade.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        The recommendation first, the cautions last.
    """
    lines = [f"{_count(best)}: {left_text(best, rotor_mass, speed)}.", *_piece_lines(best, direction)]
    if best.pieces:
        lines.append(hand_text(best))
    lines += [
        line
        for other in others
        for line in (
            f"Instead, {_count(other).lower()}: {left_text(other, rotor_mass, speed)}.",
            *_piece_lines(other, direction),
        )
    ]
    if any(piece.kind == "removed" for one in (best, *others) for piece in one.pieces):
        lines.append(SANDING_CAUTION)
    return [*lines, FITTING_CAUTION]


def hand_text(placement: Placement) -> str:
    """Say what usual errors of the hand add to what a placement leaves."""
    usual, worst = cutting_error(placement), worst_cutting_error(placement)
    return (
        f"Hands add about {significant(gmm_from_kgm(usual), 2)} g mm, at worst "
        f"{significant(gmm_from_kgm(worst), 2)}: a strip cut 1 mm wrong, laid 1 mm off along a blade or "
        "5 degrees off on a ring."
    )


def _count(placement: Placement) -> str:
    if not placement.pieces:
        return "Nothing to put on"
    return "One piece" if len(placement.pieces) == 1 else f"{len(placement.pieces)} pieces"


def _piece_lines(placement: Placement, direction: Direction) -> list[str]:
    groups = (
        ("take off", placement.taken_off),
        ("stays on", placement.kept),
        ("put on", placement.pieces),
    )
    many = any(pieces for _, pieces in groups[:2])
    return [
        f"  - {f'{what}: ' if many else ''}{piece_text(piece, direction)}"
        for what, pieces in groups
        for piece in pieces
    ]


def tape_length_text(strip: Strip) -> str:
    """Say the correction as a length of tape, at the radius and angle given for it."""
    layers = (
        "in one layer"
        if strip.layers == 1
        else f"in {strip.layers} layers, each {mm_from_m(strip.length):.0f} mm"
    )
    whole, width = mm_from_m(strip.length * strip.layers), mm_from_m(strip.tape.width)
    return f"As tape: {significant(whole)} mm of {width:g} mm tape {layers}, its middle there."


def tape_text(tape: Tape) -> str:
    """Describe a roll, with a word of warning where its figure comes from a list."""
    density = g_m2_from_kg_m2(tape.areal_density)
    text = f"{tape.name} tape, {mm_from_m(tape.width):g} mm wide, {density:.0f} g/m^2"
    return (
        text if tape.weighed else f"{text}: a figure from a list. Weigh a strip of yours before you trust it"
    )

"""Words for pieces of tape."""

from __future__ import annotations

from typing import TYPE_CHECKING

from balancer.core.tape import Strip, Tape
from balancer.units import g_from_kg, g_m2_from_kg_m2, mm_from_m
from balancer.wording.basics import Direction, angle_text, significant

if TYPE_CHECKING:  # what is laid need not be loaded for words about it
    from balancer.procedure.strips import LaidStrip


def strip_text(item: LaidStrip, direction: Direction = "against") -> str:
    """Say where a strip goes and how long it is."""
    layers = "one layer" if item.strip.layers == 1 else f"{item.strip.layers} layers on each other, each"
    along = "along the blade" if item.along_blade else "along the ring"
    return (
        f"{item.where}: {layers} of {mm_from_m(item.strip.length):.0f} mm by "
        f"{mm_from_m(item.strip.tape.width):g} mm tape {along}, its middle at radius "
        f"{mm_from_m(item.radius):g} mm, {angle_text(item.angle, direction)} "
        f"({significant(g_from_kg(item.strip.mass) * 1e3)} mg)"
    )


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

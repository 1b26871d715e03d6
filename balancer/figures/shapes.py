"""Outlines of rotors and pieces on a dial: plain shapes of our own, in proportion, not those of any maker."""

from __future__ import annotations

import math

from balancer.figures import palette, svg
from balancer.figures.dial import Dial
from balancer.figures.rotor_view import Piece, RotorView

_BODY = svg.tint("currentColor", 0.06) | svg.stroke(palette.GREY, 1.4)
SLOTS = 6
SIGN = 7.0
"""Half the size in px of the sign for a piece of which the size is not known."""

# A blade as (share of the way from hub to tip, share of the radius across it; negative is the leading edge):
# the chord grows to its largest value at about a third of the radius, then narrows to a rounded tip.
_ROOT = (0.0, -0.036)
_LEADING = (
    ((0.10, -0.036), (0.12, -0.100), (0.27, -0.100)),
    ((0.50, -0.100), (0.82, -0.066), (0.95, -0.034)),
    ((0.985, -0.025), (1.00, -0.012), (1.00, 0.004)),
)
_TRAILING = (
    ((1.00, 0.018), (0.985, 0.026), (0.95, 0.028)),
    ((0.78, 0.040), (0.50, 0.072), (0.27, 0.068)),
    ((0.16, 0.066), (0.10, 0.036), (0.00, 0.036)),
)
_RIDGE = ((0.10, 0.004), (0.26, 0.022), (0.58, 0.012), (0.92, -0.004))


def body(dial: Dial, view: RotorView) -> str:
    """Draw the rotor with its mark.

    Parameters
    ----------
    dial : Dial
        px per mm, and the hand of the view.
    view : RotorView
        The rotor.

    Returns
    -------
    str
        SVG elements.
    """
    return _propeller(dial, view) if view.kind == "propeller" else _bell(dial, view)


def piece(dial: Dial, view: RotorView, one: Piece) -> str:
    """Draw a piece: with a dashed edge for a trial mass, filled to be added, crossed out to be removed."""
    style = one.style
    # the edge is in the page's text colour, since not every colour clears 3:1 on the tinted blade as well
    fill = svg.tint(style.colour, {"add": 1.0, "on": 0.15}.get(one.role, 0.4))
    look = fill | svg.stroke("currentColor", 1.2, style.dash)
    drawn = svg.tag(
        "path",
        d=_outline(dial, view, one),
        fill_rule="evenodd",
        data_part="piece",
        data_role=one.role,
        **look,
    )
    if one.form == "spot":
        return drawn + _hatching(dial, one)
    return drawn + (_crossing(dial, view, one) if one.role == "remove" else "")


def _outline(dial: Dial, view: RotorView, one: Piece) -> str:
    if one.form == "strip":
        return _sector(dial, one) if view.goes_round(one) else _rectangle(dial, one)
    centre = dial.at(one.angle_deg, one.radius_mm)
    if one.form == "mass":
        return "M" + "L".join(svg.pair(centre + 1.2 * SIGN * way) for way in (1, 1j, -1, -1j)) + "Z"
    round_ = _round(centre, SIGN)
    return round_ + _round(centre, 0.45 * SIGN) if one.form == "washer" else round_


def _round(centre: complex, radius: float) -> str:
    size = svg.px(radius)
    ends = svg.pair(centre + radius), svg.pair(centre - radius)
    return f"M{ends[0]}A{size} {size} 0 1 1 {ends[1]}A{size} {size} 0 1 1 {ends[0]}Z"


def _hatching(dial: Dial, one: Piece) -> str:
    """Draw strokes across a spot where material goes, as a drawing office hatches what is cut."""
    centre, slant = dial.at(one.angle_deg, one.radius_mm), (1 - 1j) / math.sqrt(2)
    rows = ((across, math.sqrt(1 - across**2)) for across in (-0.5, 0.0, 0.5))
    middles = ((centre + SIGN * across * slant * 1j, SIGN * half * slant) for across, half in rows)
    return "".join(svg.line(m - half, m + half, **svg.stroke("currentColor", 1.2)) for m, half in middles)


def corner(dial: Dial, view: RotorView, one: Piece, along: int, across: int) -> complex:
    """Give a corner of a piece, or the middle of an edge: `along` and `across` it -1, 0 or +1."""
    if one.form != "strip":
        return dial.at(one.angle_deg, one.radius_mm) + SIGN * complex(along, across)
    length, width = along * one.length_mm / 2, across * one.seen_width_mm / 2
    if not view.goes_round(one):
        return dial.at(one.angle_deg, one.radius_mm + length, width)
    return dial.at(one.angle_deg + math.degrees(length / one.radius_mm), max(one.radius_mm + width, 0.0))


def blade_angles(view: RotorView) -> list[float]:
    """Give the angles of the blades against the rotation from the mark."""
    if view.kind == "bell":
        return []
    return [view.first_blade_deg + 360 * n / view.blades for n in range(view.blades)]


def blade_point(dial: Dial, view: RotorView, angle_deg: float, along: float, across: float) -> complex:
    """Give a point of a blade: share of the way from hub to tip, and share of the radius across it."""
    return dial.at(angle_deg, view.hub + along * (view.radius_mm - view.hub), across * view.radius_mm)


def _rectangle(dial: Dial, one: Piece) -> str:
    near, far = one.radius_mm - one.length_mm / 2, one.radius_mm + one.length_mm / 2
    half = one.width_mm / 2
    places = ((near, -half), (far, -half), (far, half), (near, half))
    return "M" + "L".join(svg.pair(dial.at(one.angle_deg, *place)) for place in places) + "Z"


def _sector(dial: Dial, one: Piece) -> str:
    half = math.degrees(one.length_mm / 2 / one.radius_mm)
    start, end = one.angle_deg - half, one.angle_deg + half
    half_width = one.seen_width_mm / 2
    inner, outer = max(one.radius_mm - half_width, 0.0), one.radius_mm + half_width
    back = f"L{svg.pair(dial.at(end, inner))}{dial.arc_on(inner, end, start)}Z"
    return dial.arc(outer, start, end) + back


def _crossing(dial: Dial, view: RotorView, one: Piece) -> str:
    ends = (((-1, -1), (1, 1)), ((-1, 1), (1, -1)))
    look = svg.stroke("currentColor", 1.2)
    return "".join(
        svg.line(corner(dial, view, one, *a), corner(dial, view, one, *b), **look) for a, b in ends
    )


def _propeller(dial: Dial, view: RotorView) -> str:
    blades = "".join(_blade(dial, view, angle) for angle in blade_angles(view))
    hub = svg.circle(dial.centre, view.hub * dial.scale, **_BODY)
    shaft = svg.circle(dial.centre, 0.32 * view.hub * dial.scale, **svg.stroke(palette.GREY, 1.4))
    return blades + hub + shaft + _mark(dial, 0.45 * view.hub, view.hub, 0.15 * view.hub)


def _blade(dial: Dial, view: RotorView, angle: float) -> str:
    def at(place: tuple[float, float]) -> str:
        return svg.pair(blade_point(dial, view, angle, *place))

    curves = "".join("C" + " ".join(map(at, curve)) for curve in (*_LEADING, *_TRAILING))
    outline = svg.tag("path", d=f"M{at(_ROOT)}{curves}Z", data_part="blade", **_BODY)
    first, *rest = _RIDGE
    ridge = f"M{at(first)}C{' '.join(map(at, rest))}"
    return outline + svg.tag("path", d=ridge, **svg.stroke(palette.GREY, 0.7))


def _bell(dial: Dial, view: RotorView) -> str:
    radius, hub = view.radius_mm, view.hub
    outside = f"{dial.arc(radius, 0, 180)}{dial.arc_on(radius, 180, 360)}Z"
    slots = "".join(_slot(dial, hub + 0.12 * (radius - hub), 0.82 * radius, n) for n in range(SLOTS))
    can = svg.tag("path", d=outside + slots, fill_rule="evenodd", data_part="rim", **_BODY)
    thin = svg.stroke(palette.GREY, 1)
    wall = svg.circle(dial.centre, 0.91 * radius * dial.scale, **thin)
    shaft = svg.circle(dial.centre, 0.3 * hub * dial.scale, **thin)
    bolts = (svg.circle(dial.at(45 + 90 * n, 0.66 * hub), 0.12 * hub * dial.scale, **thin) for n in range(4))
    return "".join((can, wall, shaft, *bolts, _mark(dial, 0.91 * radius, radius, 0.04 * radius)))


def _mark(dial: Dial, inner: float, outer: float, half: float) -> str:
    half = max(half, 2 / dial.scale)
    places = (
        dial.at(0, inner, -half),
        dial.at(0, outer, -half),
        dial.at(0, outer, half),
        dial.at(0, inner, half),
    )
    return svg.polygon(places, fill=palette.MARK, data_part="mark", **svg.stroke("currentColor", 0.8))


def _slot(dial: Dial, inner: float, outer: float, number: int) -> str:
    """Write the outline of one of the slots between the arms, which are as wide outside as inside."""
    if inner >= outer:
        return ""
    middle, arm = 360 / SLOTS * (number + 0.5), 0.09 * outer
    half_out = 180 / SLOTS - math.degrees(math.asin(arm / outer))
    half_in = max(180 / SLOTS - math.degrees(math.asin(min(arm / inner, 1.0))), 0.0)
    start = dial.arc(outer, middle - half_out, middle + half_out)
    back = dial.arc_on(inner, middle + half_in, middle - half_in)
    return f"{start}L{svg.pair(dial.at(middle + half_in, inner))}{back}Z"

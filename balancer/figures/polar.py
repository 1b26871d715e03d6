"""The polar picture: vectors with their uncertainty, as arrows from the shaft."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

from balancer.core.vectors import SDS_95
from balancer.errors import InputError
from balancer.figures import palette, svg
from balancer.figures.dial import (
    DIRECTION_WORDS,
    HAND_WORDS,
    MARGIN,
    RING,
    WIDTH,
    Dial,
    Direction,
    Hand,
    check_frame,
    frame,
    heading,
)
from balancer.figures.labels import Box, Scene
from balancer.figures.markers import marker
from balancer.figures.palette import CIRCLES
from balancer.figures.polar_legend import legend
from balancer.figures.polar_points import NamedCircle, PolarPoint

_NAME = 12.0
_NUMBER = 10.5


def polar_picture(
    points: Sequence[PolarPoint],
    *,
    unit: str,
    circles: Sequence[NamedCircle] = (),
    title: str,
    direction: Direction = "against",
    hand: Hand = "ccw",
) -> str:
    """Draw vectors round the shaft as the rotor is seen from the front, so that it can be laid beside it.

    Parameters
    ----------
    points : sequence of PolarPoint
        At least one.
    unit : str
        Unit of the values, such as ``m/s^2``.
    circles : sequence of NamedCircle, optional
        Limits, such as the permissible residual or the noise floor.
    title : str
        What is shown.
    direction : {"against", "with"}, optional
        How the degrees shown count; where the vectors lie does not depend on it.
    hand : {"ccw", "cw"}, optional
        How the rotor turns, seen from the front.

    Returns
    -------
    str
        SVG, one line, without ids.

    Raises
    ------
    InputError
        If there is no vector, or a word or a number cannot be used.
    """
    check_frame(hand, direction)
    if not points:
        raise InputError("a polar picture needs at least one vector")
    shown_unit = unit.replace("^2", "²")
    title_text, top = heading(title)
    step, rings = _rings(points, circles)
    dial = Dial(complex(WIDTH / 2, top + 44 + RING), RING / (step * rings), hand)
    grid, boxes = _grid(dial, step, rings, shown_unit, _quiet_angle(points))
    around, around_boxes = frame(dial, top, direction)
    bottom = dial.centre.imag + RING + 40
    rows, height = legend(points, circles, shown_unit, direction, bottom)
    return svg.document(
        WIDTH,
        height,
        _sentence(points, circles, shown_unit, title, (hand, direction)),
        title_text,
        around,
        grid,
        *(_limit(dial, c) for c in circles),
        *(_ellipse(dial, p) for p in points),
        *(_arrow(dial, p) for p in points),
        _names(dial, points, _scene(dial, points, circles, [*boxes, *around_boxes])),
        rows,
    )


def _rings(points: Sequence[PolarPoint], circles: Sequence[NamedCircle]) -> tuple[float, int]:
    reach = max((*(p.reach for p in points), *(c.radius for c in circles)))
    if reach < 1e-100:  # nothing but zeros: any scale shows them
        return 1.0, 1
    step = svg.nice_step(reach, 5)
    return step, max(math.ceil(reach / step - 1e-9), 1)


def _quiet_angle(points: Sequence[PolarPoint]) -> int:
    """Find the gap between spokes that is farthest from every vector: the ring numbers go there."""
    angles = [math.degrees(cmath.phase(p.value)) for p in points if p.value]
    gaps = [105, 75, 135, 45, 165, 195, 225, 255, 285, 315, 345, 15]
    return max(
        gaps, key=lambda gap: min((round(abs((gap - a + 180) % 360 - 180)) for a in angles), default=0)
    )


def _grid(dial: Dial, step: float, rings: int, unit: str, quiet: int) -> tuple[str, list[Box]]:
    thin = svg.stroke(palette.GRID, 0.6)
    outer = step * rings
    drawn = (
        [svg.line(dial.at(a, step), dial.at(a, outer), **thin) for a in range(0, 360, 30)]
        if rings > 1
        else []
    )
    # the outermost ring is the protractor's, with its ticks: its number stands inside
    number = svg.round_number(outer)
    boxes = [_number_box(number, dial.at(quiet, outer - 10 / dial.scale))]
    drawn.append(svg.text(number, boxes[0].centre, _NUMBER))
    for radius in (step * n for n in range(rings - 1, 0, -1)):
        number = svg.round_number(radius)
        box = _number_box(number, dial.at(quiet, radius))
        if box.overlap(boxes[0]):
            drawn.append(svg.circle(dial.centre, radius * dial.scale, **thin))
            continue
        gap = _gap(dial, quiet, radius, box)
        drawn.append(svg.tag("path", d=dial.arc(radius, quiet + gap, quiet + 360 - gap), **thin))
        drawn.append(svg.text(number, box.centre, _NUMBER))
        boxes.append(box)
    corner = complex(MARGIN, dial.centre.imag + RING + 16)
    return "".join([*drawn, svg.text(f"rings in {unit}", corner, 11.5, "start")]), boxes


def _number_box(number: str, at: complex) -> Box:
    return Box.centred(at, svg.text_width(number, _NUMBER), 11)


def _gap(dial: Dial, angle_deg: float, radius: float, box: Box) -> float:
    """Give half the angle in degrees that a ring is left open for its number."""
    along = dial.at(angle_deg, radius, 1.0) - dial.at(angle_deg, radius)
    return min(math.degrees((box.reach(along / abs(along)) + 2) / (radius * dial.scale)), 90.0)


def _limit(dial: Dial, named: NamedCircle) -> str:
    style = CIRCLES[named.role]
    look = svg.stroke(style.colour, 1.6, style.dash)
    return svg.circle(dial.centre, named.radius * dial.scale, data_part="limit", **look)


def _ellipse(dial: Dial, point: PolarPoint) -> str:
    if point.covariance is None:
        return ""
    major, minor, along = point.covariance.axes()
    centre = dial.of(point.value)
    heading_px = Dial(0j, 1.0, dial.hand).of(cmath.rect(1.0, along))
    # an ellipse looks the same after half a turn, and the sign of an eigenvector is nobody's promise
    turn = math.degrees(cmath.phase(heading_px)) % 180
    return svg.tag(
        "ellipse",
        rx=SDS_95 * major * dial.scale,
        ry=SDS_95 * minor * dial.scale,
        transform=f"translate({svg.pair(centre)}) rotate({svg.px(turn)})",
        data_part="ellipse",
        **svg.tint(point.style.colour, 0.16),
        **svg.stroke(point.style.colour, 1),
    )


def _arrow(dial: Dial, point: PolarPoint) -> str:
    tip = dial.of(point.value)
    length = abs(tip - dial.centre)
    colour = point.style.colour
    drawn = []
    if length > 6:
        shaft = svg.stroke(colour, 2.4, point.style.dash)
        drawn.append(svg.line(dial.centre, tip, stroke_linecap="butt", **shaft))
    if length > 26:  # the head sits before the marker, where both can be told apart
        drawn.append(
            svg.arrow_head(tip - 6 * (tip - dial.centre) / length, tip - dial.centre, 10, fill=colour)
        )
    return "".join([*drawn, marker(point.style, tip)])


def _scene(
    dial: Dial, points: Sequence[PolarPoint], circles: Sequence[NamedCircle], boxes: list[Box]
) -> Scene:
    tips = [dial.of(p.value) for p in points]
    reach = complex(WIDTH / 2 - 4, RING + 28)
    chords = (
        (dial.at(30 * n, c.radius), dial.at(30 * n + 30, c.radius))
        for c in circles
        for n in range(12)
        if c.radius
    )
    return Scene(
        Box(dial.centre - reach, dial.centre + reach),
        (*boxes, *(Box.centred(t, 13, 13) for t in tips), Box.centred(dial.centre, 10, 10)),
        (*((dial.centre, t) for t in tips), *chords),
        tuple(tips),
    )


def _names(dial: Dial, points: Sequence[PolarPoint], scene: Scene) -> str:
    tips = [dial.of(p.value) for p in points]
    names = [svg.shorten(p.label, 110, _NAME) for p in points]
    wanted = [
        (tip, svg.text_width(name, _NAME) + 2, 15.0, tip - dial.centre if tip != dial.centre else 1 - 1j)
        for name, tip in zip(names, tips, strict=True)
    ]
    return "".join(
        svg.text(name, box.centre, _NAME, bold=True)
        for name, box in zip(names, scene.place_all(wanted), strict=True)
    )


def _sentence(
    points: Sequence[PolarPoint],
    circles: Sequence[NamedCircle],
    unit: str,
    title: str,
    frame: tuple[Hand, Direction],
) -> str:
    hand, direction = frame
    vectors = [f"{p.label} {p.reading(unit, direction)}" for p in points]
    limits = [f"circle {c.label} {c.reading(unit)}" for c in circles]
    return (
        f"{title}. Polar picture seen from the front of a rotor that turns {HAND_WORDS[hand]}, "
        f"the mark at the top, angles counted {DIRECTION_WORDS[direction]}: {'; '.join([*vectors, *limits])}."
    )

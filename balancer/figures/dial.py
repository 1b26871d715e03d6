"""The frame that the polar and the rotor picture share: where an angle lies on the page, and how it counts.

Seen from the front, the mark is at the top and stands at the pick-up. Angles count against the rotation,
and the spot at 90 deg passes the pick-up a quarter turn after the mark. A rotor that turns counter-clockwise
carries its right-hand side to the top within that quarter turn, so there 90 deg lies on the right: angles
grow clockwise on the page. For a clockwise rotor they grow counter-clockwise, and 90 deg lies on the left.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Literal

from balancer.errors import InputError
from balancer.figures import palette, svg
from balancer.figures.labels import Box

Hand = Literal["ccw", "cw"]
Direction = Literal["against", "with"]

WIDTH = 360.0
RING = 126.0
MARGIN = 10.0
HAND_WORDS: dict[Hand, str] = {"ccw": "counter-clockwise", "cw": "clockwise"}
DIRECTION_WORDS: dict[Direction, str] = {"against": "against the rotation", "with": "with the rotation"}


@dataclass(frozen=True)
class Dial:
    """Where things on a rotor lie on the page.

    Parameters
    ----------
    centre : complex
        The shaft in px.
    scale : float
        px per unit of length.
    hand : {"ccw", "cw"}
        How the rotor turns, seen from the front.
    """

    centre: complex
    scale: float
    hand: Hand = "ccw"

    @property
    def sense(self) -> int:
        """+1 where angles against the rotation grow clockwise on the page, -1 where counter-clockwise."""
        return 1 if self.hand == "ccw" else -1

    def of(self, value: complex) -> complex:
        """Place a vector (its angle against the rotation) on the page."""
        return self.centre + self.scale * complex(self.sense * value.imag, -value.real)

    def at(self, angle_deg: float, radius: float, across: float = 0.0) -> complex:
        """Place a spot: `radius` along the direction, then `across` at right angles to where angles grow."""
        return self.of(complex(radius, across) * cmath.exp(1j * math.radians(angle_deg)))

    def arc(self, radius: float, start_deg: float, end_deg: float) -> str:
        """Write the path from one angle to another (less than a full turn apart) at one radius."""
        return f"M{svg.pair(self.at(start_deg, radius))}{self.arc_on(radius, start_deg, end_deg)}"

    def arc_on(self, radius: float, start_deg: float, end_deg: float) -> str:
        """Write the continuation of a path that stands at the start angle already."""
        turn = (end_deg - start_deg) * self.sense
        drawn = svg.px(radius * self.scale)
        large, sweep = int(abs(turn) > 180), int(turn > 0)
        return f"A{drawn} {drawn} 0 {large} {sweep} {svg.pair(self.at(end_deg, radius))}"

    def curved_arrow(self, radius: float, start_deg: float, end_deg: float, width: float, colour: str) -> str:
        """Draw an arc with an arrow head at its end angle."""
        size = 5 + 2.5 * width
        forward = 1 if end_deg > start_deg else -1
        tip = self.at(end_deg, radius)
        # the head's own length is taken off the line, and the head points along the chord it replaces
        neck_deg = end_deg - forward * math.degrees(size / (radius * self.scale))
        return svg.tag(
            "path", d=self.arc(radius, start_deg, neck_deg), stroke=colour, stroke_width=width
        ) + svg.arrow_head(tip, tip - self.at(neck_deg, radius), size, fill=colour)


def check_frame(hand: str, direction: str) -> None:
    """Refuse words for the sense of rotation or of counting that the pictures do not know."""
    if hand not in HAND_WORDS:
        raise InputError(f"the sense of rotation is {hand!r}", todo="use ccw or cw, seen from the front")
    if direction not in DIRECTION_WORDS:
        raise InputError(f"the counting direction is {direction!r}", todo="use against or with")


def shown_angle(angle_deg: float, direction: Direction) -> int:
    """Give an angle (against the rotation) as the whole degrees a person reads, 0 to 359."""
    return round(angle_deg if direction == "against" else -angle_deg) % 360


def frame(dial: Dial, top: float, direction: Direction) -> tuple[str, list[Box]]:
    """Draw what stands round every dial: degrees, mark, how the rotor turns and how angles count.

    Parameters
    ----------
    dial : Dial
        Where the rotor lies.
    top : float
        The y in px where the words in the two upper corners may begin.
    direction : {"against", "with"}
        How the degrees count.

    Returns
    -------
    drawn : str
        SVG elements.
    boxes : list of Box
        What labels must keep clear of.
    """
    degrees, boxes = _protractor(dial, direction)
    notes, note_boxes = _turning_notes(dial, top, direction)
    return degrees + notes, [*boxes, *note_boxes]


def _protractor(dial: Dial, direction: Direction) -> tuple[str, list[Box]]:
    page = Dial(dial.centre, 1.0, dial.hand)
    drawn = [svg.circle(dial.centre, RING, stroke=palette.GRID, stroke_width=1)]
    for angle in range(0, 360, 10):
        ends = page.at(angle, RING), page.at(angle, RING + (5 if angle % 30 == 0 else 3))
        drawn.append(svg.line(*ends, stroke=palette.GRID, stroke_width=1))
    boxes = []
    for angle in range(30, 360, 30):
        label = f"{shown_angle(angle, direction)}°"
        box = Box.centred(page.at(angle, RING + 17), svg.text_width(label, 11), 12)
        drawn.append(svg.text(label, box.centre, 11))
        boxes.append(box)
    drawn.append(svg.arrow_head(page.at(0, RING), 1j, 11, fill=palette.MARK))
    top = Box.centred(page.at(0, RING + 20), svg.text_width("mark 0°", 12), 14)
    pointer = Box.centred(page.at(0, RING + 6), 12, 14)
    return "".join([*drawn, svg.text("mark 0°", top.centre, 12, bold=True)]), [*boxes, top, pointer]


def _turning_notes(dial: Dial, top: float, direction: Direction) -> tuple[str, list[Box]]:
    page = Dial(dial.centre, 1.0, "ccw")  # angles of this dial are plain clockwise angles on the page
    turns = -dial.sense
    counts = dial.sense if direction == "against" else -dial.sense
    drawn = (
        _corner(top, counts, ("angles count", DIRECTION_WORDS[direction])),
        page.curved_arrow(RING + 32, 37 * counts, 60 * counts, 1.5, "currentColor"),
        _corner(top, -counts, ("the rotor turns", HAND_WORDS[dial.hand])),
        _rotation_arrow(page, -counts, turns),
    )
    arcs = [Box.centred(page.at(a * side, RING + 32), 12, 12) for a in range(36, 64, 4) for side in (1, -1)]
    return "".join(drawn), arcs


def _rotation_arrow(page: Dial, side: int, turns: int) -> str:
    near, far = (37, 60) if side == turns else (60, 37)
    return page.curved_arrow(RING + 32, near * side, far * side, 3.5, "currentColor")


def _corner(top: float, side: int, words: tuple[str, str]) -> str:
    edge = WIDTH - MARGIN if side > 0 else MARGIN
    anchor = "end" if side > 0 else "start"
    return "".join(
        svg.text(word, complex(edge, top + 8 + 14 * row), 11.5, anchor) for row, word in enumerate(words)
    )


def heading(title: str) -> tuple[str, float]:
    """Write the title in at most two lines, and give the y where the picture may begin."""
    rows = svg.wrap(title, WIDTH - 2 * MARGIN, 14)
    drawn = (
        svg.text(row, complex(MARGIN, 16 + 18 * n), 14, "start", bold=True) for n, row in enumerate(rows)
    )
    return "".join(drawn), 10 + 18.0 * len(rows)

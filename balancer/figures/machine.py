"""The picture of a machine seen from above: which propeller stands on which arm, and turned how.

Each rotor is drawn as on its own dial: the bell's mark at the top, angles counted against the rotation. Where
the arms really point is not known here, so they are set evenly round, in the order of their numbers.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from balancer.errors import InputError
from balancer.figures import palette, svg
from balancer.figures.dial import (
    HAND_WORDS,
    MARGIN,
    WIDTH,
    Dial,
    Direction,
    Hand,
    check_frame,
    heading,
    shown_angle,
)

MOST_ARMS = 12

_REACH = 124.0  # px from the middle of the machine to that of a rotor
_LARGEST, _SHARE = 34.0, 0.30  # px; of the distance to the next rotor
_HUB = 0.27  # of the radius of a rotor
_SIZE = 11.0  # px of the words
_ROW = 13.0
_WORDS, _CROWDED = 104.0, 9  # px that a rotor's words may take; from so many arms on they take less
_BESIDE = 2 * _ROW + 8  # px above or below a rotor


@dataclass(frozen=True)
class ArmView:
    """One arm as it is to be drawn.

    Parameters
    ----------
    number : int
        Of the arm.
    hand : {"ccw", "cw"}
        How its rotor turns, seen from above.
    propeller : str
        What is written on the propeller; empty for none.
    mark_deg : float or None
        Where its mark stands, from the bell's mark against the rotation; None when not known.
    blades : int
        How many it has, 0 when not known.
    note : str
        A few words below its name, such as ``from arm 2``.
    changed : bool
        Whether hands have to go there.

    Raises
    ------
    InputError
        If the hand is no hand, or a number is impossible.
    """

    number: int
    hand: Hand
    propeller: str = ""
    mark_deg: float | None = None
    blades: int = 2
    note: str = ""
    changed: bool = False

    def __post_init__(self) -> None:
        check_frame(self.hand, "against")
        if not 0 <= self.blades <= 12 or (self.mark_deg is not None and not math.isfinite(self.mark_deg)):
            raise InputError(
                f"arm {self.number} cannot be drawn with {self.blades} blades and its mark at {self.mark_deg}"
            )


def machine_picture(arms: Sequence[ArmView], *, title: str = "", direction: Direction = "against") -> str:
    """Draw a machine from above, as text that stands in a page or a file.

    Parameters
    ----------
    arms : sequence of ArmView
        One to 12, in the order in which they follow each other clockwise.
    title : str
        Words above the picture.
    direction : {"against", "with"}
        How the person counts angles.

    Returns
    -------
    str
        SVG text. Arms to which hands have to go have a double ring and words in bold; from nine arms on
        there is no room for notes, which the label still holds.

    Raises
    ------
    InputError
        If there is no arm or there are too many.
    """
    if not 1 <= len(arms) <= MOST_ARMS:
        raise InputError(f"a picture holds 1 to {MOST_ARMS} arms, not {len(arms)}")
    check_frame("ccw", direction)
    head, top = heading(title) if title else ("", MARGIN)
    radius = rotor_radius(len(arms))
    toward = ways(len(arms))
    down = max(_BESIDE + radius - _REACH * min(way.imag for way in toward), 26.0)
    middle = complex(WIDTH / 2, top + down)
    spots = [middle + _REACH * way for way in toward]
    height = max(spot.imag for spot in spots) + radius + _BESIDE + MARGIN
    drawn = [_arm(middle, spot, radius) for spot in spots]
    drawn += [_frame(middle)]
    width = _WORDS if len(arms) < _CROWDED else 2.2 * radius
    drawn += [
        _rotor(arm, spot, radius, (spot.imag < middle.imag - 1, width))
        for arm, spot in zip(arms, spots, strict=True)
    ]
    label = ". ".join([*([title] if title else []), "The machine from above", *_told(arms, direction)]) + "."
    return svg.document(WIDTH, height, label, head, *drawn)


def rotor_radius(count: int) -> float:
    """Give the radius in px of each of so many rotors, so that none touches the next.

    Examples
    --------
    >>> rotor_radius(4), round(rotor_radius(12), 1)
    (34.0, 19.3)
    """
    if count < 2:
        return _LARGEST
    return min(_LARGEST, _SHARE * 2 * _REACH * math.sin(math.pi / count))


def ways(count: int) -> list[complex]:
    """Give the directions of the arms on the page, clockwise, with the gap between the last and the first up.

    Examples
    --------
    >>> [complex(round(way.real, 2), round(way.imag, 2)) for way in ways(2)]
    [(1+0j), (-1+0j)]
    """
    # x to the right, y down: a growing angle goes clockwise
    return [cmath.rect(1.0, -math.pi / 2 + math.tau * (n + 0.5) / count) for n in range(count)]


def _arm(middle: complex, spot: complex, radius: float) -> str:
    way = (spot - middle) / abs(spot - middle)
    return svg.line(middle + 20 * way, spot - (radius + 7) * way, **svg.stroke(palette.GREY, 5))


def _frame(middle: complex) -> str:
    return svg.circle(middle, 24, **(svg.tint("currentColor", 0.06) | svg.stroke(palette.GREY, 1.4)))


def _rotor(arm: ArmView, spot: complex, radius: float, words: tuple[bool, float]) -> str:
    dial = Dial(spot, 1.0, arm.hand)
    ring = svg.circle(
        spot,
        radius,
        data_part="rotor",
        data_arm=str(arm.number),
        data_changed="yes" if arm.changed else "no",
        **svg.stroke(palette.ORANGE if arm.changed else palette.GREY, 3 if arm.changed else 1.2, _dash(arm)),
    )
    second = svg.circle(spot, radius - 5, **svg.stroke(palette.ORANGE, 1.2)) if arm.changed else ""
    seen = "" if arm.mark_deg is None else _propeller(dial, arm.mark_deg, arm.blades, radius)
    hub = svg.circle(
        spot, _HUB * radius, fill="currentColor", fill_opacity=0.1, stroke=palette.GREY, stroke_width=1
    )
    number = svg.text(str(arm.number), spot, min(12.0, 0.42 * radius), bold=True)
    return "".join(
        [ring, second, seen, hub, number, _turning(dial, radius), _words(arm, spot, radius, *words)]
    )


def _dash(arm: ArmView) -> str:
    return "3 4" if arm.mark_deg is None else ""


def _propeller(dial: Dial, mark_deg: float, blades: int, radius: float) -> str:
    """Draw the bell's mark at the top, the blades, and a dot for the propeller's mark: on its first blade."""
    reach = radius - 8
    spot = dial.at(mark_deg, 0.62 * reach + 4)
    drawn = [svg.arrow_head(dial.at(0, radius - 6), 1j, 8, fill=palette.MARK)]
    drawn += [_blade(dial, mark_deg + 360 * n / blades, reach) for n in range(blades)]
    look: svg.Attributes = {"fill": palette.MARK, "stroke": "currentColor", "stroke_width": 1}
    return "".join([*drawn, svg.circle(spot, 3.2, data_part="mark", **look)])


def _blade(dial: Dial, angle: float, reach: float) -> str:
    # wider on the side that trails: angles grow against the rotation
    root = 0.24 * (reach + 8)
    points = ((root, -2.5), (0.4 * reach, -3.0), (reach, -1.0), (reach, 2.0), (0.4 * reach, 5.0), (root, 2.5))
    look = svg.tint("currentColor", 0.12) | svg.stroke(palette.GREY, 1.1)
    return svg.polygon([dial.at(angle, *point) for point in points], **look)


def _turning(dial: Dial, radius: float) -> str:
    """Draw the turning sense: the rotation carries what is at 90 deg to 0."""
    return dial.curved_arrow(radius + 5, 80, 28, 2.0, "currentColor")


def _words(arm: ArmView, spot: complex, radius: float, above: bool, width: float) -> str:
    """Write name and note on the side away from the middle of the machine, where no arm runs."""
    crowded = width < _WORDS
    rows = [arm.propeller or "no propeller", *([arm.note] if arm.note and not crowded else [])]
    first = -(radius + 4 + _ROW * (len(rows) - 0.5)) if above else radius + 6 + _ROW / 2
    return "".join(
        svg.text(svg.shorten(row, width, _SIZE), spot + 1j * (first + n * _ROW), _SIZE, bold=arm.changed)
        for n, row in enumerate(rows)
    )


def _told(arms: Sequence[ArmView], direction: Direction) -> list[str]:
    return [_tell(arm, direction) for arm in arms]


def _tell(arm: ArmView, direction: Direction) -> str:
    mark = "" if arm.mark_deg is None else f", mark at {shown_angle(arm.mark_deg, direction)}°"
    what = f"{arm.propeller}{mark}" if arm.propeller else "no propeller"
    note = f", {arm.note}" if arm.note else ""
    return f"Arm {arm.number}, {HAND_WORDS[arm.hand]}: {what}{note}"

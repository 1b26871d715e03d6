"""The angle convention as one drawing, for the README and for those who read the code."""

from __future__ import annotations

from balancer.figures import palette, svg
from balancer.figures.dial import Dial

_WIDTH, _HEIGHT = 480.0, 310.0
_RADIUS = 84.0
_SIZE = 14.0
_INK = "currentColor"
_SENTENCE = (
    "The angle convention. A rotor seen from the front turns counter-clockwise under a fixed pick-up at the "
    "top. On the left the mark, angle 0, passes the pick-up; a spot at 90 degrees lies a quarter turn "
    "clockwise from it, on the right-hand side, because angles count against the rotation. On the right, a "
    "quarter turn later, the spot at 90 degrees passes the pick-up and the mark has gone on to the left."
)


def convention_picture() -> str:
    """Draw how angles count: a rotor at two moments, a quarter turn apart.

    Returns
    -------
    str
        SVG, one line, without ids.
    """
    return svg.document(
        _WIDTH,
        _HEIGHT,
        _SENTENCE,
        _moment(Dial(112 + 136j, 1.0), 0, ("the mark passes", "the pick-up")),
        _moment(Dial(364 + 136j, 1.0), 90, ("a quarter turn later", "the spot at 90° passes it")),
        svg.text("seen from the front; angles count against the rotation, from the mark", 240 + 295j, 13),
    )


def _moment(dial: Dial, turned_deg: float, words: tuple[str, str]) -> str:
    """Draw the rotor after it has turned by an angle since the mark passed the pick-up."""
    rows = (svg.text(word, dial.centre + 1j * (_RADIUS + 22 + 18 * n), _SIZE) for n, word in enumerate(words))
    return "".join(
        (
            _pick_up(dial),
            _rotor(dial, turned_deg),
            _degrees(dial, turned_deg),
            dial.curved_arrow(32, 75, -75, 4, _INK),
            svg.text("rotation", dial.centre + 24j, 12.5),
            dial.curved_arrow(_RADIUS + 9, 5 - turned_deg, 84 - turned_deg, 1.5, palette.BLUE),
            *rows,
        )
    )


def _pick_up(dial: Dial) -> str:
    tip = dial.centre - 1j * (_RADIUS + 14)
    body = svg.rect(tip - 9 - 28j, 18 + 26j, rx=3, **svg.tint(_INK, 0.12), **svg.stroke(_INK, 1.6))
    beam = svg.polygon((tip + 6j, tip - 4 - 2j, tip + 4 - 2j), fill=_INK)
    return body + beam + svg.text("pick-up", tip + 17 - 17j, _SIZE, "start")


def _rotor(dial: Dial, turned_deg: float) -> str:
    grey = svg.stroke(palette.GREY, 1.8)
    mark = dial.at(-turned_deg, _RADIUS - 16), dial.at(-turned_deg, _RADIUS - 2)
    return "".join(
        (
            svg.circle(dial.centre, _RADIUS, **svg.tint(_INK, 0.05), **grey),
            svg.circle(dial.centre, 7, **grey),
            svg.line(*mark, stroke_linecap="butt", **svg.stroke(palette.MARK, 8)),
            svg.circle(dial.at(90 - turned_deg, _RADIUS - 10), 6.5, fill=palette.BLUE, data_part="spot"),
        )
    )


def _degrees(dial: Dial, turned_deg: float) -> str:
    """Write the angles that are painted on the rotor, as it were, and so turn with it."""
    painted = (
        svg.text(f"{angle}°", dial.at(angle - turned_deg, _RADIUS - 30), _SIZE, bold=angle in (0, 90))
        for angle in (0, 90, 180, 270)
    )
    # beside the mark, where the turning of angles (blue) leaves room
    beside = dial.at(-turned_deg - 9, _RADIUS + 12)
    return "".join([*painted, svg.text("mark", beside, _SIZE, "end")])

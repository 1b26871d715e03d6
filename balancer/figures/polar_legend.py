"""The rows under the polar picture: what each arrow, circle and ellipse is, with its value."""

from __future__ import annotations

from collections.abc import Sequence

from balancer.figures import palette, svg
from balancer.figures.dial import MARGIN, WIDTH, Direction
from balancer.figures.markers import marker
from balancer.figures.palette import CIRCLES
from balancer.figures.polar_points import NamedCircle, PolarPoint

_ROW = 19.0
_SIZE = 12.5
_LEFT = 54.0


def legend(
    points: Sequence[PolarPoint], circles: Sequence[NamedCircle], unit: str, direction: Direction, top: float
) -> tuple[str, float]:
    """Draw a row for each vector and each circle.

    Parameters
    ----------
    points, circles : sequence
        As in ``polar_picture``.
    unit : str
        As it is shown.
    direction : {"against", "with"}
        How the degrees count.
    top : float
        The y of the first row's middle in px.

    Returns
    -------
    drawn : str
        SVG elements.
    bottom : float
        The y in px where the rows end.
    """
    drawn: list[str] = []
    y = top
    for point in points:
        words, following = _row(point.label, point.reading(unit, direction), y)
        drawn.append(_vector_sample(point, y) + words)
        y = following
    for named in circles:
        words, following = _row(named.label, named.reading(unit), y)
        drawn.append(_circle_sample(named, y) + words)
        y = following
    if any(p.covariance for p in points):
        drawn.append(_ellipse_row(y))
        y += _ROW
    return "".join(drawn), y - _ROW / 2 + 4


def _vector_sample(point: PolarPoint, y: float) -> str:
    style = point.style
    shaft = svg.line(
        complex(MARGIN, y),
        complex(MARGIN + 28, y),
        stroke_linecap="butt",
        **svg.stroke(style.colour, 2.4, style.dash),
    )
    return shaft + marker(style, complex(MARGIN + 32, y))


def _circle_sample(named: NamedCircle, y: float) -> str:
    style = CIRCLES[named.role]
    return svg.circle(complex(MARGIN + 18, y), 7, **svg.stroke(style.colour, 1.6, style.dash))


def _ellipse_row(y: float) -> str:
    look = svg.tint(palette.GREY, 0.16) | svg.stroke(palette.GREY, 1)
    sample = svg.tag("ellipse", cx=MARGIN + 18, cy=y, rx=12, ry=6, **look)
    return sample + svg.text(
        "95 % region; what is small hides under the markers", complex(_LEFT, y), 12, "start"
    )


def _row(name: str, value: str, y: float) -> tuple[str, float]:
    """Write a name and its value on one line where they fit, else on two; give the y of the next row."""
    right = WIDTH - MARGIN
    room = right - _LEFT
    first = svg.text(svg.shorten(name, room, _SIZE), complex(_LEFT, y), _SIZE, "start", bold=True)
    if 1.05 * svg.text_width(name, _SIZE) + svg.text_width(value, _SIZE) + 8 <= room:
        return first + svg.text(value, complex(right, y), _SIZE, "end"), y + _ROW
    y += 16
    return first + svg.text(svg.shorten(value, room, _SIZE), complex(_LEFT, y), _SIZE, "start"), y + _ROW

"""The magnified detail of a small piece, so that it can be seen from a metre away."""

from __future__ import annotations

from balancer.figures import palette, shapes, svg
from balancer.figures.dial import Dial
from balancer.figures.labels import Box
from balancer.figures.rotor_view import Piece, RotorView

SIDE = 132.0
_FACTORS = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)
_WANTED = 64.0


def magnification(scale: float, one: Piece) -> int:
    """Give the round factor that makes a strip about half as long as the detail, 1 if it needs none."""
    if one.form != "strip":
        return 1
    largest = max(one.length_mm, one.width_mm) * scale
    return max((f for f in _FACTORS if f * largest <= _WANTED), default=1)


def lens(view: RotorView, one: Piece, scale: float, corner: complex) -> str:
    """Draw the surroundings of a piece, enlarged, in a frame of its own.

    Parameters
    ----------
    view : RotorView
        The rotor.
    one : Piece
        The piece in the middle.
    scale : float
        px per mm here.
    corner : complex
        Upper left corner on the page in px.

    Returns
    -------
    str
        SVG elements; a nested ``svg`` clips what lies outside (a clip path would need an id).
    """
    middle = complex(SIDE, SIDE) / 2
    dial = Dial(middle - Dial(0j, scale, view.hand).at(one.angle_deg, one.radius_mm), scale, view.hand)
    inner_edge = shapes.corner(dial, view, one, 0 if view.goes_round(one) else -1, 0)
    inside = "".join(
        (
            shapes.body(dial, view),
            svg.line(dial.centre, inner_edge, **svg.stroke(one.style.colour, 1, "3 3")),
            shapes.piece(dial, view, one),
            _dimensions(dial, view, one),
        )
    )
    clipped = svg.tag(
        "svg", inside, x=corner.real, y=corner.imag, width=SIDE, height=SIDE, viewBox=f"0 0 {SIDE:g} {SIDE:g}"
    )
    return clipped + svg.rect(corner, complex(SIDE, SIDE), rx=8, **svg.stroke(palette.GREY, 1.4))


def _dimensions(dial: Dial, view: RotorView, one: Piece) -> str:
    edges = [((-1, 1), (1, 1), one.length_mm)]
    if not one.on_ring:
        edges.append(((1, -1), (1, 1), one.width_mm))
    return "".join(
        _dimension(shapes.corner(dial, view, one, *a), shapes.corner(dial, view, one, *b), size)
        for a, b, size in edges
    )


def _dimension(start: complex, end: complex, size_mm: float) -> str:
    """Draw a dimension in mm beside an edge, on the side away from the middle of the detail."""
    way = (end - start) / abs(end - start) * 1j
    outward = (start + end) / 2 - complex(SIDE, SIDE) / 2
    if (outward * way.conjugate()).real < 0:
        way = -way
    a, b = start + 7 * way, end + 7 * way
    number = svg.short(size_mm)
    box = Box.centred(0j, svg.text_width(number, 12), 12)
    ink = svg.stroke("currentColor", 1)
    ticks = "".join(svg.line(p - 3 * way, p + 3 * way, **ink) for p in (a, b))
    return svg.line(a, b, **ink) + ticks + svg.text(number, (a + b) / 2 + way * (4 + box.reach(way)), 12)

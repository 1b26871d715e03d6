"""The shapes at the tips of vectors, so that no vector is told by its colour alone."""

from __future__ import annotations

from balancer.figures import svg
from balancer.figures.palette import Style

_CORNERS = {
    "square": (-1 - 1j, 1 - 1j, 1 + 1j, -1 + 1j),
    "triangle": (-1.3j, 1.2 + 0.9j, -1.2 + 0.9j),
    "diamond": (-1.4j, 1.4 + 0j, 1.4j, -1.4 + 0j),
}


def marker(style: Style, at: complex, size: float = 4.0) -> str:
    """Draw a marker of about `size` px half width centred on `at`."""
    if style.marker == "circle":
        return svg.circle(at, size * 1.1, fill=style.colour, data_part="tip")
    if style.marker == "ring":
        return svg.circle(at, size, stroke=style.colour, stroke_width=2.2, data_part="tip")
    if style.marker == "cross":
        arms = ((at - size * (1 + s), at + size * (1 + s)) for s in (1j, -1j))
        drawn = "".join(svg.line(a, b, stroke=style.colour, stroke_width=2.6) for a, b in arms)
        return svg.tag("g", drawn, data_part="tip")
    return svg.polygon((at + size * c for c in _CORNERS[style.marker]), fill=style.colour, data_part="tip")

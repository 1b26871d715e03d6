"""Pictures of results as SVG text: pure functions, no files, no display library.

    dial, labels, markers, svg, palette   where an angle lies on the page, where words go, elements, colours
    polar, polar_points, polar_legend     vectors with their uncertainty
    rotor, rotor_view, shapes, lens       where the tape goes
    convention                            how angles count

On a page, put a picture into a block element (``<div>``) of its own, so that Markdown leaves its words alone.
"""

from balancer.figures.convention import convention_picture
from balancer.figures.polar import polar_picture
from balancer.figures.polar_points import NamedCircle, PolarPoint
from balancer.figures.rotor import rotor_picture
from balancer.figures.rotor_view import Piece, RotorView
from balancer.figures.svg import standalone

__all__ = [
    "NamedCircle",
    "Piece",
    "PolarPoint",
    "RotorView",
    "convention_picture",
    "polar_picture",
    "rotor_picture",
    "standalone",
]

"""Colours, dashes and markers of the pictures: colour never speaks alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal["as_is", "trial", "check", "influence", "correction", "residual", "other"]
PieceRole = Literal["trial", "add", "remove", "on", "gone"]
CircleRole = Literal["permissible", "noise"]
Marker = Literal["circle", "square", "triangle", "diamond", "cross", "ring"]

LIGHT_GROUND = "#ffffff"
DARK_GROUND = "#171614"
LIGHT_TEXT = "#1a1a1a"
DARK_TEXT = "#f0efed"

BLUE = "#0b6bcb"
ORANGE = "#c2410c"
GREEN = "#15803d"
GREY = "#6b7280"
VIOLET = "#7c3aed"
AMBER = "#d97706"
COLOURS = (BLUE, ORANGE, GREEN, GREY, VIOLET, AMBER)
"""Every colour of the pictures: at least 3:1 on both grounds (WCAG 2), for lines, not for text."""


@dataclass(frozen=True)
class Style:
    """How one role looks.

    Parameters
    ----------
    colour : str
        One of `COLOURS`.
    marker : str
        Shape at the tip of a vector.
    dash : str
        Value of ``stroke-dasharray``; empty for a solid line.
    """

    colour: str
    marker: Marker = "circle"
    dash: str = ""


ROLES: dict[Role, Style] = {
    "as_is": Style(BLUE, "circle"),
    "trial": Style(ORANGE, "square", "8 3"),
    "check": Style(GREEN, "triangle", "2 3"),
    "influence": Style(VIOLET, "diamond", "10 3 2 3"),
    "correction": Style(AMBER, "cross", "5 2"),
    "residual": Style(GREEN, "ring", "1 3"),
    "other": Style(GREY, "ring", "4 4"),
}
PIECES: dict[PieceRole, Style] = {
    "trial": Style(ORANGE, dash="4 2"),
    "add": Style(GREEN),
    "remove": Style(VIOLET, dash="2 2"),
    "on": Style(BLUE, dash="8 2"),
    "gone": Style(VIOLET, dash="1 2"),
}
CIRCLES: dict[CircleRole, Style] = {
    "permissible": Style(GREEN, dash="6 3"),
    "noise": Style(GREY, dash="1 2.5"),
}
MARK = AMBER
GRID = GREY

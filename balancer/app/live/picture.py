"""The live picture in the browser: it listens to the route of its own and draws on canvases."""

from __future__ import annotations

import json
from pathlib import Path

import streamlit as st

from balancer.app.live.route import PATH
from balancer.app.units_shown import Vibration
from balancer.figures.dial import Direction

Places = tuple[tuple[float, str], ...]


def _text(ending: str) -> str:
    return Path(__file__).with_name(f"picture.{ending}").read_text(encoding="utf-8")


_picture = st.components.v2.component("balancer_live", html=_text("html"), css=_text("css"), js=_text("js"))


def live_picture(*, direction: Direction, hand: str, axis: str, marked: Places, unit: Vibration) -> None:
    """Show it.

    Parameters
    ----------
    direction : {"against", "with"}
        How angles count.
    hand : {"ccw", "cw"}
        How the rotor turns, seen from the front.
    axis : str
        Name of the axis shown; empty for the strongest.
    marked : tuple of (float, str)
        Orders to mark in the spectrum, with their words.
    unit : Vibration
        In which vibration is shown.
    """
    # words alone: a list in there would make Streamlit load its table libraries to see whether it is a table
    data = {"path": PATH, "direction": direction, "hand": hand, "axis": axis, "marked": json.dumps(marked)}
    data |= {"unit": unit.word, "factor": str(unit.factor)}
    _picture(key="live_canvas", data=data)

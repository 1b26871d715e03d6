"""What the live page shows of a source in use: the picture, the numbers, what became of the recording."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from balancer.app import show
from balancer.app.live import ask, state, words
from balancer.app.live.picture import live_picture
from balancer.app.live.plain_picture import (
    axis_index,
    headlines,
    polar_drawing,
    signal_drawing,
    spectrum_drawing,
    vector_line,
)
from balancer.app.plain import marked_orders, plain
from balancer.app.state import direction, vibration
from balancer.figures.palette import DARK_GROUND, LIGHT_GROUND

if TYPE_CHECKING:
    from balancer.app.bench import BenchView

_USUAL_AXES = ("x", "y", "z")


def head() -> None:
    """Show the title, how angles and units are, and the cautions."""
    # Stop stays on the screen however far the page is scrolled; a slider's number is written in the primary
    # colour, which has too little contrast for text on the dark ground
    st.html(
        "<style>[data-testid=stLayoutWrapper]:has(> .st-key-live_running){position:sticky;top:3.75rem;"
        f"z-index:50;background:light-dark({LIGHT_GROUND},{DARK_GROUND})}}"
        "[data-testid=stSliderThumbValue],[data-testid=stSliderThumbValue] *{color:inherit!important}</style>"
    )
    with st.container(horizontal=True, vertical_alignment="center", key="live_head"):
        st.title("Live", anchor=False, width="stretch")
        show.angle_choice()
        show.vibration_choice()
        show.cautions_again()


def begin(view: BenchView) -> None:
    """Ask for a source; one that was lost can be picked up again."""
    if view.state == "lost":
        st.error(plain(view.trouble or "The source is lost."))
        st.button("Pick it up again", type="primary", key="live_pick_up", on_click=state.pick_up)
        with st.expander("Use another source"):
            ask.source(primary=False)
    else:
        if view.state == "off":
            show.sentence(
                "See at once what a rotor on the bench does: speed, vibration, where once per turn points. "
                "Nothing plugged in? The simulated bench turns by itself."
            )
        ask.source(primary=True)
        if view.state == "stopped":
            _kept(view)


def _kept(view: BenchView) -> None:
    file = view.file
    if file is None or not file.exists():
        return
    show.sentence(words.kept_text(file.name, view.seconds, file.stat().st_size))
    with st.container(horizontal=True, vertical_alignment="center"):
        st.download_button(
            "Download the recording",
            file.read_bytes,
            file.name,
            "application/octet-stream",
            key="live_download",
            on_click="ignore",
        )
        see = {"bench": file.name}
        st.page_link("views/recordings.py", label="See what is in it", query_params=see)


def picture(view: BenchView) -> None:
    """Show the picture: the live one, or plain drawings."""
    frame = state.bench().scope.frame()
    with st.container(horizontal=True, vertical_alignment="bottom", key="live_look"):
        if view.simulated and view.busy:
            ask.throttle(view)
            ask.tape()
        ask.look(view, _USUAL_AXES if frame is None else frame.axes)
    if state.plain_picture():
        _plain(view.source)
        return
    live_picture(
        direction=direction(),
        hand=state.hand(view),
        axis=state.axis(),
        marked=marked_orders(state.blades(view)),
        unit=vibration(),
    )


@st.fragment(run_every=0.35)
def _plain(source: str) -> None:
    """Draw what there is, nearly three times a second."""
    bench = state.bench()
    view, frame = bench.view(), bench.scope.frame()
    if frame is None or view.source != source or not view.age < words.SILENT:
        show.sentence(f"No data. {view.trouble}" if view.trouble else "No data.")
        return
    axis, way, unit = axis_index(frame, state.axis()), direction(), vibration()
    show.headlines(headlines(view, frame, axis, way, unit))
    show.sentence(vector_line(view, frame, axis, way, unit))
    drawings = (
        polar_drawing(frame, axis, way, state.hand(view), unit),
        spectrum_drawing(frame, axis, marked_orders(state.blades(view)), unit),
        signal_drawing(frame, axis, way, unit),
    )
    for column, drawn in zip(st.columns(3), drawings, strict=True):
        with column:
            if drawn is not None:
                show.drawing(drawn)


@st.fragment(run_every=1.0)
def numbers(shown: str) -> None:
    """Show the numbers of the stream about once a second; run the page anew when the source has changed.

    Parameters
    ----------
    shown : str
        `words.standing` of the source when the page ran.
    """
    view = state.bench().view()
    if words.standing(view) != shown:
        st.rerun()
    if view.state == "off":
        return
    show.sentence(words.state_text(view))
    show.headlines(words.figures(view))
    for severity, text in words.noticed(view):
        (st.warning if severity == "warning" else st.info)(plain(text))
    if view.busy and view.file is not None:
        show.small(f"Recorded into {view.file.name}; Stop ends the recording, not the motor.")

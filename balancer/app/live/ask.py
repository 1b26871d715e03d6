"""What the live page asks: which source, and while a simulated one runs, its speed and its tape."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from balancer.app import show
from balancer.app.live import state
from balancer.app.live.sources import file_choices, port_choices, source_text
from balancer.app.plain import plain
from balancer.app.state import direction
from balancer.figures.dial import HAND_WORDS
from balancer.live.ports import ports
from balancer.simulator.presets import LARGEST
from balancer.wording.job import SPINNING_CAUTION

if TYPE_CHECKING:
    from balancer.app.bench import BenchView

_SOURCES = {
    "simulated": "Simulated bench",
    "port": "Board on a serial port",
    "network": "Network address",
    "file": "Replay",
}
_KINDS = {"propeller": "Propeller on its motor", "bell": "Bare motor bell"}
_BLADES = {"0": "not said", "2": "2", "3": "3", "4": "4", "5": "5", "6": "6"}


def source(*, primary: bool) -> None:
    """Let the person choose a source and start it."""
    kind = show.choice("Source", _SOURCES, state.SOURCE)
    if kind == "simulated":
        _simulated()
    elif kind == "port":
        _port()
    elif kind == "network":
        st.text_input(
            "Address and port of the board",
            key=state.ADDRESS,
            max_chars=80,
            placeholder="192.168.4.1:3333",
            persist_state="session",
        )
    else:
        _file()
    if kind in ("port", "network"):
        show.caution(SPINNING_CAUTION)
    st.button("Start", type="primary" if primary else "secondary", key="live_start", on_click=state.start)


def _simulated() -> None:
    show.small(
        "Nothing spins here: bench and parts are invented, and each part hides an unbalance of its own."
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        show.choice("Part", _KINDS, state.KIND)
        st.number_input(
            "Which one of them",
            min_value=0,
            max_value=LARGEST,
            value=1,
            key=state.NUMBER,
            persist_state="session",
            width=200,
        )


def _port() -> None:
    choices = port_choices(ports())
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if choices:
            st.selectbox("Port", list(choices), format_func=choices.__getitem__, key=state.PORT)
        else:
            show.sentence(
                "No serial port is there: plug the board in, and try another cable (some carry power only)."
            )
        st.button("Look again", key="live_look", on_click=state.look_again)


def _file() -> None:
    choices = file_choices(state.bench().recordings())
    if choices:
        st.selectbox("Recording", list(choices), format_func=choices.__getitem__, key=state.FILE)
    else:
        show.sentence(
            "No recording is kept yet: each run of another source is kept, the last twenty of them."
        )


def running(view: BenchView) -> None:
    """Say what runs, with Stop, and what a simulated bench can be told."""
    with st.container(horizontal=True, vertical_alignment="center", key="live_running"):
        st.markdown(f"**{plain(source_text(view.source))}**", width="stretch")
        st.button("Stop", type="primary", key="live_stop", on_click=state.stop)


def throttle(view: BenchView) -> None:
    """Let the person ask the simulated motor for another speed."""
    st.slider(
        "Throttle: speed asked for (rpm)",
        state.SLOWEST_RPM,
        state.FASTEST_RPM,
        state.speed_now(view),
        100,
        key=state.SPEED,
        on_change=state.ask_speed,
        width=420,
    )


def tape() -> None:
    """Let the person put tape on the simulated rotor."""
    with st.popover("Tape", key="live_tape"):
        show.number("Mass (g)", state.GRAMS, 0.0, 5.0, usual=0.03, step=0.01, form="%.3f")
        show.number("Radius (mm)", state.RADIUS, 0.0, 200.0, usual=60.0, step=1.0)
        show.number("Angle (degrees)", state.ANGLE, 0.0, 360.0, usual=0.0, step=10.0, form="%.0f")
        show.small(f"Angles count {direction()} the rotation, from the mark.")
        st.button("Put it on", key="live_put_on", on_click=state.put_on)
        st.button("Take all off", key="live_take_off", on_click=state.take_off)
        if state.tape():
            show.small(state.tape())


def look(view: BenchView, axes: tuple[str, ...]) -> None:
    """Let the person choose what is shown, and say of a real rotor what cannot be measured."""
    names = {"": "strongest", **{name: name for name in axes}}
    show.choice("Axis shown", {name: plain(word) for name, word in names.items()}, state.AXIS)
    show.choice("Picture", {"live": "Live picture", "plain": "Plain picture"}, state.PICTURE)
    if not view.simulated:
        show.choice("Blades", _BLADES, state.BLADES)
        show.choice("It turns, seen from the front", HAND_WORDS, state.HAND)

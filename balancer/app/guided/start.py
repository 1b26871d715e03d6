"""The start page: take up a job that is not finished, or begin one."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import show
from balancer.app.guided import boxes, state, words
from balancer.app.guided.keeping import Kept
from balancer.app.guided.trainer import LARGEST
from balancer.app.plain import plain
from balancer.app.state import direction

_WHOSE = {"simulated": "Simulated bench", "own": "My own part"}
_SIMULATED = {"propeller": "Propeller on its motor", "bell": "Bare motor bell"}


def page() -> None:
    """Show the page."""
    show.to_the_top("start")
    jobs = state.jobs()
    _unfinished([kept for kept in jobs if not kept.step.ends])
    st.subheader("Begin a job", anchor=False)
    whose = show.choice("Whose part", _WHOSE, state.WHOSE, quiet=True)
    show.trouble()
    if whose == "own":
        _own()
    else:
        _simulated()
    _finished([kept for kept in jobs if kept.step.ends])


def _unfinished(jobs: Sequence[Kept]) -> None:
    if not jobs:
        return
    st.subheader("Go on with", anchor=False)
    for kept in jobs[:5]:
        _line(kept)


def _finished(jobs: Sequence[Kept]) -> None:
    if jobs:
        with st.expander("Finished jobs"):
            for kept in jobs:
                _line(kept)


def _line(kept: Kept) -> None:
    with st.container(border=True, horizontal=True, vertical_alignment="center"):
        title, about = plain(words.part_text(kept.job)), plain(words.listed(kept))
        st.markdown(f"**{title}**: {about}", width="stretch")
        st.button("Open", key=f"open_{kept.id}", on_click=state.open_job, args=(kept.id,))


def _simulated() -> None:
    part = state.simulated()
    text, picture = st.columns([5, 4], gap="medium")
    with text:
        show.sentence(
            "Nothing spins here: the bench is simulated and its parts are invented. They belong to a six-arm "
            "coastal-survey craft with 12-inch propellers, and each hides an unbalance. You find it as on a "
            "real bench, with an accelerometer and a pick-up that sees a mark once per turn, and at the end "
            "you may look at what was hidden."
        )
        st.segmented_control(
            "Part",
            list(_SIMULATED),
            format_func=_SIMULATED.__getitem__,
            required=True,
            key=state.SIMULATED_KIND,
            persist_state="session",
        )
        st.number_input(
            "Which one of them",
            min_value=0,
            max_value=LARGEST,
            key=state.NUMBER,
            persist_state="session",
            help="Every number is another part: another unbalance, perhaps another way of turning.",
        )
        boxes.tape_choice()
        st.button("Begin", type="primary", key="begin", on_click=state.begin_simulated)
    with picture:
        show.drawing(words.bare_drawing(part, direction()))


def _own() -> None:
    show.sentence(
        "For runs of your own: recordings of an accelerometer, or readings typed in, with or without phase. "
        "Blade 1 stands at the mark."
    )
    with st.container(border=True):
        with st.container(horizontal=True):
            kind = show.choice("What it is", _SIMULATED, state.KIND)
            show.choice("It turns, seen from the front", words.HANDS, state.HAND)
        _about()
        _places(kind)
        boxes.tape_choice()
        with st.expander("The stand"):
            one, other = st.columns(2)
            with one:
                st.text_input("Name of the stand", max_chars=80, key=state.STAND, persist_state="session")
            with other:
                note = "Motor, part, holder and sensor together. It sizes the trial piece."
                show.number("Mass of all that shakes (g)", state.MOVING, 0.1, 100_000.0, note=note)
    st.button("Begin", type="primary", key="begin", on_click=state.begin_own)


def _about() -> None:
    name, mass, rpm, grade = st.columns(4)
    with name:
        st.text_input("What is written on it", max_chars=80, key=state.NAME, persist_state="session")
    with mass:
        note = "Of a propeller on its motor: propeller, bell and what holds them."
        show.number("Mass of all that turns (g)", state.MASS, 0.1, 5000.0, note=note)
    with rpm:
        show.number("Speed of the runs (rpm)", state.RPM, 60.0, 60_000.0, step=100.0, form="%.0f")
    with grade:
        note = "G6.3 is usual for fans, G2.5 is finer. ISO 21940-11 does not list model propellers."
        show.number("Grade asked for (mm/s)", state.GRADE, 0.1, 100.0, usual=6.3, step=0.1, note=note)


def _places(kind: str) -> None:
    if kind == "bell":
        show.number("Radius of the rim, where tape goes (mm)", state.RING, 1.0, 200.0)
        return
    blades, inner, outer, ring = st.columns(4)
    with blades:
        st.number_input("Blades", 2, 6, 2, key=state.BLADES, persist_state="session")
    with inner:
        show.number("Tape may lie from (mm)", state.INNER, 1.0, 1000.0, note="Radius from the shaft.")
    with outer:
        show.number("Tape may lie to (mm)", state.OUTER, 1.0, 1000.0, note="Radius from the shaft.")
    with ring:
        note = "Leave it empty if no tape may go there."
        show.number("Radius of hub or bell rim (mm)", state.RING, 1.0, 200.0, note=note)

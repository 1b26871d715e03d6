"""The form of a job on a part of the person's own: a part of the history, or one that is typed."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.guided import boxes, link_words, state
from balancer.app.guided.begin import NEW, NONE, Chosen, Offer, chosen, offer, total_known
from balancer.app.plain import plain
from balancer.app.state import direction, get, home
from balancer.errors import BalancerError
from balancer.figures.dial import HAND_WORDS
from balancer.history.records.machine import LONGEST_NAME
from balancer.procedure.part import Kind

KINDS = {"propeller": "Propeller on its motor", "bell": "Bare motor bell"}
"""What is balanced, as it is called where a job begins."""

_ANY = {"any": "All", "propeller": "Propellers", "bell": "Bells"}
_AFTER = {"once": "For this job only", "keep": "Keep it among my parts"}


def form() -> None:
    """Show the form."""
    try:
        offered = offer(home(), _kind_wanted())
        _choice(offered)
        found = None if state.part_chosen() == NEW else chosen(home(), state.part_chosen())
    except BalancerError as error:
        st.error(plain(str(error)))
        return
    with st.container(border=True):
        if found is None:
            _new(offered)
        else:
            _known(found, offered)
        boxes.tape_choice()
        _stand(offered)
    st.button("Begin", type="primary", key="begin", on_click=state.begin_own)


def _kind_wanted() -> Kind | None:
    wanted: dict[str, Kind] = {"propeller": "propeller", "bell": "bell"}
    return wanted.get(get(state.PART_KIND))


def _choice(offered: Offer) -> None:
    """Let a part of the history be chosen, where there is one."""
    asked = state.part_chosen()
    if not offered.total and asked == NEW and _kind_wanted() is None:
        return
    options = {NEW: "A new part"} | {one.id: link_words.part_option(one, offered) for one in offered.parts}
    if asked not in options:  # beyond what is listed, or asked for by the address
        options[asked] = link_words.part_label(home(), asked) or "No part of the history"
    state.usual(state.PART_KIND, "any")
    state.usual(state.PART, NEW)
    st.segmented_control(
        "Parts offered",
        list(_ANY),
        format_func=_ANY.__getitem__,
        required=True,
        key=state.PART_KIND,
        persist_state="session",
        label_visibility="collapsed",
    )
    st.selectbox(
        "Which part",
        list(options),
        format_func=options.__getitem__,
        key=state.PART,
        on_change=state.note_part,
        persist_state="session",
    )
    if offered.total > len(offered.parts):
        show.small(link_words.more_parts(offered))


def _known(found: Chosen, offered: Offer) -> None:
    """Ask for what the history does not tell of a part."""
    part = found.part
    show.points(link_words.chosen_lines(found, direction()))
    bell = _bell(offered, found.bell) if part.kind == "propeller" else None
    speed, mass = st.columns([1, 2])  # no empty third one: on a phone it would be a gap
    with speed:
        show.number(
            "Speed of the runs (rpm)",
            state.for_part(state.RPM),
            60.0,
            60_000.0,
            usual=found.rpm,
            step=100.0,
            form="%.0f",
        )
    if not total_known(part.kind, part.mass, bell):
        with mass:
            _mass(state.for_part(state.MASS))
    if found.hand is None:
        show.choice("It turns, seen from the front", HAND_WORDS, state.HAND)
    if part.places is None:
        _places(part.kind)


def _bell(offered: Offer, usual: str) -> float | None:
    """Let the bell below a propeller be chosen, and give its mass in kg, None if that is not known."""
    bells = {one.id: one for one in offered.bells}
    names = {id: link_words.bell_option(one) for id, one in bells.items()} | {NONE: "None of these"}
    key = state.for_part(state.BELL)
    state.usual(key, usual if usual in names else NONE)
    st.selectbox(
        "Bell that it stands on, both marks in line",
        list(names),
        format_func=names.__getitem__,
        key=key,
        persist_state="session",
    )
    there = bells.get(state.bell_chosen())
    return None if there is None else there.mass


def _new(offered: Offer) -> None:
    show.sentence(
        "For runs of your own: recordings of an accelerometer, or readings typed in, with or without phase."
    )
    with st.container(horizontal=True):
        kind = show.choice("What it is", KINDS, state.KIND)
        show.choice("It turns, seen from the front", HAND_WORDS, state.HAND)
    keeps = show.choice("The part", _AFTER, state.AFTER) == "keep"
    bell = _bell(offered, NONE) if keeps and kind == "propeller" and offered.bells else None
    name, mass, rpm, grade = st.columns(4)
    with name:
        most = 12 if keeps else 80
        label = "Label, up to 12 characters" if keeps else "What is written on it"
        st.text_input(label, max_chars=most, key=state.NAME, persist_state="session")
    with mass:
        if not total_known("propeller", get(state.OWN_MASS), bell):
            _mass(state.MASS)
    with rpm:
        show.number("Speed of the runs (rpm)", state.RPM, 60.0, 60_000.0, step=100.0, form="%.0f")
    with grade:
        note = "G6.3 is usual for fans, G2.5 is finer. ISO 21940-11 does not list model propellers."
        show.number("Grade asked for (mm/s)", state.GRADE, 0.1, 100.0, usual=6.3, step=0.1, note=note)
    if keeps and kind == "propeller":
        _sizes()
    _places("bell" if kind == "bell" else "propeller")


def _mass(key: str) -> None:
    note = "Of a propeller on its motor: propeller, bell and what holds them."
    show.number("Mass of all that turns (g)", key, 0.1, 5000.0, note=note)


def _sizes() -> None:
    """Ask for what the history keeps of a propeller."""
    unit, diameter, mass, _ = st.columns(4)
    with unit:
        boxes.length_choice(state.DIAMETER)
    with diameter:
        boxes.diameter(state.DIAMETER, note="From tip to tip; an inch is 25.4 mm.")
    with mass:
        note = "Without the bell. It may stay empty if the mass of all that turns is given."
        show.number("Mass of the propeller alone (g)", state.OWN_MASS, 0.1, 2000.0, note=note)


def _places(kind: Kind) -> None:
    ring_key = state.for_part(state.RING)
    if kind != "propeller":
        show.number("Radius of the rim, where tape goes (mm)", ring_key, 1.0, 200.0)
        return
    blades, first, inner, outer, ring = st.columns(5)
    if state.part_chosen() == NEW:
        with blades:
            st.number_input("Blades", 2, 6, 2, key=state.BLADES, persist_state="session")
    with first:
        note = "From the mark; 0 if it stands at the mark."
        label = f"Blade 1 stands at (°, {direction()} the rotation)"
        show.number(label, state.first_key(), -360.0, 360.0, step=5.0, note=note)
    with inner:
        note = "Radius from the shaft."
        show.number("Tape may lie from (mm)", state.for_part(state.INNER), 1.0, 1000.0, note=note)
    with outer:
        show.number("Tape may lie to (mm)", state.for_part(state.OUTER), 1.0, 1000.0, note=note)
    with ring:
        note = "Leave it empty if no tape may go there."
        show.number("Radius of hub or bell rim (mm)", ring_key, 1.0, 200.0, note=note)


def _stand(offered: Offer) -> None:
    names = {one.id: link_words.stand_option(one) for one in offered.stands}
    with st.expander("The stand", expanded=bool(names)):
        if names:
            names |= {NEW: "A new stand", NONE: "None: nothing is kept of it"}
            state.usual(state.STAND_CHOICE, offered.last_stand if offered.last_stand in names else NEW)
            st.selectbox(
                "Which stand",
                list(names),
                format_func=names.__getitem__,
                key=state.STAND_CHOICE,
                persist_state="session",
            )
            if (get(state.STAND_CHOICE) or NEW) != NEW:
                return
        one, other = st.columns(2)
        with one:
            st.text_input(
                "Name of the stand", max_chars=LONGEST_NAME, key=state.STAND, persist_state="session"
            )
        with other:
            note = "Motor, part, holder and sensor together. It sizes the trial piece."
            show.number("Mass of all that shakes (g)", state.MOVING, 0.1, 100_000.0, note=note)

"""What a person says of a part: what it is, where it is, what happened to it, that nothing is on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

import streamlit as st

from balancer.app import show
from balancer.app.parts import state
from balancer.app.parts.entries import TypedPart
from balancer.app.parts.words import HANDS, HAPPENED, KINDS, STATES
from balancer.app.plain import plain
from balancer.app.state import direction
from balancer.history.machines import list_machines
from balancer.history.records.machine import Machine
from balancer.history.records.part import LONGEST_LABEL, PartRecord

_NEW = TypedPart(grade=6.3)
_UNITS = {"in": "inches", "mm": "mm"}
_FACES = {2: "both faces", 1: "one face"}
_PLACES = {"usual": "These places", "more": "More about the places"}
_WORDS = 400
_BOX, _WIDE_BOX = 150, 235  # px: two beside each other on a phone
_PHOTO_MB = 10


def add() -> None:
    """Add a part."""
    form = "add"

    def boxes() -> None:
        state.fill(form, _NEW)
        kind = _choice("What it is", KINDS, form, "kind", required=True)
        _what(form, kind or "propeller")
        where = _choice("Where it is", {one: STATES[one] for one in ("spare", "fitted")}, form, "state")
        if where == "fitted":
            _arm(form, list_machines(state.store()))
        _end(form, "Add this part", state.add, (form,), primary=True)

    _box("Add a part", form, boxes)


def change(part: PartRecord) -> None:
    """Change what is said of a part."""
    form = f"change_{part.id}"

    def boxes() -> None:
        state.fill(form, TypedPart.of(part))
        _what(form, part.kind)
        st.file_uploader(
            "A photo of it (JPEG, PNG or WebP)",
            type=["jpg", "jpeg", "png", "webp"],
            key=state.key(form, "photo"),
            max_upload_size=_PHOTO_MB,
        )
        _end(form, "Change it", state.change, (form, part))

    _box("Change what is said of it", form, boxes)


def move(part: PartRecord) -> None:
    """Say where a part is."""
    form = f"move_{part.id}"

    def boxes() -> None:
        if _choice("It is now", STATES, form, "state") == "fitted":
            _arm(form, list_machines(state.store()))
            if part.kind == "propeller":
                _turned(form)
        _text("What there is to say about it", form, "words", _WORDS)
        _end(form, "It is there now", state.move, (form, part))

    _box("Say where it is now", form, boxes)


def happened(part: PartRecord) -> None:
    """Say what happened to a part."""
    form = f"happened_{part.id}"

    def boxes() -> None:
        _choice("What happened", HAPPENED, form, "kind")
        st.date_input(
            "On which day",
            "today",
            max_value="today",
            key=state.key(form, "day"),
            format="YYYY-MM-DD",
            width=220,
            persist_state="session",
        )
        _text("What there is to say about it", form, "words", _WORDS)
        _end(form, "Keep it in the story", state.happened, (form, part))
        show.small("A job that is kept says by itself that the part was balanced or checked.")

    _box("Say what happened to it", form, boxes)


def _box(label: str, form: str, boxes: Callable[[], None]) -> None:
    """Show a form in a box that closes once it was kept, and stands open where something is in the way."""
    show.box(label, state.key(form, "box"), boxes, expanded=bool(state.trouble(form)))


def bare(part: PartRecord) -> None:
    """Say that all pieces are off."""
    form = f"bare_{part.id}"
    if not part.pieces:
        return
    with st.popover("All pieces are off", key=state.key(form, "ask")):
        show.sentence(
            "Is there really nothing on it any more? What was known of its balance then no longer holds."
        )
        st.button("Yes, nothing is on it", key=state.key(form, "do"), on_click=state.bare, args=(form, part))
    told(form)


def _what(form: str, kind: str) -> None:
    """Ask what a part is: what is written on it first, then its sizes, then where masses may go."""
    with st.container(horizontal=True):
        note = f"What you write on its tape: up to {LONGEST_LABEL} characters."
        _text("Label", form, "label", LONGEST_LABEL, note, width=_BOX)
        _number("Mass, part alone (g)", form, "mass_g", 0.1, 5000.0, note="Weighed; it can be said later.")
        note = "G6.3 is usual for fans, G2.5 is finer. ISO 21940-11 does not list model propellers."
        _number("Grade (mm/s)", form, "grade", 0.1, 100.0, 0.1, note=note)
    if kind == "propeller":
        _propeller(form)
    elif kind == "bell":
        _bell(form)
    _places(form, kind)
    _text("What else there is to say", form, "words", _WORDS)


def _propeller(form: str) -> None:
    with st.container(horizontal=True):
        _choice("It turns, seen from the front", HANDS, form, "hand")
        unit = _choice("Diameter and pitch in", _UNITS, form, "unit", required=True) or "in"
    with st.container(horizontal=True):
        _number(f"Diameter ({unit})", form, "diameter", 0.5, 2000.0)
        _number(f"Pitch ({unit})", form, "pitch", 0.1, 2000.0, note="It can be left out.")
        _whole("Blades", form, "blades", 2, 12)
        _text("Material", form, "material", 60, width=_WIDE_BOX)


def _bell(form: str) -> None:
    with st.container(horizontal=True):
        _number("Radius of the rim (mm)", form, "rim_mm", 1.0, 200.0)
        _whole("Magnets", form, "magnets", 2, 200)
        _text("Size of the motor", form, "motor", 60, "As its maker says.", width=_WIDE_BOX)


def _places(form: str, kind: str) -> None:
    st.markdown("**Where masses may go** (a job needs it; it can be said later)")
    with st.container(horizontal=True):
        if kind == "propeller":
            note = "On a blade; a radius from the shaft."
            _number("Tape from (mm)", form, "inner_mm", 1.0, 1000.0, note=note)
            _number("Tape to (mm)", form, "outer_mm", 1.0, 1000.0, note=note)
            note = "Leave it empty if no tape may go there."
            _number("Hub radius (mm)", form, "ring_mm", 1.0, 200.0, note=note)
        else:
            note = "Where tape goes round it."
            _number("Ring radius (mm)", form, "ring_mm", 1.0, 200.0, note=note)
    if _choice("Places", _PLACES, form, "more", usual="usual", quiet=True) == "more":
        _more_places(form, kind)


def _more_places(form: str, kind: str) -> None:
    with st.container(horizontal=True):
        if kind == "propeller":
            _number("Best radius (mm)", form, "usual_mm", 1.0, 1000.0, note="Where tape is liked best.")
            note = "The back of a blade, in its outer third only."
            _number("Sand from (mm)", form, "sand_mm", 1.0, 1000.0, note=note)
            _choice("Tape on", _FACES, form, "faces")
    with st.container(horizontal=True):
        _whole("Slots of the ring", form, "slots", 1, 99)
        _number("Each so wide (°)", form, "slot_deg", 0.0, 360.0)
        _whole("Screw heads", form, "screws", 1, 99)
        _number("Their radius (mm)", form, "screw_mm", 1.0, 200.0)
        note = "Of the first blade, slot and screw, from the mark; however angles count elsewhere."
        _number("First angle (°, against the rotation)", form, "first_deg", -360.0, 360.0, note=note)


def _arm(form: str, machines: Sequence[Machine]) -> None:
    """Ask for machine and arm."""
    if not machines:
        show.small("There is no machine yet: add it under “Machines” on the list of parts.")
        return
    by_id = {machine.id: machine for machine in machines}
    which, where = st.columns(2)
    with which:
        st.selectbox(
            "Machine",
            list(by_id),
            index=0 if len(machines) == 1 else None,
            format_func=lambda id: by_id[id].name,
            key=state.key(form, "machine"),
            persist_state="session",
        )
    chosen = by_id.get(state.get(form, "machine"))
    if chosen is not None:
        with where:
            st.selectbox(
                "Arm",
                [arm.number for arm in chosen.arms],
                index=None,
                format_func=lambda number: f"{number}, {HANDS[chosen.arm(number).hand].lower()}",
                key=state.key(form, "arm"),
                persist_state="session",
            )


def _turned(form: str) -> None:
    """Ask how a propeller is turned on its hub."""
    st.number_input(
        "Its mark from that of the bell (°)",
        0.0,
        359.9,
        None,
        1.0,
        "%.0f",
        key=state.turned_key(form),
        placeholder="not known",
        help=f"Counted {direction()} the rotation, seen from the front: 0 in line, 180 opposite. Where it is "
        "not known, matching takes the marks to be in line.",
        width=_WIDE_BOX,
        persist_state="session",
    )


def _end(
    form: str,
    label: str,
    work: Callable[..., None],
    seen: tuple[object, ...],
    *,
    primary: bool = False,
) -> None:
    told(form)
    st.button(
        label,
        type="primary" if primary else "secondary",
        key=state.key(form, "do"),
        on_click=work,
        args=seen,
    )


def done() -> None:
    """Show what the last click did; the place for it is always there, so that what follows stays as it is."""
    with st.container():
        said = state.done()
        if said:
            st.success(plain(said))


def told(form: str) -> None:
    """Show why the last click of a form changed nothing."""
    with st.container():
        if state.trouble(form):
            st.error(plain(state.trouble(form)))


def _choice(
    label: str,
    options: Mapping[Any, str],
    form: str,
    name: str,
    *,
    usual: Any = None,
    required: bool = False,
    quiet: bool = False,
) -> Any:
    return st.segmented_control(
        label,
        list(options),
        default=usual,
        format_func=options.__getitem__,
        required=required or usual is not None,
        key=state.key(form, name),
        label_visibility="collapsed" if quiet else "visible",
        persist_state="session",
    )


def _text(
    label: str,
    form: str,
    name: str,
    longest: int,
    note: str = "",
    *,
    width: int | Literal["stretch"] = "stretch",
) -> None:
    st.text_input(
        label,
        max_chars=longest,
        key=state.key(form, name),
        help=note or None,
        width=width,
        persist_state="session",
    )


def _number(
    label: str, form: str, name: str, least: float, most: float, step: float = 1.0, *, note: str = ""
) -> None:
    st.number_input(
        label,
        least,
        most,
        None,
        step,
        key=state.key(form, name),
        help=note or None,
        width=_BOX,
        persist_state="session",
    )


def _whole(label: str, form: str, name: str, least: int, most: int) -> None:
    key = state.key(form, name)
    st.number_input(label, least, most, None, 1, key=key, width=_BOX, persist_state="session")

"""What is asked about a recording: what its file leaves open, and what else the person knows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, cast

import streamlit as st

from balancer.app import show
from balancer.app.recordings import state
from balancer.app.recordings.service import (
    FILE_MB,
    Kind,
    Overview,
    Reading,
    Upload,
    digest_of,
    overview,
    read_upload,
)
from balancer.app.state import get
from balancer.app.waiting import when_done
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Recording
from balancer.units import rad_s_from_rpm

BOX = 320
"""Width in px of a box for one number."""

_KEPT = 4  # recordings kept for all who look: some are large
_KINDS = {
    "": "find out",
    "running": "a running rotor",
    "taps": "taps, nothing turning",
    "still": "sensor at rest",
}


@dataclass(frozen=True)
class Said:
    """What the person says beyond the file itself."""

    marks: Upload | None
    kind: Kind | None
    rpm: float | None


def say_more(key: str) -> Said:
    """Offer what helps when a file was taken for the wrong thing, or its marks lie elsewhere."""
    kind, rpm = f"recordings_kind_{key[:8]}", f"recordings_rpm_{key[:8]}"

    def boxes() -> None:
        st.segmented_control(
            "What was recorded",
            list(_KINDS),
            default="",
            format_func=_KINDS.__getitem__,
            required=True,
            key=kind,
            persist_state="session",
        )
        st.number_input(
            "Expected speed (rpm), for a recording without marks",
            100.0,
            60000.0,
            None,
            100.0,
            "%.0f",
            key=rpm,
            persist_state="session",
            placeholder="found by itself if clear",
            width=BOX,
        )
        _marks(key)

    show.box("Say more about this file", f"recordings_more_{key[:8]}", boxes)
    return Said(state.marks(key), cast(Kind | None, get(kind) or None), get(rpm))


def _marks(key: str) -> None:
    """Offer to take the mark times from a file of their own."""
    kept = state.marks(key)
    if kept is not None:
        with st.container(horizontal=True, vertical_alignment="center"):
            show.sentence(f"Mark times from {kept.name}")
            st.button("Leave them out", key="recordings_no_marks", on_click=state.forget_marks, args=(key,))
        return
    box = f"recordings_marks_{key[:8]}"
    st.file_uploader(
        "Mark times from a second file: one time a line, on the clock of the recording",
        key=box,
        max_upload_size=FILE_MB,
        on_change=state.keep_marks,
        args=(key, box),
    )


def read(
    key: str, file: Upload, marks: Upload | None, *, hints: Hints = NOTHING, prefix: str = "recordings"
) -> tuple[str, Reading]:
    """Read a file, asking what it leaves open until it can be read; the key grows with what was said.

    The boxes have keys of their own for every file and every `prefix`, which names the page that asks;
    `hints` is what was said of it before.
    """
    asked = list[str]()
    while True:
        whole = f"{key} {hints} {'' if marks is None else digest_of(marks)}"
        reading = _read(whole, file, hints, marks)
        fresh = [question for question in reading.questions if question not in asked]
        if not fresh:
            return whole, reading
        asked += fresh
        said = {question: _ask(question, key, prefix) for question in fresh}
        hints = replace(hints, **{name: answer for name, answer in said.items() if answer is not None})
        if all(answer is None for answer in said.values()):
            return whole, reading


def _ask(question: str, key: str, prefix: str) -> Any:
    """Show the box for one field of the hints."""
    name = f"{prefix}_{question}_{key[:8]}"
    choices: dict[str, tuple[str, dict[str, str]]] = {
        "time_unit": ("Time unit", {"s": "s", "ms": "ms", "us": "µs", "ns": "ns"}),
        "unit": ("Unit of the accelerations", {"m/s^2": "m/s²", "g": "g", "mg": "mg"}),
        "stamps": ("Time stamps", {"sensor": "of sampling", "arrival": "of arrival"}),
    }
    if question in choices:
        label, options = choices[question]
        return st.segmented_control(
            label, list(options), format_func=options.__getitem__, key=name, persist_state="session"
        )
    if question == "mark_channel":
        return st.number_input(
            "Channel of the mark", 0, 64, None, key=name, persist_state="session", help="From 1; 0 for none."
        )
    label, note = {
        "rate": ("Samples a second", "As the sensor was set."),
        "wav_scale": ("Full scale (m/s²)", "Acceleration at the full scale of the sound file."),
    }[question]
    return st.number_input(label, 1e-3, 1e6, None, key=name, persist_state="session", help=note)


def look(key: str, recording: Recording, said: Said, near: float | None = None) -> Overview | None:
    """Look at a recording as what the person says it is; None while that is still at work.

    Without a speed of the person's, `near` in rad/s is the expected one.
    """
    near = near if said.rpm is None else rad_s_from_rpm(said.rpm)
    return cast(
        Overview | None,
        when_done((key, said.kind, near), lambda: overview(recording, said.kind, near), "It is measured."),
    )


# recordings are frozen: kept as they are, not copied at every look
@st.cache_resource(max_entries=_KEPT, show_spinner="Reading")
def _read(key: str, _file: Upload, _hints: Hints, _marks: Upload | None) -> Reading:
    return read_upload(_file, _hints, _marks)

"""What the page of recordings asks: which file, what it leaves open, what else the person knows."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any, cast

import streamlit as st

from balancer.app.recordings.examples import RUN_UP, STEADY, example_stream
from balancer.app.recordings.service import Kind, Overview, Reading, Upload, numbered, overview, read_upload
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Recording
from balancer.units import rad_s_from_rpm

FILE_MB = 50
BOX = 320
"""Width in px of a box for one number."""

_KEPT = 12  # files and results kept for all who look
_OWN = "files"
_SOURCES = {_OWN: "My files", STEADY: "Example: steady run", RUN_UP: "Example: run-up"}
_KINDS = {
    "": "find out",
    "running": "a running rotor",
    "taps": "taps, nothing turning",
    "still": "sensor at rest",
}


def choose() -> tuple[str, Upload] | None:
    """Let the person hand in files or take an example; give the one to show, with a key for its widgets."""
    source = st.segmented_control(
        "Recordings from",
        list(_SOURCES),
        default=_OWN,
        format_func=_SOURCES.__getitem__,
        required=True,
        key="recordings_source",
        label_visibility="collapsed",
        persist_state="session",
    )
    if source != _OWN:
        st.caption("Made on the simulated bench with an invented build: nothing turned for it.")
        file = Upload(*_example(source))
        return _digest(file), file
    files = st.file_uploader(
        "Recordings: the stream of a board, the table (CSV) of a phone or a logger, or a WAV file",
        accept_multiple_files=True,
        max_upload_size=FILE_MB,
        key="recordings_files",
    )
    if not files:
        return None
    names = numbered([file.name for file in files])
    chosen = 0
    if len(files) > 1:
        chosen = st.selectbox(
            "Recording shown", range(len(files)), format_func=names.__getitem__, key="recordings_shown"
        )
    file = Upload(files[chosen].name, files[chosen].getvalue())
    return _digest(file), file


@dataclass(frozen=True)
class Said:
    """What the person says beyond the file itself."""

    marks: Upload | None
    kind: Kind | None
    rpm: float | None


def say_more(key: str) -> Said:
    """Offer what helps when a file was taken for the wrong thing, or its marks lie elsewhere."""
    with st.expander("Say more about this file"):
        kind = st.segmented_control(
            "What was recorded",
            list(_KINDS),
            default="",
            format_func=_KINDS.__getitem__,
            required=True,
            key=f"recordings_kind_{key[:8]}",
            persist_state="session",
        )
        rpm = st.number_input(
            "Expected speed (rpm), for a recording without marks",
            100.0,
            60000.0,
            None,
            100.0,
            "%.0f",
            key=f"recordings_rpm_{key[:8]}",
            persist_state="session",
            placeholder="found by itself if clear",
            width=BOX,
        )
        file = st.file_uploader(
            "Mark times from a second file: one time a line, on the clock of the recording",
            key=f"recordings_marks_{key[:8]}",
            max_upload_size=FILE_MB,
        )
    return Said(
        None if file is None else Upload(file.name, file.getvalue()), cast(Kind | None, kind or None), rpm
    )


def read(key: str, file: Upload, marks: Upload | None) -> tuple[str, Reading]:
    """Read a file, asking what it leaves open until it can be read; the key grows with what was said."""
    hints, asked = NOTHING, list[str]()
    while True:
        whole = f"{key} {hints} {'' if marks is None else _digest(marks)}"
        reading = _read(whole, file, hints, marks)
        fresh = [question for question in reading.questions if question not in asked]
        if not fresh:
            return whole, reading
        asked += fresh
        said = {question: _ask(question, key) for question in fresh}
        hints = Hints(**{**vars(hints), **said})
        if all(answer is None for answer in said.values()):
            return whole, reading


def _ask(question: str, key: str) -> Any:
    """Show the box for one field of the hints."""
    name = f"recordings_{question}_{key[:8]}"
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
        "wav_scale": ("Full scale", "Acceleration in m/s² at the full scale of the sound file."),
    }[question]
    return st.number_input(label, 1e-3, 1e6, None, key=name, persist_state="session", help=note)


def look(key: str, recording: Recording, said: Said) -> Overview:
    """Look at a recording as what the person says it is."""
    return _overview(key, said.kind, said.rpm, recording)


def _digest(file: Upload) -> str:
    return hashlib.blake2b(file.data, digest_size=12, person=b"recording").hexdigest() + " " + file.name


@st.cache_data(max_entries=4, show_spinner="Running the simulated bench")
def _example(which: str) -> tuple[str, bytes]:
    return example_stream(which)


# recordings are frozen: kept as they are, not copied at every look
@st.cache_resource(max_entries=_KEPT, show_spinner="Reading")
def _read(key: str, _file: Upload, _hints: Hints, _marks: Upload | None) -> Reading:
    return read_upload(_file, _hints, _marks)


@st.cache_resource(max_entries=_KEPT, show_spinner="Measuring")
def _overview(key: str, kind: Kind | None, rpm: float | None, _recording: Recording) -> Overview:
    return overview(_recording, kind, None if rpm is None else rad_s_from_rpm(rpm))

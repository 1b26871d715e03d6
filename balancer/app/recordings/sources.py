"""Where a recording on the page comes from: the person's files, the bench, the history, an example."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import streamlit as st

from balancer.app import show
from balancer.app.plain import plain
from balancer.app.recordings import state
from balancer.app.recordings.examples import RUN_UP, STEADY, example_stream
from balancer.app.recordings.service import FILE_MB, Upload, digest_of, numbered
from balancer.app.recordings.stored import Stored, stored
from balancer.errors import BalancerError
from balancer.recording.hints import NOTHING, Hints

_SOURCES = {
    state.OWN: "My files",
    state.BENCH: "From the bench",
    STEADY: "Example: steady run",
    RUN_UP: "Example: run-up",
}
_HINT = (
    "Drop a file to see what is in it: speed, shaking at once per turn, spectrum, and whether it "
    "looks like unbalance. No file at hand? The examples show what a good recording looks like."
)


@dataclass(frozen=True)
class Chosen:
    """The recording to show.

    Parameters
    ----------
    key : str
        For its widgets and results.
    file : Upload
        The file.
    hints : Hints
        With which it was read when it came into the history.
    marks : Upload, optional
        Mark times from a second file that came with it.
    near : float, optional
        Speed in rad/s that was expected then.
    """

    key: str
    file: Upload
    hints: Hints = NOTHING
    marks: Upload | None = None
    near: float | None = None


def choose() -> Chosen | None:
    """Let the person choose where from and which; None, and a word, when there is nothing to show."""
    kept = state.from_address()
    sources = {**_SOURCES, **({state.HISTORY: "From the history"} if kept else {})}
    source = st.segmented_control(
        "Recordings from",
        list(sources),
        format_func=sources.__getitem__,
        required=True,
        key=state.SOURCE,
        on_change=state.source_chosen,
        label_visibility="collapsed",
        persist_state="session",
    )
    if source == state.BENCH:
        return _of_the_bench()
    if source == state.HISTORY:
        return _of_the_history(kept)
    return _example(source) if source in (STEADY, RUN_UP) else _own()


def _own() -> Chosen | None:
    box = state.uploader()
    st.file_uploader(
        "Recordings: the stream of a board, the table (CSV) of a phone or a logger, or a WAV file",
        accept_multiple_files=True,
        max_upload_size=FILE_MB,
        key=box,
        on_change=state.keep_files,
        args=(box,),
    )
    shown = state.shown_file()
    if shown is None:
        st.markdown(_HINT)
        return None
    kept = state.files()
    names = dict(zip([one.key for one in kept], numbered([one.file.name for one in kept]), strict=True))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if len(kept) > 1:
            st.selectbox(
                "Recording shown",
                list(names),
                format_func=names.__getitem__,
                key=state.SHOWN,
                persist_state="session",
            )
        else:
            show.sentence(f"Shown: {shown.file.name}")
        st.button("Forget it", key="recordings_forget", on_click=state.forget_file)
    st.caption("Files stay here until the page is reloaded, and are written nowhere.")
    shown = state.shown_file()
    return None if shown is None else Chosen(shown.key, shown.file)


def _of_the_bench() -> Chosen | None:
    kept = state.bench_files()
    if not kept:
        st.info("Nothing was recorded on the bench yet: the page Live records.")
        return None
    name = st.selectbox(
        "Recorded on the bench",
        list(kept),
        format_func=lambda name: f"{kept[name].started:%d %b %Y, %H:%M:%S}, {kept[name].size / 1e6:.1f} MB",
        key=state.BENCH_SHOWN,
        persist_state="session",
    )
    file = kept[name]
    # never changed once it is there: its name and size stand for its content
    key = hashlib.blake2b(f"{file.name} {file.size}".encode(), digest_size=12).hexdigest()
    try:
        return Chosen(f"{key} {file.name}", state.bench_file(file.path))
    except OSError as error:
        st.error(plain(f"{file.name} cannot be read ({error.strerror})."))
        return None


def _of_the_history(digest: str) -> Chosen | None:
    try:
        found = _stored(digest, str(state.store().home))
    except BalancerError as error:
        st.error(plain(str(error)))
        return None
    show.small(found.words)
    return Chosen(f"{digest} {found.file.name}", found.file, found.hints, found.marks, found.near)


def _example(which: str) -> Chosen:
    st.caption("Made on the simulated bench with an invented build: nothing turned for it.")
    return _made(which)


@st.cache_resource(max_entries=2, show_spinner="Running the simulated bench")
def _made(which: str) -> Chosen:
    file = Upload(*example_stream(which))
    return Chosen(digest_of(file), file)


@st.cache_resource(max_entries=2, show_spinner="Reading")
def _stored(digest: str, home: str) -> Stored:
    return stored(state.store(), digest)

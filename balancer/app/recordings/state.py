"""What the page of recordings remembers: the files handed in, and which recording is shown.

Files stay until the page is reloaded, also while another page is looked at. They are never written anywhere:
whoever wants to keep one has it already.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from balancer.app import services, state
from balancer.app.recordings.service import Upload, digest_of
from balancer.history.store import Store

if TYPE_CHECKING:
    from balancer.app.bench import BenchFile

SOURCE, SHOWN, BENCH_SHOWN = "recordings_source", "recordings_shown", "recordings_bench_shown"
OWN, BENCH, HISTORY = "files", "bench", "history"
MOST_FILES, MOST_BYTES = 12, 100_000_000
"""Kept for one tab; with more, those handed in first go."""

_RECORDING, _ON_BENCH = "recording", "bench"  # in the page's address
_FILES, _ROUND, _MARKS, _ASKED = (f"_recordings_{what}" for what in ("files", "round", "marks", "asked"))


@dataclass(frozen=True)
class KeptFile:
    """A file that was handed in.

    Parameters
    ----------
    key : str
        For its widgets and results: a digest of its content, and its name.
    file : Upload
        The file.
    """

    key: str
    file: Upload


# Files of the person's own


def files() -> tuple[KeptFile, ...]:
    """Give the files that were handed in, in their order."""
    found: tuple[KeptFile, ...] = state.get(_FILES) or ()
    return found


def uploader() -> str:
    """Name the box that takes files: a new one after each time, so that it is empty again."""
    return f"recordings_files_{int(state.get(_ROUND) or 0)}"


def keep_files(key: str) -> None:
    """Take over what lies in the box, and show the first of it."""
    new = [Upload(one.name, one.getvalue()) for one in state.get(key) or ()]
    if not new:
        return
    fresh = {digest_of(file): file for file in new}
    old = [one for one in files() if one.key not in fresh]
    st.session_state[_FILES] = _newest((*old, *(KeptFile(key, file) for key, file in fresh.items())))
    st.session_state[SHOWN] = next(iter(fresh))
    st.session_state[_ROUND] = int(state.get(_ROUND) or 0) + 1


def _newest(kept: tuple[KeptFile, ...]) -> tuple[KeptFile, ...]:
    """Leave out those that came first until the rest is small enough; one always stays."""
    kept = kept[-MOST_FILES:]
    while len(kept) > 1 and sum(len(one.file.data) for one in kept) > MOST_BYTES:
        kept = kept[1:]
    return kept


def shown_file() -> KeptFile | None:
    """Give the file that is shown: the one that was chosen, else the last that came."""
    kept = files()
    if not kept:
        return None
    shown = next((one for one in kept if one.key == state.get(SHOWN)), kept[-1])
    if shown.key != state.get(SHOWN):
        st.session_state[SHOWN] = shown.key
    return shown


@state.told
def forget_file() -> None:
    """Forget the file that is shown, and its mark times."""
    gone = shown_file()
    st.session_state[_FILES] = tuple(one for one in files() if one != gone)
    st.session_state.pop(SHOWN, None)
    if gone is not None:
        st.session_state[_MARKS] = {key: marks for key, marks in _all_marks().items() if key != gone.key}


# Mark times from a second file


def _all_marks() -> dict[str, Upload]:
    found: dict[str, Upload] = state.get(_MARKS) or {}
    return found


def marks(key: str) -> Upload | None:
    """Give the file of mark times that was handed in for a recording."""
    return _all_marks().get(key)


def keep_marks(key: str, box: str) -> None:
    """Take over the mark times that lie in a box, for a recording."""
    one = state.get(box)
    if one is not None:
        kept = {**_all_marks(), key: Upload(one.name, one.getvalue())}
        st.session_state[_MARKS] = dict(list(kept.items())[-MOST_FILES:])


def forget_marks(key: str) -> None:
    """Read a recording without the second file again."""
    st.session_state[_MARKS] = {one: file for one, file in _all_marks().items() if one != key}


# Where recordings come from


def from_address() -> str:
    """Show what the address names, whatever was chosen before; give the digest of a stored recording.

    That is the one that the address names, or named before; empty for none. A recording of the bench is named
    by its file: it is looked for among those that are there, so no name becomes a path.
    """
    for parameter, source in ((_RECORDING, HISTORY), (_ON_BENCH, BENCH)):
        asked = st.query_params.get(parameter, "")
        if asked and asked != state.get(f"{_ASKED}_{source}"):
            st.session_state[f"{_ASKED}_{source}"] = asked
            st.session_state[SOURCE] = source
            if source == BENCH:
                st.session_state[BENCH_SHOWN] = asked
    st.session_state.setdefault(SOURCE, OWN)
    return str(state.get(f"{_ASKED}_{HISTORY}") or "")


def source_chosen() -> None:
    """Let the address name what is chosen, so that a reload shows it again."""
    state.forget_problem()
    st.query_params.pop(_ON_BENCH, None)
    if state.get(SOURCE) == HISTORY:
        st.query_params[_RECORDING] = str(state.get(f"{_ASKED}_{HISTORY}"))
    else:
        st.query_params.pop(_RECORDING, None)


def store() -> Store:
    """Give the history of the person."""
    return services.store(state.home())


def bench_files() -> dict[str, BenchFile]:
    """Give what the bench recorded and is still there by name, the latest first; one of them is shown."""
    kept = {file.name: file for file in services.bench(state.home()).recordings()}
    if state.get(BENCH_SHOWN) not in kept:  # the oldest go when a new one begins
        st.session_state.pop(BENCH_SHOWN, None)
    return kept


def bench_file(path: Path) -> Upload:
    """Read one of these."""
    return Upload(path.name, path.read_bytes())

"""What the guided job shows in more than one place: choice of tape, box for recordings, polar picture."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.guided import state, words
from balancer.app.guided.changes import Upload
from balancer.app.guided.keeping import Kept
from balancer.app.plain import plain
from balancer.core.tape import USUAL_DENSITIES

_FILE_MB = 50


def tape_choice() -> None:
    """Let the person choose the tape, or say what a weighed strip of it weighs."""
    with st.expander("Your tape"):
        kind = st.selectbox(
            "Kind",
            [*USUAL_DENSITIES, "weighed"],
            index=2,
            format_func=_tape_name,
            key=state.TAPE_KIND,
            persist_state="session",
        )
        show.number("Width (mm)", state.TAPE_WIDTH, 1.0, 50.0, usual=10.0)
        if kind == "weighed":
            show.number("Length of the weighed strip (mm)", state.STRIP_LENGTH, 1.0, 5000.0, step=10.0)
            show.number("Its mass (g)", state.STRIP_MASS, 0.001, 100.0, step=0.01, form="%.3f")
        else:
            st.caption("The mass of listed tapes is a guess. A weighed strip of your own roll is better.")


def _tape_name(kind: str) -> str:
    return "my own: I weighed a strip" if kind == "weighed" else f"{kind} tape"


def recording_box(label: str, key: str) -> None:
    """Take a recording in, and say what was understood of it."""
    st.file_uploader(label, key=key, on_change=state.keep_upload, args=(key,), max_upload_size=_FILE_MB)
    found = state.upload(key)
    if isinstance(found, Upload):
        show.small(found.words)
    elif found is not None:
        st.error(plain(found))


def polar(kept: Kept, svg: str | None) -> None:
    """Show the runs as vectors, on the axis that the person chooses."""
    if svg is None:
        show.small(words.no_polar_text(kept.job))
        return
    show.drawing(svg)
    show.small(
        "1x is the shaking at once per turn. A long arrow is hard shaking; where it points says when in the "
        "turn. The nearer to the centre, the better. A shaded ellipse holds the true value 95 times of 100."
    )
    names = words.channels(kept.job)
    if len(names) > 1:
        st.segmented_control(
            "Sensor axis shown",
            range(len(names)),
            default=state.channel(kept.job),
            format_func=lambda n: plain(names[n]),
            required=True,
            key=state.CHANNEL,
        )

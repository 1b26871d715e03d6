"""What the guided job shows in more than one place: choice of tape, box for recordings, polar picture."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import show
from balancer.app.guided import state, words
from balancer.app.guided.changes import Upload
from balancer.app.guided.keeping import Kept
from balancer.app.guided.run_files import RunFile
from balancer.app.plain import Refusal, plain, with_signs
from balancer.core.tape import USUAL_DENSITIES

_FILE_MB = 50
_LENGTHS = {"mm": "mm", "in": "inches"}


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


def length_choice(key: str) -> None:
    """Let the person choose the unit of the diameter that is asked for under a key."""
    show.choice("Diameter in", _LENGTHS, state.length_unit_key(key))


def diameter(key: str, note: str = "") -> None:
    """Ask for the diameter of a propeller, in the unit that was chosen for it."""
    unit = state.length_unit(key)
    least, most = (0.5, 80.0) if unit == "in" else (10.0, 2000.0)
    show.number(f"Diameter ({unit})", state.length_key(key), least, most, note=note)


def _tape_name(kind: str) -> str:
    return "my own: I weighed a strip" if kind == "weighed" else f"{kind} tape"


def group(head: str, short: Sequence[str], lines: Sequence[str], *, key: str) -> None:
    """Write what is done with some pieces: large in few words where there are any, else as it stands."""
    with st.container(key=key, gap="xsmall"):
        st.markdown(f"**{head}**")
        if not short:
            show.points(lines)
            return
        with st.container(key=f"{key}_large", gap="xsmall"):
            for line in short:
                st.markdown(f"**{plain(with_signs(line))}**")


def style() -> None:
    """Make what is read from afar large: the step, and what goes on; the part's name is known already."""
    st.html(
        "<style>.st-key-head h1{font-size:1.75rem;padding:.5rem 0}"
        "[data-testid=stMain] h2{font-size:clamp(1.9rem,3.4vw,2.9rem)}"
        "[class*=_large] p{font-size:clamp(1.4rem,2vw,1.9rem);line-height:1.2}"
        "[class*=st-key-group_] li{font-size:.9rem;margin-bottom:0}"
        "[data-testid=stMetricValue]{font-size:2rem}</style>"
    )


def recording_box(label: str, key: str) -> None:
    """Take a recording in, ask what its file leaves open, and say what was understood of it."""
    # the start page need not wait for what reads files
    from balancer.app.recordings import ask  # noqa: PLC0415
    from balancer.app.recordings.service import Upload as File  # noqa: PLC0415
    from balancer.app.recordings.service import digest_of  # noqa: PLC0415

    uploaded = st.file_uploader(label, key=key, max_upload_size=_FILE_MB)
    if uploaded is None:
        state.keep_upload(key, None)
        return
    file = File(uploaded.name, uploaded.getvalue())
    times = _marks(key)
    marks = None if times is None else File(*times)
    _, reading = ask.read(digest_of(file), file, marks, prefix=key)
    if isinstance(reading.outcome, Refusal):
        state.keep_upload(key, reading.outcome.text)
        # what can be answered is asked, above; all else is refused
        (st.info if reading.questions else st.error)(plain(reading.outcome.text))
        return
    found = Upload.of_recording(file.name, reading.outcome)
    state.keep_upload(key, (found, RunFile(file.name, file.data, reading.hints, times)))
    show.small(found.words)


def _marks(key: str) -> tuple[str, bytes] | None:
    """Offer to take the mark times from a file of their own."""
    with st.expander("The marks are in a second file"):
        file = st.file_uploader(
            "One time a line, on the clock of the recording",
            key=f"marks_{key}",
            max_upload_size=_FILE_MB,
        )
    return None if file is None else (file.name, file.getvalue())


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

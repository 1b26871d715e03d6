"""The page of recordings: a file is read, measured and shown."""

from __future__ import annotations

import streamlit as st

from balancer.app import show, state
from balancer.app.plain import Refusal, plain
from balancer.app.recordings import ask, sources
from balancer.app.recordings import show as parts
from balancer.app.recordings.service import Overview
from balancer.app.recordings.shown_unit import shown_in
from balancer.recording.model import Recording


def main() -> None:
    """Show the page."""
    show.style()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.title("Recordings", anchor=False, width="stretch")
        show.angle_choice()
        show.vibration_choice()
    show.trouble()
    chosen = sources.choose()
    if chosen is None:
        return
    said = ask.say_more(chosen.key)
    key, reading = ask.read(chosen.key, chosen.file, said.marks or chosen.marks, hints=chosen.hints)
    if isinstance(reading.outcome, Refusal):
        # what can be answered is asked, above; all else is refused
        (st.info if reading.questions else st.error)(plain(reading.outcome.text))
        return
    shown = ask.look(key, reading.outcome, said, chosen.near)
    if shown is not None:
        _shown(key, reading.outcome, shown_in(shown, state.vibration()))


def _shown(key: str, recording: Recording, shown: Overview) -> None:
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("What it is", anchor=False)
        parts.understood(shown)
        parts.figures(shown)
        parts.findings(shown.findings)
    blades: int | None = None
    tapped: tuple[float, ...] = ()
    with right:
        if shown.kind == "taps":
            st.subheader("What rings", anchor=False)
            tapped = parts.taps(key, recording)
        elif shown.kind == "running":
            st.subheader("Is it unbalance?", anchor=False)
            blades = parts.blades(key)
            parts.is_it_unbalance(key, recording, blades)
    if shown.sweep and not shown.steady:
        st.subheader("1x against speed", anchor=False)
        parts.sweep(key, recording)
    parts.one_channel(key, shown, blades, tapped)
    if shown.folded is not None:
        st.subheader("One turn of the shaft", anchor=False)
        parts.folded(shown)
    if shown.sweep and shown.steady:
        st.subheader("1x against speed, while it ran down", anchor=False)
        parts.sweep(key, recording)


if __name__ == "__main__":
    main()

"""The page of recordings: a file is read, measured and shown."""

from __future__ import annotations

import streamlit as st

from balancer.app import recording_ask, recording_show, show
from balancer.app.recording_service import Refusal
from balancer.app.words import plain


def main() -> None:
    """Show the page."""
    show.style()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.title("Recordings", anchor=False, width="stretch")
        show.angle_choice()
    chosen = recording_ask.choose()
    if chosen is None:
        st.markdown(
            "Drop a file to see what is in it: speed, shaking at once per turn, spectrum, and whether it "
            "looks like unbalance. No file at hand? The examples show what a good recording looks like."
        )
        return
    said = recording_ask.say_more(chosen[0])
    key, reading = recording_ask.read(*chosen, said.marks)
    if isinstance(reading.outcome, Refusal):
        # what can be answered is asked, above; all else is refused
        (st.info if reading.questions else st.error)(plain(reading.outcome.text))
        return
    recording = reading.outcome
    shown = recording_ask.look(key, recording, said)
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("What it is", anchor=False)
        recording_show.understood(shown)
        recording_show.figures(shown)
        recording_show.findings(shown.findings)
    blades: int | None = None
    tapped: tuple[float, ...] = ()
    with right:
        if shown.kind == "taps":
            st.subheader("What rings", anchor=False)
            tapped = recording_show.taps(key, recording)
        elif shown.kind == "running":
            st.subheader("Is it unbalance?", anchor=False)
            blades = recording_show.is_it_unbalance(key, recording)
    if shown.sweep and not shown.steady:
        st.subheader("1x against speed", anchor=False)
        recording_show.sweep(key, recording)
    recording_show.one_channel(key, shown, blades, tapped)
    if shown.folded is not None:
        st.subheader("One turn of the shaft", anchor=False)
        recording_show.folded(shown)
    if shown.sweep and shown.steady:
        st.subheader("1x against speed, while it ran down", anchor=False)
        recording_show.sweep(key, recording)


if __name__ == "__main__":
    main()

"""The page that does the whole job: cautions, then recordings from the simulated bench or from files."""

from __future__ import annotations

import streamlit as st

from balancer.app import bench, files, show, state

_SOURCES = {"bench": ("Simulated bench", bench.page), "files": ("My recordings", files.page)}


def main() -> None:
    """Show the page."""
    show.style()
    with st.container(horizontal=True, vertical_alignment="center", key="head"):
        st.title("Balance a rotor", anchor=False, width="stretch")
        if state.cautions_read():
            show.angle_choice()
            show.cautions_again()
    if not state.cautions_read():
        show.cautions()
        return
    source = "bench"
    if state.bench_job() is None:
        source = st.segmented_control(
            "Recordings from",
            list(_SOURCES),
            default="bench",
            format_func=lambda name: _SOURCES[name][0],
            required=True,
            key=state.SOURCE,
            on_change=state.source_chosen,
            label_visibility="collapsed",
        )
    _SOURCES[source][1]()


if __name__ == "__main__":
    main()

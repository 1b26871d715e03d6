"""The person's own recordings: a form for what was fitted and how the rotor looks, then the result."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from balancer.app import show, state, words
from balancer.app.services import Result

_FILE_MB = 50


def page() -> None:
    """Show the form, and the result beneath it once there is one."""
    show.sentence(
        "Record the rotor as it came, then with a known piece of tape on it: same speed, same stand, nothing "
        "else changed. Recordings with a mark need one trial run; without a mark, amplitudes alone need the "
        "trial piece at three places."
    )
    show.small(
        "Files: the stream of a board (.stream or .stream.csv), or the table of a logger or a phone with a "
        "time column, acceleration columns with their units, and a 0/1 column for the mark if there was one."
    )
    columns = st.columns(2)
    for run in range(state.run_count()):
        with columns[run % 2]:
            _run(run)
    with st.container(horizontal=True):
        if state.run_count() < state.MOST_RUNS:
            st.button("One more run", key="more_runs", on_click=state.change_runs, args=(1,))
        if state.run_count() > 2:
            st.button("Without the last run", key="fewer_runs", on_click=state.change_runs, args=(-1,))
    _rotor()
    if st.button("Work out the correction", type="primary", key="solve"):
        # not in a callback, where no spinner could be shown: large files take a moment
        with st.spinner("Reading and measuring", show_time=True):
            state.solve_files()
    show.problem()
    solved = state.file_result()
    if solved is not None:
        _result(*solved)


def _rotor() -> None:
    with st.container(border=True):
        st.markdown("**The rotor**, seen from the front, blade 1 at the mark")
        with st.container(horizontal=True):
            kind = _choice("What it is", {"propeller": "propeller", "bell": "bare motor bell"}, state.KIND)
            _choice("It turns", words.HANDS, state.HAND)
        _sizes(kind)
        show.tape_choice()
        with st.expander("Recordings without a mark"):
            st.number_input(
                "Speed to look for (rpm)",
                100.0,
                60000.0,
                None,
                100.0,
                "%.0f",
                key=state.EXPECTED,
                persist_state="session",
                placeholder="found by itself if clear",
            )


def _choice(label: str, options: Mapping[str, str], key: str) -> str:
    return st.segmented_control(
        label,
        list(options),
        default=next(iter(options)),
        format_func=options.__getitem__,
        required=True,
        key=key,
        persist_state="session",
    )


def _sizes(kind: str) -> None:
    first, second, third, fourth, fifth = st.columns(5)
    if kind == "propeller":
        with first:
            st.number_input("Blades", 2, 6, 2, key=state.BLADES, persist_state="session")
        with second:
            _millimetres("Shaft to blade tip (mm)", 152.0, state.RADIUS)
        with third:
            _millimetres("Shaft to tape on a blade (mm)", 60.0, state.TAPE_RADIUS)
    with fourth:
        _millimetres("Radius of the bell (mm)", 18.0, state.RING_RADIUS)
    with fifth:
        st.number_input(
            "Mass of all that turns (g)",
            0.1,
            5000.0,
            None,
            1.0,
            key=state.ROTOR_MASS,
            persist_state="session",
            placeholder="for the grade",
            help="Propeller and bell together. Without it all works but the balance quality grade.",
        )


def _millimetres(label: str, usual: float, key: str) -> None:
    st.number_input(label, 1.0, 1000.0, usual, 1.0, "%.1f", key=key, persist_state="session")


def _run(run: int) -> None:
    with st.container(border=True):
        title = "as it came, nothing added" if run == 0 else "with pieces added"
        st.markdown(f"**Run {run + 1}**: {title}")
        st.file_uploader(
            f"Recording of run {run + 1}",
            key=state.file_key(run),
            on_change=state.keep_file,
            args=(run,),
            max_upload_size=_FILE_MB,
            label_visibility="collapsed",
        )
        kept = state.kept_file(run)
        if kept is not None and kept.readable:
            show.small(kept.words)
        elif kept is not None:
            st.error(words.plain(kept.words))
        if run > 0:
            _fitted(run)


def _fitted(run: int) -> None:
    _choice(
        "What this run was for",
        {"trial": "a trial piece", "check": "to check a correction"},
        state.purpose_key(run),
    )
    for piece in range(state.piece_count(run)):
        _piece(run, piece)
    with st.container(horizontal=True):
        if state.piece_count(run) < state.MOST_PIECES:
            st.button("One more piece", key=f"more_pieces_{run}", on_click=state.change_pieces, args=(run, 1))
        if state.piece_count(run) > 1:
            st.button(
                "Without the last piece",
                key=f"fewer_pieces_{run}",
                on_click=state.change_pieces,
                args=(run, -1),
            )


def _piece(run: int, piece: int) -> None:
    number = f" of piece {piece + 1}" if state.piece_count(run) > 1 else ""
    boxes = (
        ("mass", f"Mass{number} (g)", -1000.0, 1000.0, 0.001, "%.4f"),
        ("radius", f"Radius{number} (mm)", 0.1, 1000.0, 1.0, "%.1f"),
        ("angle", f"Angle{number} (°, {state.direction()} the rotation)", -360.0, 360.0, 5.0, "%.1f"),
    )
    for column, (what, label, least, most, step, format_) in zip(st.columns(3), boxes, strict=True):
        with column:
            key = state.mass_key(what, run, piece)
            st.number_input(label, least, most, None, step, format_, key=key, persist_state="session")


def _result(result: Result, up_to_date: bool) -> None:
    st.subheader("The check run" if result.checked else "The correction", anchor=False)
    if not up_to_date:
        st.warning("The form has changed since: this is still the answer to what it said before.")
    show.result_figures(result)
    text, picture, polar = st.columns([5, 4, 4], gap="medium")
    with text:
        if result.checked:
            show.verdict(result)
            show.sentence(words.change_text(result, state.channel()))
            show.sentence("What could still be added, on top of what is on:")
        else:
            show.sentence("Take the trial pieces off. Then put on:")
        show.correction(result)
        show.cautions_at_the_rotor()
        show.findings(result.solution.findings)
    with picture:
        show.tape_pictures(result)
    with polar:
        show.polar(result)
    show.measurements(result.measured, [run.purpose for run in result.solution.runs])
    show.downloads(result)

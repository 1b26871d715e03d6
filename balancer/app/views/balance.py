"""The page of the guided job: what to do now and why, where it goes, and how the runs stand."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.guided import back, boxes, link_show, start, state, steps, words
from balancer.app.guided.keeping import Kept
from balancer.app.plain import in_page_words, plain
from balancer.app.state import direction, vibration
from balancer.errors import BalancerError
from balancer.wording import finding_text
from balancer.wording.job import step_title


def main() -> None:
    """Show the page."""
    show.style()
    boxes.style()
    try:
        kept = state.kept()
    except BalancerError as error:
        st.error(plain(str(error)))
        st.button("All jobs", key="leave", on_click=state.leave)
        return
    with st.container(horizontal=True, vertical_alignment="center", key="head"):
        title = "Balance a rotor" if kept is None else words.part_text(kept.job)
        st.title(plain(title), anchor=False, width="stretch")
        if kept is not None:
            show.angle_choice()
            show.vibration_choice()
            show.cautions_again()
            _back(kept)
            st.button("All jobs", key="leave", on_click=state.leave)
    if kept is None:
        start.page()
    else:
        _job(kept)


def _back(kept: Kept) -> None:
    undone = back.undone(kept)
    if undone:
        seen = (kept.id, kept.digest)
        st.button("Back", key="back", on_click=state.go_back, args=seen, help=undone)


def _job(kept: Kept) -> None:
    step, way = kept.step, direction()
    # the digest is of our own making
    show.to_the_top(kept.digest)
    show.small(words.job_text(kept.job))
    st.header(plain(step_title(step)), anchor=False)
    show.trouble()
    show.headlines(words.headlines(kept))
    text, rotor, polar = st.columns([5, 4, 4], gap="medium")
    rotor_svg = words.rotor_drawing(kept, way, state.tip(kept))
    polar_svg = words.polar_drawing(kept, state.channel(kept.job), way, vibration())
    with text:
        _why(kept)
        link_show.notes(kept)
        steps.actions(kept)
        link_show.stored(kept)
        show.findings(words.noticed(kept))
    with rotor:
        if rotor_svg is not None:
            show.drawing(rotor_svg)
    with polar:
        boxes.polar(kept, polar_svg)
    _runs(kept)
    link_show.box(kept)
    if kept.job.acknowledged:
        _more(kept)
        drawn = (("part", rotor_svg), ("polar", polar_svg))
        show.box("Files to take away", "files", lambda: show.downloads(words.downloads(kept, drawn)))


def _why(kept: Kept) -> None:
    text = plain(in_page_words(finding_text(kept.step.why, direction())))
    if kept.step.action == "fit" and words.headlines(kept) and kept.step.why.severity == "info":
        return  # the figures above say the same
    if kept.step.action == "done":
        st.success(text)
    elif kept.step.why.severity == "info":
        st.markdown(text)
    else:
        (st.error if kept.step.why.severity == "error" else st.warning)(text)


def _runs(kept: Kept) -> None:
    if not kept.job.runs:
        return
    st.subheader("Runs", anchor=False)
    for number, line in enumerate(words.run_lines(kept.job, direction(), vibration()), 1):
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            with st.container():
                show.sentence(line)
                for doubt in words.doubts(kept.job, number):
                    show.small(doubt)
            _run_choice(kept, number)


def _run_choice(kept: Kept, number: int) -> None:
    if kept.job.runs[number - 1].set_aside:
        seen = (kept.id, kept.digest, number)
        st.button("Take back", key=f"take_back_{number}", on_click=state.take_back, args=seen)
        return
    with st.popover("Set aside", key=f"aside_{number}"):
        key = f"reason_{number}_{kept.digest}"
        st.text_input("Why does it not count?", max_chars=80, key=key)
        st.button(
            f"Set aside run {number}",
            key=f"set_aside_{number}",
            on_click=state.set_aside,
            args=(kept.id, kept.digest, (number,), key),
        )


def _more(kept: Kept) -> None:
    steps.really_on(kept)
    if kept.job.runs and kept.step.action != "spin":
        with st.expander("One more run with what is on now"):
            steps.add_run(kept, primary=False)
    if kept.simulated is not None and kept.job.runs:
        show.box(
            "Show the hidden truth",
            f"truth_{kept.id}",
            lambda: show.points(words.truth_lines(kept, direction())),
        )


if __name__ == "__main__":
    main()

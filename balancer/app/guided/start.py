"""The start page: take up a job that is not finished, or begin one."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import show
from balancer.app.guided import boxes, own, state, words
from balancer.app.guided.keeping import Kept
from balancer.app.plain import plain
from balancer.app.state import direction, forget_problem
from balancer.simulator.presets import LARGEST

_WHOSE = {"simulated": "Simulated bench", "own": "My own part"}
_FIRST = 5  # jobs that are shown at once, of those to go on with and of those that are finished
_ROWS = 30  # of the list of all jobs


def page() -> None:
    """Show the page."""
    show.to_the_top("start")
    if state.job_missing():
        st.warning("The job of this address is not in the list: it was removed, or the address is wrong.")
    jobs = state.jobs()
    open_, ended = [kept for kept in jobs if not kept.step.ends], [kept for kept in jobs if kept.step.ends]
    _unfinished(open_[:_FIRST])
    for text in state.unreadable_jobs():
        st.warning(plain(f"A job is not listed. {text}"))
    st.subheader("Begin a job", anchor=False)
    state.part_asked()
    whose = st.segmented_control(
        "Whose part",
        list(_WHOSE),
        format_func=_WHOSE.__getitem__,
        required=True,
        key=state.WHOSE,
        on_change=forget_problem,
        persist_state="session",
        label_visibility="collapsed",
    )
    show.trouble()
    if whose == "own":
        own.form()
    else:
        _simulated()
    _finished(ended[:_FIRST])
    if max(len(open_), len(ended)) > _FIRST:
        _all()


def _unfinished(jobs: Sequence[Kept]) -> None:
    if not jobs:
        return
    st.subheader("Go on with", anchor=False)
    for kept in jobs:
        _line(kept, words.listed(kept))


def _finished(jobs: Sequence[Kept]) -> None:
    def lines() -> None:
        for kept in jobs:
            _line(kept, words.listed(kept))

    if jobs:
        show.box("Finished jobs", "finished", lines)


def _all() -> None:
    """Offer all jobs; they are read only when the list is opened."""
    with st.expander("All jobs", key=state.ALL_JOBS, on_change="rerun"):
        st.text_input("Part, stand or day", max_chars=80, key=state.FIND, placeholder="such as P3 or 2026-05")
        found = state.found_jobs()
        for kept in found[:_ROWS]:
            _line(kept, words.in_short(kept), "all_")
        if len(found) > _ROWS:
            show.small(f"{_ROWS} of {len(found)} jobs are shown; type more to find the others.")
        elif not found:
            show.small("No job is like that.")


def _line(kept: Kept, about: str, list_: str = "") -> None:
    with st.container(border=True, horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{plain(words.part_text(kept.job))}**: {plain(about)}", width="stretch")
        st.button("Open", key=f"{list_}open_{kept.id}", on_click=state.open_job, args=(kept.id,))
        with st.popover("Remove", key=f"{list_}away_{kept.id}"):
            show.sentence(
                "The job leaves the lists. Its files stay in the folder jobs/removed, and what is kept of it "
                "in the history stays there."
            )
            st.button(
                "Remove this job",
                key=f"{list_}remove_{kept.id}",
                on_click=state.remove,
                args=(kept.id,),
            )


def _simulated() -> None:
    part = state.simulated()
    text, picture = st.columns([5, 4], gap="medium")
    with text:
        show.sentence(
            "Nothing spins here: the bench is simulated and its parts are invented. They belong to a six-arm "
            "coastal-survey craft with 12-inch propellers, and each hides an unbalance. You find it as on a "
            "real bench, with an accelerometer and a pick-up that sees a mark once per turn, and at the end "
            "you may look at what was hidden."
        )
        st.segmented_control(
            "Part",
            list(own.KINDS),
            format_func=own.KINDS.__getitem__,
            required=True,
            key=state.SIMULATED_KIND,
            persist_state="session",
        )
        st.number_input(
            "Which one of them",
            min_value=0,
            max_value=LARGEST,
            key=state.NUMBER,
            persist_state="session",
            help="Every number is another part: another unbalance, perhaps another way of turning.",
        )
        boxes.tape_choice()
        st.button("Begin", type="primary", key="begin", on_click=state.begin_simulated)
    with picture:
        show.drawing(words.bare_drawing(part, direction()))

"""What the page of the guided job shows of the history: a coefficient in use, what is kept and where."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.guided import boxes, link_words, state
from balancer.app.guided.begin import NEW, NONE, offer
from balancer.app.guided.keeping import Kept
from balancer.app.plain import plain
from balancer.app.state import direction, get, home
from balancer.errors import BalancerError


def notes(kept: Kept) -> None:
    """Say beside the step what could not be kept in the history, and at the end what is."""
    trouble = link_words.trouble_text(kept)
    if trouble:
        st.warning(plain(trouble))
        if kept.due:
            st.button("Keep it now", key="keep_now", on_click=state.keep_now, args=(kept.id,))
    if kept.step.ends and not kept.due:
        _ended(kept)


def carried(kept: Kept) -> None:
    """Say beside what is to be fitted what is on the part from before."""
    try:
        text = link_words.carried_text(home(), kept, direction())
    except BalancerError as error:
        st.error(plain(str(error)))
        return
    if text:
        show.small(text)


def stored(kept: Kept) -> None:
    """Say that a stored influence coefficient is used, and let the person decline it, or why none is used."""
    link, seen = kept.link, (kept.id, kept.digest)
    if link_words.unfit_text(kept) and not kept.step.ends:
        show.small(link_words.unfit_text(kept))
    if link.stored is None:
        return
    show.small(link_words.stored_text(link.stored, declined=link.declined))
    if kept.step.ends:
        return
    if link.declined:
        st.button("Use it after all", key="use_stored", on_click=state.use_stored, args=seen)
    else:
        st.button("Go on without it", key="decline_stored", on_click=state.decline_stored, args=seen)


def _ended(kept: Kept) -> None:
    try:
        lines = link_words.kept_lines(home(), kept)
    except BalancerError as error:
        st.error(plain(str(error)))
        return
    if lines:
        show.points(lines)
        label = link_words.part_label(home(), kept.link.part)
        st.page_link(
            "views/parts.py", label=plain(f"Open {label} under Parts"), query_params={"part": kept.link.part}
        )


def box(kept: Kept) -> None:
    """Say with which part a job is kept, or let the person choose one."""
    if kept.simulated is not None:
        show.small(link_words.SIMULATED)
        return
    try:
        if kept.link.part:
            label = link_words.part_label(home(), kept.link.part)
            show.small(f"This job is kept with {label or 'a part that is no longer in the history'}.")
        if not kept.link.part or (kept.link.trouble and not kept.link.kept):
            show.box("Keep it with a part", f"tie_{kept.id}", lambda: _choose(kept))
    except BalancerError as error:
        st.error(plain(str(error)))


def _choose(kept: Kept) -> None:
    offered = offer(home(), kept.job.part.kind)
    show.sentence(
        "The history keeps the runs with their recordings, what is on the part, and what the job found."
    )
    names = {one.id: link_words.part_option(one, offered) for one in offered.parts} | {NEW: "A new part"}
    # never another part than the person means: only one of the same label stands there before it is chosen
    same = next((one.id for one in offered.parts if one.label == kept.job.part.name), None)
    st.selectbox(
        "Part that the job is about",
        list(names),
        index=None if same is None and offered.parts else list(names).index(same or NEW),
        format_func=names.__getitem__,
        key=f"{state.TIE_PART}_{kept.id}",
        placeholder="Choose it",
        persist_state="page",
    )
    new = get(f"{state.TIE_PART}_{kept.id}") == NEW
    propeller = kept.job.part.kind == "propeller"
    if new:
        key = f"{state.TIE_LABEL}_{kept.id}"
        st.text_input("Its label, up to 12 characters", max_chars=12, key=key, persist_state="page")
        if propeller:
            boxes.length_choice(f"{state.TIE_DIAMETER}_{kept.id}")
            boxes.diameter(f"{state.TIE_DIAMETER}_{kept.id}")
    if propeller and offered.bells:
        bells = {NONE: "None of these"} | {one.id: link_words.bell_option(one) for one in offered.bells}
        st.selectbox(
            "Bell that it stands on, both marks in line",
            list(bells),
            format_func=bells.__getitem__,
            key=f"{state.TIE_BELL}_{kept.id}",
            persist_state="page",
        )
    st.button("Keep it", key="tie", on_click=state.tie, args=(kept.id,))

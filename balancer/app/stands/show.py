"""The parts of the page of stands: the list, one stand with its influence coefficients, its forms."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import show
from balancer.app.plain import plain, with_signs
from balancer.app.stands import state, words
from balancer.app.stands.items import MOODS, Item
from balancer.app.state import direction, vibration
from balancer.history import stand_story
from balancer.history.records.machine import LONGEST_NAME
from balancer.history.records.stand import StandRecord
from balancer.history.stand_story import Group, Listed
from balancer.units import g_from_kg

_BOX = 320  # px


def stands(found: Sequence[Listed]) -> None:
    """Show the list of stands, and a form for one more."""
    if not found:
        st.markdown(
            "A stand is the bench fixture together with its sensor. There is none in the history yet: add "
            "one here, or name one in a job. What a job learns of it is kept, so that later jobs need fewer "
            "runs."
        )
    for one in found:
        with st.container(border=True):
            st.header(plain(one.stand.name), anchor=False)
            show.points([words.listed_text(one), *words.stand_lines(one.stand, vibration())])
            st.button(
                "Open", key=f"stands_open_{one.stand.id}", on_click=state.show_stand, args=(one.stand.id,)
            )

    def add() -> None:
        _form(None)
        st.button("Add this stand", key="stands_add", type="primary", on_click=state.add)

    show.box("Add a stand", f"stands_add_{bool(found)}", add, expanded=not found)


def one_stand(stand: StandRecord) -> None:
    """Show a stand with all that was learnt of it."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.header(plain(stand.name), anchor=False, width="stretch")
        show.angle_choice()
        st.button("All stands", key="stands_all", on_click=state.show_list)
    show.points(words.stand_lines(stand, vibration()))

    def change() -> None:
        _form(stand)
        st.button("Keep the changes", key=f"stands_change_{stand.id}", on_click=state.change, args=(stand,))

    show.box("Change what is said of it", f"stands_change_{stand.id}", change)
    _coefficients(stand)
    _jobs(stand)


def _form(stand: StandRecord | None) -> None:
    """Ask for what is said of a stand; filled in with what is known."""
    moving = None if stand is None or stand.moving_mass is None else g_from_kg(stand.moving_mass)
    st.text_input(
        "Name",
        "" if stand is None else stand.name,
        max_chars=LONGEST_NAME,
        key=state.box(state.NAME, stand),
        persist_state="page",
        help="Coefficients are found again by it. Another place of the sensor is another stand.",
    )
    st.text_input(
        "Where the sensor sits",
        "" if stand is None else stand.place,
        max_chars=200,
        key=state.box(state.PLACE, stand),
        persist_state="page",
    )
    st.number_input(
        "Moving mass: all that shakes with the sensor (g)",
        1.0,
        50000.0,
        moving,
        1.0,
        "%.0f",
        key=state.box(state.MOVING, stand),
        persist_state="page",
        placeholder="not weighed",
        width=_BOX,
    )
    st.text_input(
        "What else there is to say",
        "" if stand is None else stand.words,
        max_chars=500,
        key=state.box(state.WORDS, stand),
        persist_state="page",
    )


def _coefficients(stand: StandRecord) -> None:
    st.subheader("Influence coefficients", anchor=False)
    found = stand_story.groups(state.store(), stand.id, state.today())
    show.small(
        "How much the sensor reads for each g mm of unbalance, and at which angle. A job finds it with a "
        "trial mass; while nothing on the stand changes, the next job can use it again."
    )
    if not found:
        show.sentence("None yet: a job on this stand that is brought to its end brings one.")
    for group in found:
        _group(group)
    gone = stand_story.taken_out(state.store(), stand.id)
    if gone:
        with st.expander(f"Taken out: {len(gone)}"):
            for record in gone:
                with st.container(horizontal=True, vertical_alignment="center"):
                    show.sentence(words.record_text(record, 0, direction(), unit=vibration()))
                    st.button(
                        "Bring back",
                        key=f"stands_back_{record.id}",
                        on_click=state.bring_back,
                        args=(record.id,),
                    )


def _group(group: Group) -> None:
    with st.container(border=True):
        st.markdown(f"**{plain(words.group_title(group))}**")
        drift = words.drift_item(group)
        if drift is not None:
            item(drift)
        for remark in words.remarks(group):
            st.warning(plain(with_signs(remark)))
        show.sentence(words.group_text(group))
        table(words.group_rows(group, direction(), vibration()))
        show.box("The jobs behind it", f"stands_behind_{group.records[0].id}", lambda: _behind(group))


def _behind(group: Group) -> None:
    for record, rotor in zip(group.records, group.rotors, strict=True):
        with st.container(horizontal=True, vertical_alignment="center"):
            show.sentence(words.record_text(record, group.channel, direction(), rotor, vibration()))
            st.button(
                "Take out",
                key=f"stands_out_{record.id}",
                on_click=state.take_out,
                args=(record,),
                help="It counts no more. It can be brought back.",
            )


def _jobs(stand: StandRecord) -> None:
    found = stand_story.jobs_on(state.store(), stand.id)
    if found:
        with st.expander(f"Jobs made on it: the last {len(found)}"):
            show.points([words.job_text(job) for job in found])


def item(one: Item) -> None:
    """Show the outcome of a check with its mood in words."""
    text = f"**{plain(MOODS[one.mood])}. {plain(one.title)}:** {plain(with_signs(one.text))}"
    if one.mood == "bad":
        st.error(text)
    elif one.mood == "look":
        st.warning(text)
    else:
        st.markdown(text)


def table(rows: Sequence[Sequence[str]]) -> None:
    """Show a small table, its head first."""
    head, *rest = rows
    lines = [head, ["---"] * len(head), *rest]
    cells = (" | ".join(cell if cell == "---" else plain(cell) for cell in line) for line in lines)
    st.markdown("\n".join(f"| {line} |" for line in cells))

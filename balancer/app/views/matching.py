"""The page of which propeller belongs on which motor, and turned how."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.matching import ask, state, words
from balancer.app.matching import show as parts
from balancer.app.plain import Refusal, in_page_words, plain
from balancer.errors import BalancerError
from balancer.history.machines import list_machines


def main() -> None:
    """Show the page."""
    show.style()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.title("Matching", anchor=False, width="stretch")
        show.angle_choice()
    show.trouble()
    try:
        machines = list_machines(state.store())
    except BalancerError as error:
        st.error(plain(str(error)))
        return
    if not machines:
        st.markdown(
            "Which propeller shakes least on which motor, and turned how? This page answers it from the jobs "
            "of a machine's bells and propellers. There is no machine in the history yet: add one on "
            "the page Parts, under “Machines”, and balance the bare bells first, then each propeller on one."
        )
        return
    chosen = ask.machine(machines)
    ask.hub()
    ask.more()
    question = state.question(chosen)
    told = parts.answered(question)
    if told is None:
        return
    if isinstance(told, Refusal):
        st.error(plain(in_page_words(told.text)))
        return
    if state.just_noted():
        st.success("Noted in the history: the propellers stand as they were shown.")
    above = st.container()
    shown = parts.arrangement(told)
    with above:
        parts.verdict(told, shown, question)
        parts.headlines(shown)
    parts.machine(told, shown)
    parts.cards(told, shown)
    if question.tape:
        show.small(words.TAPE_NOTE)
    parts.done(told, shown)
    ask.standing(told, question)
    parts.untold(told)
    parts.sources(told, shown)


if __name__ == "__main__":
    main()

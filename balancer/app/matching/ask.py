"""What the page of matching asks: the machine, its hubs, and more for those who want it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import show
from balancer.app.matching import state
from balancer.app.matching.service import Answer, Question, arm_number
from balancer.app.plain import degrees, plain
from balancer.app.state import direction, forget_problem
from balancer.core.tape import USUAL_DENSITIES
from balancer.history.records.machine import Machine

_POSITIONS = {1: "1", 2: "2", 3: "3", 4: "4", 5: "5", 6: "6", 8: "8", 0: "any angle"}
_GOALS = {"worst": "the worst arm least", "sum": "all arms together least"}
_MEASURES = {"force": "force in hover", "unbalance": "unbalance", "grade": "balance grade"}
_BOX = 320  # px


def machine(machines: Sequence[Machine]) -> Machine:
    """Let the person choose a machine where there are several."""
    chosen = state.machine(machines)
    if len(machines) > 1:
        names = {one.id: one.name for one in machines}
        st.selectbox(
            "Machine",
            list(names),
            index=list(names).index(chosen.id),
            format_func=names.__getitem__,
            key=state.MACHINE,
            on_change=state.keep_machine,
            persist_state="session",
            width=_BOX,
        )
    else:
        show.sentence(chosen.name)
    return chosen


def hub() -> None:
    """Ask in how many ways a propeller goes on its hub."""
    st.segmented_control(
        "Ways in which a propeller goes on its hub",
        list(_POSITIONS),
        default=2,
        format_func=_POSITIONS.__getitem__,
        required=True,
        key=state.POSITIONS,
        on_change=forget_problem,
        persist_state="session",
        wrap=True,
        help="2 for two screws or a shaft with flats, as many as there are screws, any angle for a clamp.",
    )


def more() -> None:
    """Offer what else can be said: it need not be."""
    show.box("More about the question", "matching_more", _more)


def _more() -> None:
    show.choice("Make", _GOALS, state.GOAL)
    show.choice("Compare the arms by", _MEASURES, state.MEASURE)
    left, right = st.columns(2)
    with left:
        _number(
            "Speed in hover (rpm)",
            state.RPM,
            (100.0, 60000.0, 100.0),
            "that of the jobs",
        )
        _number(
            "Good enough for every arm: balance grade G (mm/s)",
            state.GRADE,
            (0.1, 100.0, 0.1),
            "as good as can be",
            form="%.1f",
        )
    with right:
        _number(
            "Mark of the propeller in the first position (°)",
            state.FIRST,
            (0.0, 359.9, 1.0),
            "0: in line with that of the bell",
            form="%.1f",
        )
        _number(
            "How much a mounting varies (g mm)",
            state.MOUNTING,
            (0.0, 100.0, 0.01),
            "not known",
            form="%.2f",
        )
    _tape()


def _tape() -> None:
    kinds = {"": "no tape", **{kind: kind for kind in USUAL_DENSITIES}}
    kind = show.choice("Tape afterwards, to compare what is left with it", kinds, state.TAPE)
    if not kind:
        return
    left, right = st.columns(2)
    with left:
        _number("Width of the tape (mm)", state.WIDTH, (2.0, 50.0, 1.0), "10")
    with right:
        _number("Most pieces on a pair", state.PIECES, (1.0, 4.0, 1.0), "2")


def _number(label: str, key: str, bounds: tuple[float, float, float], empty: str, form: str = "%.0f") -> None:
    least, most, step = bounds
    st.number_input(
        label,
        least,
        most,
        None,
        step,
        form,
        key=key,
        on_change=forget_problem,
        persist_state="session",
        placeholder=empty,
        width=_BOX,
    )


def standing(told: Answer, question: Question) -> None:
    """Let the person say where marks stand now, if that is not as the history takes them to stand."""
    show.box("How the propellers stand now", "matching_standing", lambda: _standing(told, question))


def _standing(told: Answer, question: Question) -> None:
    said = dict(question.turned)
    show.sentence(
        "Where the history does not know how a propeller is turned on its hub, both marks are taken to "
        "be in line, as on the stand. Look at the machine, and correct what is not so."
    )
    columns = st.columns(3)
    for number, fitted in enumerate(told.among.fitted):
        arm = arm_number(fitted.motor)
        how = "taken to be" if fitted.propeller in told.among.assumed else "noted"
        taken = f"{how} at {degrees(fitted.angle, direction())}"
        with columns[number % 3]:
            st.number_input(
                f"{plain(fitted.motor.capitalize())}, {plain(fitted.propeller)}: mark at (°)",
                0.0,
                359.9,
                None,
                1.0,
                "%.0f",
                key=state.turned_key(told.machine, arm),
                on_change=forget_problem,
                persist_state="session",
                placeholder="" if arm in said else taken,
            )

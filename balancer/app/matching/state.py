"""What the page of matching remembers, and what its clicks do. The truth lies in the history."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from datetime import UTC, datetime
from typing import cast

import streamlit as st

from balancer.app import services, state
from balancer.app.matching import service
from balancer.app.matching.service import Answer, Question
from balancer.app.plain import Refusal
from balancer.core.matching import Match
from balancer.history.queries import digest_of
from balancer.history.records.machine import Machine
from balancer.history.store import Store

MACHINE, POSITIONS, FIRST = "matching_machine", "matching_positions", "matching_first"
GOAL, MEASURE, RPM, GRADE = "matching_goal", "matching_measure", "matching_rpm", "matching_grade"
MOUNTING, TAPE, WIDTH, PIECES = "matching_mounting", "matching_tape", "matching_width", "matching_pieces"

_ADDRESS = "machine"
_NOTED = "_matching_noted"


def store() -> Store:
    """Give the history; an `InputError` or `OperationError` if it cannot be opened."""
    return services.store(state.home())


def machine(machines: Sequence[Machine]) -> Machine:
    """Give the machine that is chosen: in the box, in the page's address, else the first."""
    wanted = state.get(MACHINE) or st.query_params.get(_ADDRESS, "")
    return next((one for one in machines if one.id == wanted), machines[0])


def keep_machine() -> None:
    """Note the choice in the page's address."""
    st.query_params[_ADDRESS] = state.get(MACHINE)
    state.forget_problem()


def question(chosen: Machine) -> Question:
    """Give what the boxes ask; they need not be on the page yet."""
    usual = Question(chosen.id)
    first = float(state.get(FIRST) or 0.0)
    positions = state.get(POSITIONS)
    return Question(
        machine=chosen.id,
        positions=usual.positions if positions is None else int(positions),
        first_deg=_against(first),
        goal=state.get(GOAL) or usual.goal,
        measure=state.get(MEASURE) or usual.measure,
        rpm=state.get(RPM),
        grade_mm_s=state.get(GRADE),
        mounting_gmm=float(state.get(MOUNTING) or 0.0),
        tape=state.get(TAPE) or "",
        tape_width_mm=float(state.get(WIDTH) or usual.tape_width_mm),
        pieces=int(state.get(PIECES) or usual.pieces),
        turned=tuple(_turned(chosen)),
    )


def turned_key(chosen: Machine, arm: int) -> str:
    """Name the box for where the mark of the propeller on an arm stands now."""
    return f"matching_turned_{chosen.id}_{arm}_{state.direction()}"


def _turned(chosen: Machine) -> Sequence[tuple[int, float]]:
    said = [(arm.number, state.get(turned_key(chosen, arm.number))) for arm in chosen.arms]
    return [(number, _against(float(degrees))) for number, degrees in said if degrees is not None]


def _against(degrees: float) -> float:
    return degrees % 360 if state.direction() == "against" else -degrees % 360


def asked(wanted: Question) -> tuple[Hashable, Callable[[], Answer | Refusal]]:
    """Give how the history is asked: what the outcome depends on, and the work."""
    history = store()
    key = ("matching", str(history.home), digest_of(history), wanted)
    return key, lambda: service.answer(history, wanted)


@state.told
def done(told: Answer, shown: Match) -> None:
    """Note that the propellers stand now as they were shown."""
    history = store()
    service.done(history, told, shown, datetime.now(UTC))
    for arm in told.machine.arms:
        if state.get(turned_key(told.machine, arm.number)) is not None:
            st.session_state[turned_key(told.machine, arm.number)] = None
    st.session_state[_NOTED] = digest_of(history)


def just_noted() -> bool:
    """Say whether nothing has changed in the history since a click noted an arrangement."""
    return bool(state.get(_NOTED)) and cast(str, state.get(_NOTED)) == digest_of(store())

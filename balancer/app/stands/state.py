"""What the page of stands remembers, and what its clicks do. Stands and coefficients lie in the history."""

from __future__ import annotations

from datetime import UTC, date, datetime

import streamlit as st

from balancer.app import services, state
from balancer.app.bench import Wish
from balancer.app.recordings.service import Upload
from balancer.app.stands import service
from balancer.app.stands.captures import captures
from balancer.app.stands.service import Typed
from balancer.app.stands.work import Check
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.store import Store

VIEW, SOURCE, RPM = "stands_view", "stands_source", "stands_rpm"
NAME, PLACE, MOVING, WORDS = "name", "place", "moving", "words"

_STAND = "stand"  # in the page's address
_REST = Wish(owner="stands rest", label="the sensor at rest", hold=1.0, marks=False, seconds=5.0)
_RUN = Wish(owner="stands repeat", label="a run to compare", revolutions=400)


def store() -> Store:
    """Give the history; an `InputError` or `OperationError` if it cannot be opened."""
    return services.store(state.home())


def today() -> date:
    """Give the day, for the age of coefficients."""
    return datetime.now().astimezone().date()


def stand() -> str:
    """Give the id of the stand that is shown; empty for the list."""
    return str(st.query_params.get(_STAND, ""))


@state.told
def show_stand(id: str) -> None:
    """Show one stand."""
    st.query_params[_STAND] = id


@state.told
def show_list() -> None:
    """Go back to the list."""
    st.query_params.pop(_STAND, None)


def box(what: str, stand: StandRecord | None) -> str:
    """Name the box for a fact of a stand: anew after every change of it."""
    return f"stands_{what}_new" if stand is None else f"stands_{what}_{stand.id}_{stand.edited.isoformat()}"


def _typed(stand: StandRecord | None) -> Typed:
    return Typed(
        name=state.get(box(NAME, stand)) or "",
        place=state.get(box(PLACE, stand)) or "",
        moving_g=state.get(box(MOVING, stand)),
        words=state.get(box(WORDS, stand)) or "",
    )


@state.told
def add() -> None:
    """Add the stand that is typed, and show it."""
    st.query_params[_STAND] = service.add(store(), _typed(None), datetime.now(UTC)).id
    for what in (NAME, PLACE, WORDS):
        st.session_state[box(what, None)] = ""
    st.session_state[box(MOVING, None)] = None


@state.told
def change(seen: StandRecord) -> None:
    """Keep what is typed about a stand."""
    service.change(store(), seen, _typed(seen), datetime.now(UTC))


@state.told
def take_out(record: CoefficientRecord) -> None:
    """Let an influence coefficient count no more."""
    service.take_out(store(), record, datetime.now(UTC))


@state.told
def bring_back(id: str) -> None:
    """Let an influence coefficient count again."""
    service.bring_back(store(), id, datetime.now(UTC))


# The checks


def wish_of(check: Check) -> Wish:
    """Give what is cut out of the stream for a check."""
    return _REST if check == "rest" else _RUN


@state.told
def capture(check: Check) -> None:
    """Cut a piece out of the running source for a check."""
    home, kept = state.home(), captures(state.home())
    services.bench(home).capture(wish_of(check), lambda name, data: kept.add(check, name, data))


@state.told
def drop_capture() -> None:
    """Wish for nothing more."""
    services.bench(state.home()).drop_capture()


@state.told
def forget_captures(check: Check) -> None:
    """Begin a check anew."""
    captures(state.home()).forget(check)


def captured(check: Check) -> tuple[Upload, ...]:
    """Give what was cut out for a check."""
    return captures(state.home()).of(check)

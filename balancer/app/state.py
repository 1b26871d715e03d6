"""What the page remembers until it is reloaded, and what its clicks do. Jobs lie on disk (`keeping`).

No other module touches `st.session_state` or the page's address, which names the job: so a reload, a second
tab and a server started anew show the same one.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import wraps
from typing import Any, ParamSpec

import streamlit as st

from balancer.app import changes
from balancer.app.changes import Upload
from balancer.app.entries import TypedMass, TypedPart, reading_of, reason_of, stock_of, typed_pieces
from balancer.app.keeping import JobFolder, Kept, MovedError, home_of
from balancer.app.trainer import SimulatedPart
from balancer.app.words import strongest
from balancer.core.pieces import Placement, Stock
from balancer.errors import BalancerError
from balancer.procedure.job import Job
from balancer.procedure.part import Kind
from balancer.wording import Direction

WHOSE, DIRECTION, CHANNEL = "whose", "direction", "channel"
TAPE_KIND, TAPE_WIDTH, STRIP_LENGTH, STRIP_MASS = "tape_kind", "tape_width", "strip_length", "strip_mass"
SIMULATED_KIND, NUMBER = "simulated_kind", "number"
KIND, NAME, HAND, BLADES, MASS, RPM, GRADE = "kind", "name", "hand", "blades", "mass", "rpm", "grade"
INNER, OUTER, RING, STAND, MOVING = "inner", "outer", "ring", "stand", "moving"
MOST_PIECES = 8

_JOB, _ANGLES = "job", "angles"  # in the page's address
_LAST, _PROBLEM, _NOTICE, _ROWS = "_last", "_problem", "_notice", "_rows"

_P = ParamSpec("_P")


def _told(work: Callable[_P, None]) -> Callable[_P, None]:
    """Keep what a person can put right for the page to show; a click that works clears it."""

    @wraps(work)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> None:
        st.session_state[_PROBLEM] = st.session_state[_NOTICE] = ""
        try:
            work(*args, **kwargs)
        except MovedError as error:
            st.session_state[_NOTICE] = str(error)
        except BalancerError as error:
            st.session_state[_PROBLEM] = str(error)

    return wrapped


def _get(key: str) -> Any:
    return st.session_state.get(key)


def problem() -> str:
    """Give the sentence of what went wrong at the last click; empty when nothing did."""
    return str(_get(_PROBLEM) or "")


def notice() -> str:
    """Give the sentence of why the last click changed nothing; empty when it did."""
    return str(_get(_NOTICE) or "")


@_told
def forget_problem() -> None:
    """Forget what went wrong before another choice was made."""


def folder() -> JobFolder:
    """Give the folder of the jobs: in that of the person's data, or where the server was told."""
    return JobFolder(home_of(sys.argv))


# Which job is shown


def kept() -> Kept | None:
    """Give the job that is shown: that of the page's address, else the last one; None on the start page.

    Raises
    ------
    InputError
        If its file cannot be read.
    """
    for id in (st.query_params.get(_JOB, ""), _get(_LAST) or ""):
        if folder().holds(id):
            show(id)
            return folder().get(id)
    return None


def show(id: str) -> None:
    """Show a job."""
    if st.query_params.get(_JOB) != id:
        st.query_params[_JOB] = id
    st.session_state[_LAST] = id


@_told
def open_job(id: str) -> None:
    """Take a job up again."""
    show(id)


@_told
def leave() -> None:
    """Go back to the start page; the job stays as it is."""
    st.query_params.pop(_JOB, None)
    st.session_state.pop(_LAST, None)
    st.session_state.pop(CHANNEL, None)


@_told
def another() -> None:
    """Leave the job, with the next number of the simulated bench chosen."""
    shown = kept()
    leave()
    if shown is not None and shown.simulated is not None:
        st.session_state[SIMULATED_KIND] = shown.simulated.kind
        st.session_state[NUMBER] = (shown.simulated.number + 1) % 10_000


def jobs() -> Sequence[Kept]:
    """Give the jobs that were changed last."""
    return folder().latest(8)


# Beginning one


def simulated() -> SimulatedPart:
    """Give the part that is chosen for the simulated bench; number 1 before anything was."""
    # not as defaults of the widgets, which must not have one where `another` sets the value
    st.session_state.setdefault(SIMULATED_KIND, "propeller")
    st.session_state.setdefault(NUMBER, 1)
    return SimulatedPart(st.session_state[SIMULATED_KIND], int(st.session_state[NUMBER]))


@_told
def begin_simulated() -> None:
    """Begin a job on the simulated bench."""
    part = simulated()
    _begin(part.job(_stock()), part)


@_told
def begin_own() -> None:
    """Begin a job on a part of the person's own."""
    _begin(typed_part().job(_stock()))


def _begin(job: Job, part: SimulatedPart | None = None) -> None:
    leave()
    show(folder().begin(job, part))


def typed_part() -> TypedPart:
    """Give what is typed about the person's own part."""
    kind: Kind = "bell" if _get(KIND) == "bell" else "propeller"
    about = TypedPart(
        kind=kind,
        name=_get(NAME) or "",
        mass_g=_get(MASS),
        rpm=_get(RPM),
        hand=_get(HAND) or "ccw",
        grade_mm_s=_get(GRADE) or 6.3,
        ring_mm=_get(RING),
        stand=_get(STAND) or "",
        moving_g=_get(MOVING),
    )
    if kind == "bell":
        return about
    return replace(about, blades=int(_get(BLADES) or 2), inner_mm=_get(INNER), outer_mm=_get(OUTER))


def _stock() -> Stock:
    kind, width = _get(TAPE_KIND) or "aluminium", _get(TAPE_WIDTH) or 10.0
    return stock_of(kind, width, _get(STRIP_LENGTH), _get(STRIP_MASS))


# What is done at a step: each is one change, written at once


@_told
def do(id: str, seen: str, work: Callable[[Kept], Job]) -> None:
    """Change a job by one of `changes` that asks for nothing more."""
    folder().change(id, seen, work)


@_told
def fit_other(id: str, seen: str, other: Placement) -> None:
    """Note that the pieces of an alternative are on."""
    folder().change(id, seen, lambda kept: changes.fitted_as_advised(kept, other))


@_told
def fit_typed(id: str, seen: str) -> None:
    """Note that what was typed is on."""
    rows = [TypedMass(*(_get(piece_key(what, seen, n)) for what in _MASS)) for n in range(MOST_PIECES)]
    pieces = typed_pieces(rows, direction())
    folder().change(id, seen, lambda kept: changes.fitted_as_typed(kept, pieces))


_MASS = ("mass", "radius", "angle")


def piece_key(what: str, seen: str, number: int) -> str:
    """Name the widget for mass, radius or angle of a piece: anew after every change of the job."""
    return f"{what}_{number}_{seen}_{direction()}"


def more_rows(seen: str) -> int:
    """How many rows for pieces were asked for beyond those filled in."""
    asked = _get(_ROWS) or ("", 0)
    return int(asked[1]) if asked[0] == seen else 0


@_told
def ask_for_row(seen: str) -> None:
    """Ask for one more row for a piece."""
    st.session_state[_ROWS] = (seen, more_rows(seen) + 1)


@_told
def add_reading(id: str, seen: str, run: int) -> None:
    """Add the reading that was typed."""
    lead = _get("lead") == "lead"
    reading = reading_of(_get(f"amplitude_{run}") or "", _get(f"phase_{run}") or "", lead=lead)
    folder().change(id, seen, lambda kept: changes.read_off(kept, reading))


def keep_upload(key: str) -> None:
    """Read an uploaded file and keep it, so that a click finds it read; drop it with the widget's cross."""
    uploaded = _get(key)
    st.session_state[f"_{key}"] = (
        None if uploaded is None else _understood(uploaded.name, uploaded.getvalue())
    )


def _understood(name: str, data: bytes) -> Upload | str:
    try:
        return Upload.of(name, data)
    except BalancerError as error:
        return str(error)


def upload(key: str) -> Upload | str | None:
    """Give an uploaded recording, or why it cannot be read; None when there is none."""
    found: Upload | str | None = _get(f"_{key}")
    return found


@_told
def add_upload(id: str, seen: str, key: str) -> None:
    """Add the run of the recording that was handed in."""
    _with_upload(id, seen, key, changes.recorded)


@_told
def check_upload(id: str, seen: str, key: str) -> None:
    """Check the sensor by the recording that was handed in."""
    _with_upload(id, seen, key, changes.checked)


def _with_upload(id: str, seen: str, key: str, work: Callable[[Kept, Upload], Job]) -> None:
    found = upload(key)
    if not isinstance(found, Upload):
        st.session_state[_PROBLEM] = found or "still missing: the recording; drop a file and press again."
        return
    folder().change(id, seen, lambda kept: work(kept, found))
    st.session_state[f"_{key}"] = None


@_told
def set_aside(id: str, seen: str, numbers: Sequence[int], key: str) -> None:
    """Let runs not count, for the reason in a box."""
    reason = reason_of(_get(key) or "")
    folder().change(id, seen, lambda kept: changes.set_aside(kept, numbers, reason))


@_told
def take_back(id: str, seen: str, number: int) -> None:
    """Let a run count again."""
    folder().change(id, seen, lambda kept: changes.taken_back(kept, number))


# How things are shown


def direction() -> Direction:
    """How the angles shown and typed count; kept in the page's address."""
    chosen = _get(DIRECTION) or st.query_params.get(_ANGLES, "against")
    return "with" if chosen == "with" else "against"


def keep_direction() -> None:
    """Note the choice in the page's address."""
    st.query_params[_ANGLES] = direction()


def channel(job: Job) -> int:
    """Which sensor axis is shown: the one chosen, else the one that shakes most."""
    chosen = _get(CHANNEL)
    if isinstance(chosen, int) and job.runs and chosen < len(job.runs[0].run.readings):
        return chosen
    return strongest(job)

"""What the page of the guided job remembers, and what its clicks do. Jobs lie on disk (`keeping`).

The page's address names the job: so a reload, a second tab and a server started anew show the same one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import streamlit as st

from balancer.app import state
from balancer.app.guided import changes
from balancer.app.guided.changes import Upload
from balancer.app.guided.entries import TypedMass, TypedPart, reading_of, reason_of, stock_of, typed_pieces
from balancer.app.guided.keeping import JobFolder, Kept
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.guided.words import strongest
from balancer.core.pieces import Placement, Stock
from balancer.errors import BalancerError
from balancer.procedure.job import Job
from balancer.procedure.part import Kind

WHOSE, CHANNEL = "whose", "channel"
TAPE_KIND, TAPE_WIDTH, STRIP_LENGTH, STRIP_MASS = "tape_kind", "tape_width", "strip_length", "strip_mass"
SIMULATED_KIND, NUMBER = "simulated_kind", "number"
KIND, NAME, HAND, BLADES, MASS, RPM, GRADE = "kind", "name", "hand", "blades", "mass", "rpm", "grade"
INNER, OUTER, RING, STAND, MOVING = "inner", "outer", "ring", "stand", "moving"
MOST_PIECES = 8

_JOB = "job"  # in the page's address
_LAST, _ROWS = "_last", "_rows"


def folder() -> JobFolder:
    """Give the folder of the jobs: in that of the person's data, or where the server was told."""
    return JobFolder(state.home())


# Which job is shown


def kept() -> Kept | None:
    """Give the job that is shown: that of the page's address, else the last one; None on the start page.

    Raises
    ------
    InputError
        If its file cannot be read.
    """
    for id in (st.query_params.get(_JOB, ""), state.get(_LAST) or ""):
        if folder().holds(id):
            show(id)
            return folder().get(id)
    return None


def show(id: str) -> None:
    """Show a job."""
    if st.query_params.get(_JOB) != id:
        st.query_params[_JOB] = id
    st.session_state[_LAST] = id


@state.told
def open_job(id: str) -> None:
    """Take a job up again."""
    show(id)


@state.told
def leave() -> None:
    """Go back to the start page; the job stays as it is."""
    st.query_params.pop(_JOB, None)
    st.session_state.pop(_LAST, None)
    st.session_state.pop(CHANNEL, None)


@state.told
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


@state.told
def begin_simulated() -> None:
    """Begin a job on the simulated bench."""
    part = simulated()
    _begin(part.job(_stock()), part)


@state.told
def begin_own() -> None:
    """Begin a job on a part of the person's own."""
    _begin(typed_part().job(_stock()))


def _begin(job: Job, part: SimulatedPart | None = None) -> None:
    leave()
    show(folder().begin(job, part))


def typed_part() -> TypedPart:
    """Give what is typed about the person's own part."""
    kind: Kind = "bell" if state.get(KIND) == "bell" else "propeller"
    about = TypedPart(
        kind=kind,
        name=state.get(NAME) or "",
        mass_g=state.get(MASS),
        rpm=state.get(RPM),
        hand=state.get(HAND) or "ccw",
        grade_mm_s=state.get(GRADE) or 6.3,
        ring_mm=state.get(RING),
        stand=state.get(STAND) or "",
        moving_g=state.get(MOVING),
    )
    if kind == "bell":
        return about
    return replace(
        about, blades=int(state.get(BLADES) or 2), inner_mm=state.get(INNER), outer_mm=state.get(OUTER)
    )


def _stock() -> Stock:
    kind, width = state.get(TAPE_KIND) or "aluminium", state.get(TAPE_WIDTH) or 10.0
    return stock_of(kind, width, state.get(STRIP_LENGTH), state.get(STRIP_MASS))


# What is done at a step: each is one change, written at once


@state.told
def do(id: str, seen: str, work: Callable[[Kept], Job]) -> None:
    """Change a job by one of `changes` that asks for nothing more."""
    folder().change(id, seen, work)


@state.told
def fit_other(id: str, seen: str, other: Placement) -> None:
    """Note that the pieces of an alternative are on."""
    folder().change(id, seen, lambda kept: changes.fitted_as_advised(kept, other))


@state.told
def fit_typed(id: str, seen: str) -> None:
    """Note that what was typed is on."""
    rows = [TypedMass(*(state.get(piece_key(what, seen, n)) for what in _MASS)) for n in range(MOST_PIECES)]
    pieces = typed_pieces(rows, state.direction())
    folder().change(id, seen, lambda kept: changes.fitted_as_typed(kept, pieces))


_MASS = ("mass", "radius", "angle")


def piece_key(what: str, seen: str, number: int) -> str:
    """Name the widget for mass, radius or angle of a piece: anew after every change of the job."""
    return f"{what}_{number}_{seen}_{state.direction()}"


def more_rows(seen: str) -> int:
    """How many rows for pieces were asked for beyond those filled in."""
    asked = state.get(_ROWS) or ("", 0)
    return int(asked[1]) if asked[0] == seen else 0


@state.told
def ask_for_row(seen: str) -> None:
    """Ask for one more row for a piece."""
    st.session_state[_ROWS] = (seen, more_rows(seen) + 1)


@state.told
def add_reading(id: str, seen: str, run: int) -> None:
    """Add the reading that was typed."""
    lead = state.get("lead") == "lead"
    reading = reading_of(state.get(f"amplitude_{run}") or "", state.get(f"phase_{run}") or "", lead=lead)
    folder().change(id, seen, lambda kept: changes.read_off(kept, reading))


def keep_upload(key: str) -> None:
    """Read an uploaded file and keep it, so that a click finds it read; drop it with the widget's cross."""
    uploaded = state.get(key)
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
    found: Upload | str | None = state.get(f"_{key}")
    return found


@state.told
def add_upload(id: str, seen: str, key: str) -> None:
    """Add the run of the recording that was handed in."""
    _with_upload(id, seen, key, changes.recorded)


@state.told
def check_upload(id: str, seen: str, key: str) -> None:
    """Check the sensor by the recording that was handed in."""
    _with_upload(id, seen, key, changes.checked)


def _with_upload(id: str, seen: str, key: str, work: Callable[[Kept, Upload], Job]) -> None:
    found = upload(key)
    if not isinstance(found, Upload):
        state.say(found or "still missing: the recording; drop a file and press again.")
        return
    folder().change(id, seen, lambda kept: work(kept, found))
    st.session_state[f"_{key}"] = None


@state.told
def set_aside(id: str, seen: str, numbers: Sequence[int], key: str) -> None:
    """Let runs not count, for the reason in a box."""
    reason = reason_of(state.get(key) or "")
    folder().change(id, seen, lambda kept: changes.set_aside(kept, numbers, reason))


@state.told
def take_back(id: str, seen: str, number: int) -> None:
    """Let a run count again."""
    folder().change(id, seen, lambda kept: changes.taken_back(kept, number))


# How things are shown


def channel(job: Job) -> int:
    """Which sensor axis is shown: the one chosen, else the one that shakes most."""
    chosen = state.get(CHANNEL)
    if isinstance(chosen, int) and job.runs and chosen < len(job.runs[0].run.readings):
        return chosen
    return strongest(job)

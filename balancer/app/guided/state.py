"""What the page of the guided job remembers, and what its clicks do. Jobs lie on disk (`keeping`).

The page's address names the job: so a reload, a second tab and a server started anew show the same one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from balancer.app import state
from balancer.app.guided import back, begin, changes, link
from balancer.app.guided.begin import NEW, NONE, OnStand
from balancer.app.guided.changes import Upload
from balancer.app.guided.entries import (
    NewPart,
    TypedPart,
    reading_of,
    reason_of,
    stock_of,
)
from balancer.app.guided.keeping import JobFolder, Kept
from balancer.app.guided.on_rotor import TypedPiece, What, pieces_on, pieces_to_say
from balancer.app.guided.run_files import RunFile
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.guided.words import part_text, strongest
from balancer.app.units_shown import Vibration
from balancer.core.pieces import Placement, Stock
from balancer.errors import BalancerError
from balancer.history.records.part import PropellerSizes
from balancer.procedure.job import Job
from balancer.procedure.part import Kind
from balancer.units import mm_from_in

WHOSE, CHANNEL = "whose", "channel"
TAPE_KIND, TAPE_WIDTH, STRIP_LENGTH, STRIP_MASS = "tape_kind", "tape_width", "strip_length", "strip_mass"
SIMULATED_KIND, NUMBER = "simulated_kind", "number"
KIND, NAME, HAND, BLADES, MASS, RPM, GRADE = "kind", "name", "hand", "blades", "mass", "rpm", "grade"
INNER, OUTER, RING, STAND, MOVING = "inner", "outer", "ring", "stand", "moving"
PART, PART_KIND, BELL, STAND_CHOICE = "own_part", "own_kind", "own_bell", "own_stand"
AFTER, DIAMETER, OWN_MASS, FIRST = "own_after", "own_diameter", "own_mass", "own_first"
ALL_JOBS, FIND, TIE_PART, TIE_BELL = "all_jobs", "find_job", "tie_part", "tie_bell"
TIE_LABEL, TIE_DIAMETER = "tie_label", "tie_diameter"
MOST_PIECES, MOST_JOBS, MOST_LISTED = 8, 20, 1000

_JOB, _BEGIN = "job", "begin"  # in the page's address
_ASKED = "_asked"
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
    last = "" if _BEGIN in st.query_params else state.get(_LAST) or ""
    for id in (st.query_params.get(_JOB, ""), last):
        if folder().holds(id):
            show(id)
            return folder().get(id)
    return None


def show(id: str) -> None:
    """Show a job."""
    if st.query_params.get(_JOB) != id:
        st.query_params[_JOB] = id
    st.query_params.pop(_BEGIN, None)
    st.session_state[_LAST] = id


@state.told
def open_job(id: str) -> None:
    """Take a job up again."""
    show(id)


@state.told
def leave() -> None:
    """Go back to the start page; the job stays as it is."""
    for key in (_JOB, _BEGIN):
        st.query_params.pop(key, None)
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
    return folder().latest(MOST_JOBS)


def unreadable_jobs() -> Sequence[str]:
    """Say which of them cannot be read, and why."""
    return folder().unreadable(MOST_JOBS)


def job_missing() -> bool:
    """Say whether the address names a job that is not there, such as one that was removed."""
    return bool(st.query_params.get(_JOB))


def found_jobs() -> Sequence[Kept]:
    """Give all jobs whose part or stand holds what was typed; none until the list is opened."""
    if not state.get(ALL_JOBS):
        return ()
    wanted = str(state.get(FIND) or "").casefold().split()
    return [kept for kept in folder().latest(MOST_LISTED) if all(word in _text(kept) for word in wanted)]


def _text(kept: Kept) -> str:
    return f"{part_text(kept.job)} {kept.job.stand.name} {kept.changed:%Y-%m-%d}".casefold()


@state.told
def remove(id: str) -> None:
    """Take a job out of the lists; nothing of it is deleted."""
    folder().remove(id)
    if state.get(_LAST) == id:
        st.session_state.pop(_LAST)


# Beginning one


def usual(key: str, value: str) -> None:
    """Let a widget stand at a value before the person chose; the address may have set another one."""
    st.session_state.setdefault(key, value)


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
    id = folder().begin(part.job(_stock()), part)
    leave()
    show(id)


def part_asked() -> None:
    """Choose the part that the page's address asks for, once; the simulated bench before anything was."""
    # not as defaults of the widgets, which must not have one where the address sets the value
    st.session_state.setdefault(WHOSE, "simulated")
    asked = st.query_params.get(_BEGIN, "")
    if asked and asked != state.get(_ASKED):
        st.session_state.update({_ASKED: asked, WHOSE: "own", PART_KIND: "any", PART: asked})


def part_chosen() -> str:
    """Give the id of the part of the history that is chosen; `NEW` for one that is typed."""
    return state.get(PART) or NEW


@state.told
def note_part() -> None:
    """Note the chosen part in the page's address, so that a reload leads back to it."""
    chosen = part_chosen()
    st.session_state[_ASKED] = chosen
    if chosen == NEW:
        st.query_params.pop(_BEGIN, None)
    else:
        st.query_params[_BEGIN] = chosen


@state.told
def begin_own() -> None:
    """Begin a job on a part of the person's own: of the history, new in it, or for this job only."""
    chosen, typed, stand = part_chosen(), typed_part(), state.get(STAND_CHOICE) or NEW
    on = OnStand(bell_chosen(), stand)
    if chosen != NEW:
        id = begin.begin_known(folder(), chosen, typed, on, _stock())
    elif state.get(AFTER) == "keep":
        new = NewPart(typed, diameter_mm(DIAMETER), state.get(OWN_MASS))
        id = begin.begin_new(folder(), new, on, _stock())
    else:
        id = begin.begin_unkept(folder(), typed, stand, _stock())
    leave()
    show(id)


def bell_chosen() -> str:
    """Give the id of the bell that is chosen for the propeller; empty for none of those in the history."""
    bell = state.get(for_part(BELL)) or NONE
    return "" if bell == NONE else str(bell)


def for_part(key: str) -> str:
    """Name a widget that each part of the history has for itself."""
    return f"{key}_{part_chosen()}" if part_chosen() != NEW else key


def length_unit_key(key: str) -> str:
    """Name the choice of the unit of a length."""
    return f"{key}_unit"


def length_unit(key: str) -> str:
    """In which unit a length is typed: mm or in."""
    return "in" if state.get(length_unit_key(key)) == "in" else "mm"


def length_key(key: str) -> str:
    """Name the box for a length: one for each unit, so that a number never changes its unit."""
    return f"{key}_in" if length_unit(key) == "in" else key


def diameter_mm(key: str) -> float | None:
    """Give a typed length in mm; None where nothing is typed."""
    typed: float | None = state.get(length_key(key))
    return typed if typed is None or length_unit(key) == "mm" else mm_from_in(typed)


def first_key() -> str:
    """Name the box for the angle of blade 1: one for each way of counting, filled in from the other."""
    way = state.direction()
    key, other = f"{FIRST}_{way}", f"{FIRST}_{'with' if way == 'against' else 'against'}"
    before = st.session_state.pop(other, None)
    if before is not None:
        st.session_state[key] = 0.0 - before
    st.session_state.setdefault(key, 0.0)
    return key


def typed_part() -> TypedPart:
    """Give what is typed about the person's own part."""
    kind: Kind = "bell" if state.get(KIND) == "bell" else "propeller"
    first = state.get(first_key()) or 0.0
    about = TypedPart(
        kind=kind,
        name=state.get(NAME) or "",
        mass_g=state.get(for_part(MASS)),
        rpm=state.get(for_part(RPM)),
        hand=state.get(HAND) or "ccw",
        grade_mm_s=state.get(GRADE) or 6.3,
        inner_mm=state.get(for_part(INNER)),
        outer_mm=state.get(for_part(OUTER)),
        ring_mm=state.get(for_part(RING)),
        first_deg=first if state.direction() == "against" else -first,
        stand=state.get(STAND) or "",
        moving_g=state.get(MOVING),
    )
    return about if kind == "bell" else replace(about, blades=int(state.get(BLADES) or 2))


def _stock() -> Stock:
    kind, width = state.get(TAPE_KIND) or "aluminium", state.get(TAPE_WIDTH) or 10.0
    return stock_of(kind, width, state.get(STRIP_LENGTH), state.get(STRIP_MASS))


# The history


@state.told
def tie(id: str) -> None:
    """Keep a job with the part that is chosen for it."""
    part, bell = state.get(f"{TIE_PART}_{id}"), state.get(f"{TIE_BELL}_{id}") or NONE
    label, diameter = state.get(f"{TIE_LABEL}_{id}") or "", diameter_mm(f"{TIE_DIAMETER}_{id}")
    if part is None:
        state.say("still missing: the part; choose it and press again.")
        return
    if part == NEW:
        part = begin.keep_part_of(folder(), id, label, diameter)
    folder().tie(id, part, "" if bell == NONE else bell)


@state.told
def keep_now(id: str) -> None:
    """Keep a job in the history, where that did not work at its last change."""
    folder().keep_now(id)


@state.told
def decline_stored(id: str, seen: str) -> None:
    """Go on without the stored influence coefficient."""
    folder().decline(id, seen)


@state.told
def use_stored(id: str, seen: str) -> None:
    """Use a stored influence coefficient after all."""
    folder().use_stored(id, seen)


# What is done at a step: each is one change, written at once


def _change(id: str, seen: str, work: Callable[[Kept], Job], recording: RunFile | None = None) -> None:
    """Change the job, so that one can go back to before it."""
    back.change(folder(), id, seen, work, recording=recording)


@state.told
def do(id: str, seen: str, work: Callable[[Kept], Job]) -> None:
    """Change a job by one of `changes` that asks for nothing more."""
    _change(id, seen, work)


@state.told
def go_back(id: str, seen: str) -> None:
    """Take back what was said last; a run made since is set aside."""
    folder().change(id, seen, back.gone_back)


@state.told
def fit_other(id: str, seen: str, other: Placement) -> None:
    """Note that the pieces of an alternative are on."""
    _change(id, seen, lambda kept: changes.fitted_as_advised(kept, other))


@state.told
def fit_typed(id: str, seen: str) -> None:
    """Note that what was typed is on."""
    rows = [typed_piece(seen, n) for n in range(MOST_PIECES)]

    def work(kept: Kept) -> Job:
        job = kept.job
        shown = pieces_to_say(kept)
        return changes.fitted_as_typed(
            kept, pieces_on(rows, shown, job.part.places, job.stock, state.direction())
        )

    _change(id, seen, work)


def typed_piece(seen: str, number: int) -> TypedPiece:
    """Give what is typed in a row; an empty one if there is no such row."""

    def typed(what: str) -> Any:
        return state.get(piece_key(what, seen, number))

    what: What = typed("what") or "mass"
    return TypedPiece(
        what,
        typed(f"where_{what}") or "",
        typed("length"),
        int(typed("layers") or 1),
        typed("mass"),
        typed("radius"),
        typed("angle"),
    )


def piece_key(what: str, seen: str, number: int) -> str:
    """Name the widget for a fact about a piece: anew after every change of the job."""
    return f"{what}_{number}_{seen}_{state.direction()}"


def more_rows(seen: str) -> int:
    """How many rows for pieces were asked for beyond those filled in."""
    asked = state.get(_ROWS) or ("", 0)
    return int(asked[1]) if asked[0] == seen else 0


@state.told
def ask_for_row(seen: str) -> None:
    """Ask for one more row for a piece."""
    st.session_state[_ROWS] = (seen, more_rows(seen) + 1)


def amplitude_key(run: int, unit: Vibration) -> str:
    """Name the box for a typed amplitude: a number never changes its unit while it stands there."""
    return f"amplitude_{run}_{unit.word}"


@state.told
def add_reading(id: str, seen: str, run: int, unit: Vibration) -> None:
    """Add the reading that was typed."""
    lead = state.get("lead") == "lead"
    size, phase = state.get(amplitude_key(run, unit)) or "", state.get(f"phase_{run}") or ""
    reading = reading_of(size, phase, lead=lead, unit=unit)
    _change(id, seen, lambda kept: changes.read_off(kept, reading))


HandedIn = tuple[Upload, RunFile] | str | None
"""A recording that was handed in, as it was read and as it came; or why it cannot be read; or none yet."""


def keep_upload(key: str, found: HandedIn) -> None:
    """Keep what was handed in, so that a click finds it read."""
    st.session_state[f"_{key}"] = found


def upload(key: str) -> HandedIn:
    """Give what was handed in."""
    found: HandedIn = state.get(f"_{key}")
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
    if found is None or isinstance(found, str):
        state.say(found or "still missing: the recording; drop a file and press again.")
        return
    understood, file = found
    _change(id, seen, lambda kept: work(kept, understood), recording=file)
    st.session_state[f"_{key}"] = None


@state.told
def set_aside(id: str, seen: str, numbers: Sequence[int], key: str) -> None:
    """Let runs not count, for the reason in a box."""
    reason = reason_of(state.get(key) or "")
    _change(id, seen, lambda kept: changes.set_aside(kept, numbers, reason))


@state.told
def take_back(id: str, seen: str, number: int) -> None:
    """Let a run count again."""
    _change(id, seen, lambda kept: changes.taken_back(kept, number))


# How things are shown


def tip(kept: Kept) -> float | None:
    """Give the radius of a propeller in m, where it is known: simulated, or a part of the history."""
    if kept.simulated is not None:
        return kept.simulated.tip
    try:
        store = link.history(state.home()) if kept.link.part else None
        sizes = None if store is None else link.part_in_use(store, kept.link.part).sizes
    except BalancerError:
        return None  # it is drawn a little longer than the place of the tape
    return sizes.diameter / 2 if isinstance(sizes, PropellerSizes) else None


def channel(job: Job) -> int:
    """Which sensor axis is shown: the one chosen, else the one that shakes most."""
    chosen = state.get(CHANNEL)
    if isinstance(chosen, int) and job.runs and chosen < len(job.runs[0].run.readings):
        return chosen
    return strongest(job)

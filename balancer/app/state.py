"""What the page remembers until it is reloaded. No other module touches `st.session_state`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import wraps
from typing import Any, ParamSpec

import streamlit as st

from balancer.app.services import BenchJob, FileJob, FileRun, Result, RotorFacts, TypedMass, read_text, roll
from balancer.app.words import strongest
from balancer.core.tape import Tape, usual_tape
from balancer.errors import BalancerError
from balancer.units import kg_from_g, m_from_mm
from balancer.wording import Direction

READ, SOURCE, DIRECTION, CHANNEL = "read", "source", "direction", "channel"
TAPE_KIND, TAPE_WIDTH, STRIP_LENGTH, STRIP_MASS = "tape_kind", "tape_width", "strip_length", "strip_mass"
PART, SEED = "part", "seed"
KIND, HAND, BLADES, ROTOR_MASS = "rotor_kind", "rotor_hand", "rotor_blades", "rotor_mass"
RADIUS, TAPE_RADIUS, RING_RADIUS, EXPECTED = "rotor_radius", "tape_radius", "ring_radius", "expected_rpm"
MOST_RUNS, MOST_PIECES = 8, 6

_JOB, _SOLVED, _PROBLEM, _COUNT, _COUNTED = "_job", "_solved", "_problem", "_run_count", "_counted"
_DEFAULTS: dict[str, Any] = {
    READ: False,
    DIRECTION: "against",
    _COUNTED: "against",
    CHANNEL: 0,
    _COUNT: 2,
    _PROBLEM: "",
}

_P = ParamSpec("_P")


@dataclass(frozen=True)
class KeptFile:
    """A file as handed in, whether it could be read, and what was understood or what is wrong."""

    name: str
    data: bytes = field(repr=False)
    readable: bool
    words: str


def _get(key: str) -> Any:
    return st.session_state.get(key, _DEFAULTS.get(key))


def _told(work: Callable[_P, None]) -> Callable[_P, None]:
    """Keep what a person can put right for the page to show; a click that works clears it."""

    @wraps(work)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> None:
        st.session_state[_PROBLEM] = ""
        try:
            work(*args, **kwargs)
        except BalancerError as error:
            st.session_state[_PROBLEM] = str(error)

    return wrapped


def problem() -> str:
    """Give the sentence of what went wrong at the last click; empty when nothing did."""
    return str(_get(_PROBLEM))


@_told
def source_chosen() -> None:
    """Forget what went wrong on the other side."""


def cautions_read() -> bool:
    """Whether the person has said so."""
    return bool(_get(READ))


def read_cautions() -> None:
    """Note that the cautions were read."""
    st.session_state[READ] = True


def direction() -> Direction:
    """How the angles shown and typed count."""
    return "with" if _get(DIRECTION) == "with" else "against"


def turn_typed_angles() -> None:
    """Turn the angles that are typed already, so that each still means the same spot of the rotor."""
    if direction() == _get(_COUNTED):
        return
    st.session_state[_COUNTED] = direction()
    for run in range(MOST_RUNS):
        for piece in range(MOST_PIECES):
            key = mass_key("angle", run, piece)
            if _get(key) is not None:
                st.session_state[key] = _turned(_get(key))


def channel() -> int:
    """Which sensor axis is shown."""
    return int(_get(CHANNEL))


def tape() -> Tape:
    """Give the roll of tape as chosen.

    Raises
    ------
    InputError
        If its figures are missing or impossible.
    """
    return roll(_get(TAPE_KIND), _get(TAPE_WIDTH), _get(STRIP_LENGTH), _get(STRIP_MASS))


def bench_job() -> BenchJob | None:
    """Give the job on the simulated bench; None before its first spin."""
    job: BenchJob | None = _get(_JOB)
    return job


def chosen_rotor() -> RotorFacts:
    """Give the part that is chosen for the simulated bench."""
    return BenchJob.of(_get(PART), _get(SEED), usual_tape("aluminium", 0.010)).rotor


@_told
def begin() -> None:
    """Put the chosen part on the simulated bench and spin it as it is."""
    job = BenchJob.of(_get(PART), _get(SEED), tape()).spun()
    st.session_state[_JOB] = job
    st.session_state[CHANNEL] = strongest(job.runs[0].measurement)


@_told
def spin() -> None:
    """Make the next run of the job."""
    job = bench_job()
    if job is not None and not job.done:
        st.session_state[_JOB] = job.spun()


@_told
def start_again() -> None:
    """Take the part off the bench; what was chosen stays chosen."""
    st.session_state[_JOB] = None


def mass_key(what: str, run: int, piece: int) -> str:
    """Name the widget for the mass, radius or angle of a piece."""
    return f"{what}_{run}_{piece}"


def file_key(run: int) -> str:
    """Name the widget for the recording of a run."""
    return f"file_{run}"


def purpose_key(run: int) -> str:
    """Name the widget for the purpose of a run."""
    return f"purpose_{run}"


def run_count() -> int:
    """How many runs the form has."""
    return int(_get(_COUNT))


@_told
def change_runs(by: int) -> None:
    """Add a run to the form or take the last one off."""
    st.session_state[_COUNT] = min(max(run_count() + by, 2), MOST_RUNS)


def piece_count(run: int) -> int:
    """How many pieces were fitted in a run: none in the first."""
    return 0 if run == 0 else int(st.session_state.get(f"_pieces_{run}", 1))


@_told
def change_pieces(run: int, by: int) -> None:
    """Add a piece to a run or take its last one off."""
    st.session_state[f"_pieces_{run}"] = min(max(piece_count(run) + by, 1), MOST_PIECES)


def keep_file(run: int) -> None:
    """Read an uploaded file and keep it, so that it outlives its widget; drop it with the widget's cross."""
    uploaded = _get(file_key(run))
    kept = None if uploaded is None else _understood(uploaded.name, uploaded.getvalue())
    st.session_state[f"_kept_{run}"] = kept


def kept_file(run: int) -> KeptFile | None:
    """Give the file of a run; None when there is none."""
    kept: KeptFile | None = _get(f"_kept_{run}")
    return kept


def _understood(name: str, data: bytes) -> KeptFile:
    try:
        return KeptFile(name, data, True, read_text(name, data))
    except BalancerError as error:
        return KeptFile(name, data, False, str(error))


def _file_job() -> FileJob:
    return FileJob(tuple(_file_run(run) for run in range(run_count())), _rotor(), tape(), _get(EXPECTED))


def _file_run(run: int) -> FileRun:
    kept = kept_file(run)
    name, data = ("", None) if kept is None else (kept.name, kept.data)
    purpose = "as-is" if run == 0 else _get(purpose_key(run)) or "trial"
    return FileRun(name, data, purpose, tuple(_typed(run, piece) for piece in range(piece_count(run))))


def _typed(run: int, piece: int) -> TypedMass:
    mass, radius, angle = (_get(mass_key(what, run, piece)) for what in ("mass", "radius", "angle"))
    if angle is not None:
        angle = _turned(angle) if direction() == "with" else angle % 360.0
    return TypedMass(mass, radius, angle)


def _turned(angle_deg: float) -> float:
    """Count an angle the other way round; rounded, so that turning it back gives the same number."""
    return round(-angle_deg % 360.0, 6)


def _rotor() -> RotorFacts:
    mass = _get(ROTOR_MASS)
    part = _get(KIND)
    ring = m_from_mm(_get(RING_RADIUS))
    known = RotorFacts(
        part=part, hand=_get(HAND), ring_radius=ring, mass=None if mass is None else kg_from_g(mass)
    )
    if part == "bell":
        return replace(known, radius=ring, tape_radius=ring)
    return replace(
        known,
        radius=m_from_mm(_get(RADIUS)),
        tape_radius=m_from_mm(_get(TAPE_RADIUS)),
        blades=int(_get(BLADES)),
    )


@_told
def solve_files() -> None:
    """Measure and solve the files as the form stands; a result that no longer holds is taken away."""
    st.session_state[_SOLVED] = None
    job = _file_job()
    result = job.solved()
    st.session_state[_SOLVED] = (job, result)
    st.session_state[CHANNEL] = strongest(result.measured[0])


def file_result() -> tuple[Result, bool] | None:
    """Give the result of the files and whether the form still says the same; None before there is one."""
    solved: tuple[FileJob, Result] | None = _get(_SOLVED)
    if solved is None:
        return None
    try:
        return solved[1], _file_job() == solved[0]
    except BalancerError:
        return solved[1], False

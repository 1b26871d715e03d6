"""From runs with one part turned on the other to the unbalance of each part in its own frame."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from balancer.core.grade import DEFAULT_GRADE, grade_of, permissible_unbalance
from balancer.core.indexing import Parts, split_parts, unbalances_of_readings
from balancer.core.runs import Run
from balancer.core.vectors import OrderVector, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.entry_runs import SAME_SPEED, run_of_entry
from balancer.procedure.index_file import IndexFile, PartFacts
from balancer.procedure.runs_file import read_runs_file
from balancer.procedure.solve import solve_file


@dataclass(frozen=True)
class _Known:
    """Influence coefficients, where they were found, and what was noticed about them."""

    influence: tuple[UncertainComplex, ...] | None
    speed: float | None = None
    findings: tuple[Finding, ...] = ()


_NOBODY = PartFacts()
_MUCH_SCATTER = 0.5  # of the larger part: then how it seats is the first thing to cure
_SAME_PLACE = math.radians(1.0)


@dataclass(frozen=True)
class PartResult:
    """What belongs to one part.

    Parameters
    ----------
    name : str
        As the person calls it, or ``kept part`` and ``turned part``.
    vector : UncertainComplex
        In the part's own frame: unbalance in kg m, or the vibration that it makes.
    grade : float or None
        Balance quality grade in m/s that it amounts to; None without mass, speed or coefficient.
    permissible : float or None
        Permissible residual unbalance in kg m; None likewise.
    """

    name: str
    vector: UncertainComplex
    grade: float | None = None
    permissible: float | None = None


@dataclass(frozen=True)
class Position:
    """One way to leave the part on the other.

    Parameters
    ----------
    angle : float
        Index in rad.
    left : UncertainComplex
        What both parts make together, in kg m or as vibration.
    """

    angle: float
    left: UncertainComplex


@dataclass(frozen=True)
class Indexing:
    """Runs with one part turned, solved.

    Parameters
    ----------
    parts : Parts
        The mathematics' answer.
    in_unbalance : bool
        True when vectors are in kg m; False when no coefficient was known and they are vibration.
    kept, turned : PartResult
        The part that keeps the mark and the one that is turned on it.
    positions : tuple of Position
        Those possible, the best first.
    runs : int
        How many were used.
    speed : float or None
        In rad/s.
    findings : tuple of Finding
        What was noticed.
    """

    parts: Parts
    in_unbalance: bool
    kept: PartResult
    turned: PartResult
    positions: tuple[Position, ...]
    runs: int
    speed: float | None
    findings: tuple[Finding, ...]


def index_parts(  # noqa: PLR0913 - what is known of the two parts and of the stand, all by name
    runs: Sequence[Run],
    angles: Sequence[float],
    *,
    influence: Sequence[UncertainComplex] | None = None,
    influence_speed: float | None = None,
    kept: PartFacts = _NOBODY,
    turned: PartFacts = _NOBODY,
    grade: float | None = None,
    possible: Sequence[float] | None = None,
) -> Indexing:
    """Tell the parts apart.

    Parameters
    ----------
    runs : sequence of Run
        With phase, each with the part taken off and seated anew; nothing fitted or the same all the time.
    angles : sequence of float
        Index of each run in rad: how far the part is turned on the other, against the rotation. For a
        propeller count the angle of one marked blade from the mark: then its unbalance counts from it.
    influence : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m. Without it the parts come out as
        vibration of the first channel, which serves to choose a position.
    influence_speed : float, optional
        Speed in rad/s at which it was found; it is converted to that of the runs as readings are.
    kept, turned : PartFacts, optional
        The part that keeps the mark, and the one that is turned on it.
    grade : float, optional
        Balance quality grade asked for in m/s; G6.3 by default.
    possible : sequence of float, optional
        Indices in rad at which the part may be left; those of the runs by default.

    Returns
    -------
    Indexing
        Each part in its own frame, and the positions with the best first.

    Raises
    ------
    InputError
        If the runs cannot tell the parts apart.
    """
    if not all(run.has_phase for run in runs):
        raise InputError("indexing needs a phase in every run", todo="record with the pick-up")
    if len({len(run.readings) for run in runs}) > 1:
        raise InputError(
            "the runs do not hold the same channels", todo="record every run with the same set-up"
        )
    speeds = [run.speed for run in runs if run.speed is not None]
    speed = speeds[0] if speeds else None
    compared = runs if speed is None else [run.at_speed(speed) for run in runs]
    readings = [_vectors(run) for run in compared]
    if influence is None:
        parts = split_parts([one[0] for one in readings], angles)
    else:
        known = Run(tuple(influence), speed=influence_speed)
        if speed is not None:
            known = known.at_speed(speed)
        unbalances, doubt = unbalances_of_readings(readings, _vectors(known))
        parts = split_parts(unbalances, angles, doubt)
    wanted = None if influence is None or speed is None else (speed, grade or DEFAULT_GRADE)
    results = (
        _result(kept.name or "kept part", parts.kept, kept.mass, wanted),
        _result(turned.name or "turned part", parts.turned, turned.mass, wanted),
    )
    positions = _positions(parts, angles if possible is None else possible)
    return Indexing(
        parts=parts,
        in_unbalance=influence is not None,
        kept=results[0],
        turned=results[1],
        positions=positions,
        runs=len(runs),
        speed=speed,
        findings=(
            *_speed_findings(speeds),
            *_scatter_findings(parts),
            *_unseen(parts, results),
            *_alike(parts, positions),
        ),
    )


def _vectors(run: Run) -> list[UncertainComplex]:
    return [reading for reading in run.readings if isinstance(reading, UncertainComplex)]


def _result(
    name: str, vector: UncertainComplex, mass: float | None, wanted: tuple[float, float] | None
) -> PartResult:
    if mass is None or wanted is None:
        return PartResult(name, vector)
    speed, grade = wanted
    return PartResult(
        name, vector, grade_of(vector.amplitude, mass, speed), permissible_unbalance(mass, speed, grade)
    )


def _positions(parts: Parts, angles: Sequence[float]) -> tuple[Position, ...]:
    kept: list[float] = []
    for angle in angles:
        if all(abs(math.remainder(angle - other, 2 * math.pi)) > _SAME_PLACE for other in kept):
            kept.append(angle)
    found = (Position(angle, parts.together(angle)) for angle in kept)
    return tuple(sorted(found, key=lambda position: position.left.amplitude))


def _speed_findings(speeds: Sequence[float]) -> list[Finding]:
    spread = (max(speeds) - min(speeds)) / max(speeds) if speeds else 0.0
    return (
        [Finding.of("speeds_differ", "warning", spread_percent=100 * spread)] if spread > SAME_SPEED else []
    )


def _scatter_findings(parts: Parts) -> list[Finding]:
    if parts.scatter is None:
        return [Finding.of("seating_scatter_untold", "info")]
    # both components together, as the parts' amplitudes are
    share = math.sqrt(2) * parts.scatter.sd / max(parts.kept.amplitude, parts.turned.amplitude, 1e-300)
    if share <= _MUCH_SCATTER:
        return []
    return [Finding.of("seating_scatter_large", "warning", scatter_percent=100 * share)]


def _unseen(parts: Parts, results: Sequence[PartResult]) -> list[Finding]:
    return [
        Finding.of("part_not_seen", "info", names=result.name)
        for result in results
        if result.vector.amplitude < parts.coverage * result.vector.covariance.radius
    ]


def _alike(parts: Parts, positions: Sequence[Position]) -> list[Finding]:
    """Say when the best position cannot be told from the worst; they differ by the turned part alone."""
    if len(positions) < 2:
        return []
    best, worst = positions[0], positions[-1]
    step = abs(cmath.exp(1j * worst.angle) - cmath.exp(1j * best.angle))
    doubt = parts.coverage * step * parts.turned.covariance.radius
    gain = worst.left.amplitude - best.left.amplitude
    return [Finding.of("positions_alike", "info")] if gain < doubt else []


def index_file(job: IndexFile, *, progress: Callable[[str], None] = lambda _: None) -> Indexing:
    """Measure the recordings of an index file and tell the parts apart.

    Parameters
    ----------
    job : IndexFile
        The file's content.
    progress : callable, optional
        Is told the name of each recording before it is read.

    Returns
    -------
    Indexing
        Each part in its own frame, and the positions with the best first.

    Raises
    ------
    InputError
        With file and line, if the runs cannot tell the parts apart.
    """
    if len({entry.recording is None for entry in job.runs}) > 1:
        raise InputError(
            "recordings and typed amplitudes do not mix: their units may differ",
            todo="use one kind for all runs",
            file=job.name,
            line=job.runs[-1].line,
        )
    runs, findings = [], []
    for entry in job.runs:
        run, noticed = run_of_entry(entry, file=job.name, speed=job.speed, hints=job.hints, progress=progress)
        runs.append(run)
        findings += [finding for finding in noticed if finding not in findings]
    try:
        known = _known(job, runs, progress)
        single = job.channel or job.solved_runs is None
        found = index_parts(
            [_only(run, job.channel) for run in runs] if single else runs,
            job.angles,
            influence=known.influence,
            influence_speed=known.speed,
            kept=job.kept,
            turned=job.turned,
            grade=job.grade,
            possible=job.possible,
        )
    except InputError as error:
        raise error.at(job.name, job.runs[-1].line) from None
    return replace(found, findings=(*findings, *known.findings, *found.findings))


def _only(run: Run, channel: str | None) -> Run:
    """Keep one channel of a run: the one named, or the first."""
    if channel is None:
        return replace(run, readings=run.readings[:1])
    readings = tuple(r for r in run.readings if isinstance(r, OrderVector) and r.channel == channel)
    if not readings:
        names = [r.channel for r in run.readings if isinstance(r, OrderVector)]
        have = f"they are {', '.join(names)}" if names else "readings typed in have no names"
        raise InputError(f"there is no channel {channel}: {have}", todo="give another, or leave channel out")
    return replace(run, readings=readings)


def _known(job: IndexFile, runs: Sequence[Run], progress: Callable[[str], None]) -> _Known:
    """Give the coefficients: typed in, solved from a runs file, or none."""
    if job.influence is not None:
        assumed = (Finding.of("influence_uncertainty_assumed", "info"),) if job.assumed_sd else ()
        return _Known((job.influence,), findings=assumed)
    if job.solved_runs is None:
        return _Known(None, findings=(Finding.of("index_without_influence", "info"),))
    solution = solve_file(read_runs_file(job.solved_runs), progress=progress)
    if solution.answer.method != "influence":
        raise InputError(
            f"{job.solved_runs} gives no influence coefficient with a phase",
            todo="give runs with phase, or leave runs out",
        )
    findings = [finding for finding in solution.findings if finding.severity != "info"]
    speed = runs[0].speed
    if speed is not None and solution.speed is not None and abs(solution.speed / speed - 1) > SAME_SPEED:
        off = 100 * abs(solution.speed / speed - 1)
        findings.append(Finding.of("influence_speed_differs", "warning", off_percent=off))
    influence = solution.answer.influence
    if job.channel is not None:
        names = [r.channel if isinstance(r, OrderVector) else "" for r in solution.runs[0].readings]
        if job.channel not in names:
            raise InputError(
                f"{job.solved_runs} has no channel {job.channel}", todo="give another, or leave channel out"
            )
        influence = (influence[names.index(job.channel)],)
    return _Known(influence, solution.speed, tuple(findings))

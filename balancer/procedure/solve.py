"""From runs to a correction: recordings measured, the method chosen, the residual graded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from balancer.core.amplitude_only import solve_amplitude_only
from balancer.core.answer import Answer
from balancer.core.changes import find_change
from balancer.core.grade import DEFAULT_GRADE, grade_of, permissible_unbalance
from balancer.core.influence import solve_influence
from balancer.core.outliers import outliers
from balancer.core.runs import Run
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.entry_runs import SAME_SPEED, run_of_entry
from balancer.procedure.runs_file import RunsFile


@dataclass(frozen=True)
class Residual:
    """The unbalance left with what is fitted in the last run.

    Parameters
    ----------
    unbalance, sd : float
        In kg m, with its standard uncertainty.
    grade : float or None
        Balance quality grade in m/s that it amounts to; None when rotor mass or speed are not known.
    permissible : float or None
        Permissible residual unbalance in kg m; None likewise.
    """

    unbalance: float
    sd: float
    grade: float | None
    permissible: float | None


@dataclass(frozen=True)
class Solution:
    """A solved job.

    Parameters
    ----------
    answer : Answer
        The mathematics' answer.
    runs : tuple of Run
        What it was solved from.
    radius : float
        In m, for turning unbalance into mass.
    speed : float or None
        In rad/s: that of the first run, to which the others were converted (`Run.at_speed`).
    residual : Residual
        What is left in the last run.
    findings : tuple of Finding
        What was noticed in measuring and solving.
    """

    answer: Answer
    runs: tuple[Run, ...]
    radius: float
    speed: float | None
    residual: Residual
    findings: tuple[Finding, ...]


def solve_runs(
    runs: Sequence[Run],
    *,
    radius: float,
    rotor_mass: float | None = None,
    grade: float | None = None,
    findings: Sequence[Finding] = (),
    known: Sequence[UncertainComplex] | None = None,
) -> Solution:
    """Solve runs by the method that their readings allow.

    Parameters
    ----------
    runs : sequence of Run
        All with phase, or all without.
    radius : float
        In m.
    rotor_mass : float, optional
        In kg, for the grade.
    grade : float, optional
        Balance quality grade asked for in m/s; G6.3 by default.
    findings : sequence of Finding
        What was noticed before.
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m at the speed of the first run, known
        beforehand (`procedure.trust`): with phase one run then suffices.

    Returns
    -------
    Solution
        Correction and residual.

    Raises
    ------
    InputError
        If the runs do not determine a correction.
    """
    with_phase = {run.has_phase for run in runs}
    if len(with_phase) > 1:
        raise InputError(
            "some runs have a phase and some have not",
            todo="give all runs a phase, or leave it out of every run",
        )
    speeds = [run.speed for run in runs if run.speed is not None]
    speed = speeds[0] if speeds else None
    compared = runs if speed is None else [run.at_speed(speed) for run in runs]
    solve = solve_influence if with_phase == {True} else solve_amplitude_only
    answer = solve(compared, known)
    return Solution(
        answer=answer,
        runs=tuple(runs),
        radius=radius,
        speed=speed,
        residual=_residual(answer, rotor_mass, speed, grade or DEFAULT_GRADE),
        findings=(
            *findings,
            *_speed_findings(speeds),
            *answer.findings,
            *(_contradictions(compared, known) if with_phase == {True} else ()),
        ),
    )


def _residual(answer: Answer, rotor_mass: float | None, speed: float | None, grade: float) -> Residual:
    left = answer.next_correction
    if rotor_mass is None or speed is None:
        return Residual(left.amplitude, left.sd_amplitude, None, None)
    return Residual(
        left.amplitude,
        left.sd_amplitude,
        grade_of(left.amplitude, rotor_mass, speed),
        permissible_unbalance(rotor_mass, speed, grade),
    )


def _contradictions(runs: Sequence[Run], known: Sequence[UncertainComplex] | None) -> list[Finding]:
    """Say what changed on the way, or else which run the others contradict."""
    change = find_change(runs, known)
    if change is None:
        return [outlier.finding for outlier in outliers(runs, known)]
    # that the known coefficient does not hold at all, the answer has said
    return [] if change.kind == "influence" and change.run == 0 else [change.finding]


def _speed_findings(speeds: Sequence[float]) -> list[Finding]:
    spread = (max(speeds) - min(speeds)) / max(speeds) if speeds else 0.0
    return (
        [Finding.of("speeds_differ", "warning", spread_percent=100 * spread)] if spread > SAME_SPEED else []
    )


def solve_file(job: RunsFile, *, progress: Callable[[str], None] = lambda _: None) -> Solution:
    """Measure the recordings of a runs file and solve it.

    Parameters
    ----------
    job : RunsFile
        The file's content.
    progress : callable, optional
        Is told the name of each recording before it is read.

    Returns
    -------
    Solution
        Correction and residual.

    Raises
    ------
    InputError
        With file and line, if the runs do not determine a correction.
    """
    kinds = {entry.recording is None for entry in job.runs}
    if len(kinds) > 1:
        raise InputError(
            "recordings and typed amplitudes do not mix: their units may differ",
            todo="use one kind for all runs",
            file=job.name,
            line=job.runs[-1].line,
        )
    findings: list[Finding] = []
    runs = []
    for entry in job.runs:
        run, noticed = run_of_entry(entry, file=job.name, speed=job.speed, hints=job.hints, progress=progress)
        runs.append(run)
        findings += [finding for finding in noticed if finding not in findings]
    try:
        return solve_runs(
            runs, radius=job.radius, rotor_mass=job.rotor_mass, grade=job.grade, findings=findings
        )
    except InputError as error:
        raise error.at(job.name, job.runs[-1].line) from None

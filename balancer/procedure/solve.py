"""From runs to a correction: recordings measured, the method chosen, the residual graded."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from balancer.core.amplitude_only import solve_amplitude_only
from balancer.core.answer import Answer
from balancer.core.grade import DEFAULT_GRADE, grade_of, permissible_unbalance
from balancer.core.influence import solve_influence
from balancer.core.masses import Mass
from balancer.core.runs import Reading, Run
from balancer.errors import BalancerError, InputError
from balancer.findings import Finding
from balancer.procedure.measure import Measurement, measure
from balancer.procedure.runs_file import RunEntry, RunsFile
from balancer.recording.files import read

SAME_SPEED = 0.02  # share by which runs may differ in speed before it is said


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
    answer = solve_influence(compared) if with_phase == {True} else solve_amplitude_only(compared)
    return Solution(
        answer=answer,
        runs=tuple(runs),
        radius=radius,
        speed=speed,
        residual=_residual(answer, rotor_mass, speed, grade or DEFAULT_GRADE),
        findings=(*findings, *_speed_findings(speeds), *answer.findings),
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


def _speed_findings(speeds: Sequence[float]) -> list[Finding]:
    spread = (max(speeds) - min(speeds)) / max(speeds) if speeds else 0.0
    return (
        [Finding.of("speeds_differ", "warning", spread_percent=100 * spread)] if spread > SAME_SPEED else []
    )


def run_of(measured: Measurement, masses: tuple[Mass, ...], purpose: str = "") -> Run:
    """Make a run of a measurement and of what the person says was fitted.

    Parameters
    ----------
    measured : Measurement
        Of the recording.
    masses : tuple of Mass
        All that was fitted beyond the rotor as found.
    purpose : str
        ``as-is``, ``trial``, ``correction``, ``trim``, ``check`` or empty.

    Returns
    -------
    Run
        With phase if the recording had marks.
    """
    readings: tuple[Reading, ...] = tuple(channel.once or channel.amplitude for channel in measured.channels)
    return Run(readings, masses, purpose, measured.speed)


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
        run, noticed = _run(entry, job, progress)
        runs.append(run)
        findings += [finding for finding in noticed if finding not in findings]
    try:
        return solve_runs(
            runs, radius=job.radius, rotor_mass=job.rotor_mass, grade=job.grade, findings=findings
        )
    except InputError as error:
        raise error.at(job.name, job.runs[-1].line) from None


def _run(entry: RunEntry, job: RunsFile, progress: Callable[[str], None]) -> tuple[Run, Sequence[Finding]]:
    if entry.recording is None:
        assert entry.reading is not None
        noticed = [Finding.of("reading_uncertainty_assumed", "info")] if entry.assumed_sd else []
        return Run((entry.reading,), entry.masses, entry.purpose, job.speed), noticed
    progress(entry.recording.name)
    try:
        measured = measure(read(entry.recording, job.hints, entry.marks), near=job.speed)
    except BalancerError as error:
        raise type(error)(str(error).removesuffix("."), file=job.name, line=entry.line) from None
    run = run_of(measured, entry.masses, entry.purpose)
    noticed = [*measured.findings, *_announced(measured, job)]
    return run, [finding.about(entry.recording.name) for finding in noticed]


def _announced(measured: Measurement, job: RunsFile) -> list[Finding]:
    """Compare the measured speed with the one that the runs file states."""
    if job.speed is None:
        return []
    off = abs(measured.speed - job.speed) / job.speed
    return [Finding.of("speed_not_as_stated", "warning", off_percent=100 * off)] if off > SAME_SPEED else []

"""Words for a job: the next step, and how the job stands."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.core.runs import Amplitude, Reading
from balancer.units import gmm_from_kgm, rpm_from_rad_s
from balancer.wording.basics import (
    CAUTIONS,
    CONVENTION,
    CONVENTION_WITH,
    FITTING_CAUTION,
    Direction,
    angle_text,
    counted,
    finding_line,
    finding_text,
    significant,
)
from balancer.wording.coefficients import coefficient_lines, trust_lines
from balancer.wording.solving import correction_text
from balancer.wording.tape import piece_text
from balancer.wording.trial import judgement_lines, trial_basis

if TYPE_CHECKING:  # what is done need not be loaded for words about it
    from balancer.procedure.job import Job, JobRun
    from balancer.procedure.job_coefficients import Taken
    from balancer.procedure.step import Step

_HEADS = MappingProxyType(
    {
        ("acknowledge", ""): "Read the cautions",
        ("balance-bell", ""): "Balance the bare bell first",
        ("check-sensor", ""): "Check the sensor at rest",
        ("spin", "as-is"): "Spin the as-is run",
        ("spin", "trial"): "Spin the trial run",
        ("spin", "check"): "Spin the check run",
        ("fit", "trial"): "Fit the trial piece",
        ("fit", "correction"): "Fit the correction",
        ("fit", "trim"): "Fit the trim",
        ("fit", "take-off"): "Take the pieces off",
        ("set-aside", ""): "Set aside what does not belong",
        ("done", ""): "Done",
        ("stop", ""): "Stop, and look for something else",
    }
)

SPINNING_CAUTION = (
    "Before it turns: stand clamped, eyes protected, nobody in the plane of the propeller, the cut-off "
    "within reach."
)


def step_title(step: Step) -> str:
    """Give the step as a few words."""
    runs = f": run {', '.join(str(number) for number in step.runs)}" if step.action == "set-aside" else ""
    return _HEADS[step.action, step.purpose] + runs


def step_lines(step: Step, job: Job, direction: Direction = "against") -> list[str]:
    """Say what to do now and why, with all that is needed for it.

    Parameters
    ----------
    step : Step
        From `next_step`.
    job : Job
        The job that it is for.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        The title first.
    """
    lines = [f"{step_title(step)}.", f"  {finding_text(step.why, direction)}"]
    if step.action == "acknowledge":
        lines += [f"  - {caution}" for caution in CAUTIONS]
    if step.judged is not None:
        lines += [f"  {line}" for line in judgement_lines(step.judged)]
    if step.action == "fit":
        lines += _fit_lines(step, direction)
    if step.action in {"done", "stop"} and job.fitted:
        lines += ["  On the rotor:", *(f"  - {piece_text(one, direction)}" for one in job.fitted)]
    lines += [f"  {finding_line(finding, direction)}" for finding in step.findings]
    if step.action == "fit":
        lines.append(f"  {FITTING_CAUTION}")
    if step.action == "spin":
        lines.append(f"  {SPINNING_CAUTION}")
    return lines


def _fit_lines(step: Step, direction: Direction) -> list[str]:
    lines = []
    if step.taken_off:
        lines += ["  Take off:", *(f"  - {piece_text(one, direction)}" for one in step.taken_off)]
    if step.stays:
        lines += ["  Leave on:", *(f"  - {piece_text(one, direction)}" for one in step.stays)]
    if step.put_on:
        lines += ["  Put on:", *(f"  - {piece_text(one, direction)}" for one in step.put_on)]
        lines.append(f"  {CONVENTION if direction == 'against' else CONVENTION_WITH}")
    if step.trial is not None:
        lines.append(f"  {trial_basis(step.trial)}")
    for other in step.placements[1:]:
        pieces = counted(other.total, "piece")
        lines.append(
            f"  With {pieces} instead {significant(gmm_from_kgm(abs(other.left)), 2)} g mm are left."
        )
    return lines


def job_lines(job: Job, direction: Direction = "against") -> list[str]:
    """Say how a job stands: the part, the runs, what is on.

    Parameters
    ----------
    job : Job
        Any.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        One for the part, one for each run, one for each piece.
    """
    part, name = job.part, f" {job.part.name}" if job.part.name else ""
    speed = "" if job.speed is None else f", {rpm_from_rad_s(job.speed):.0f} rpm"
    stand = f", stand {job.stand.name}" if job.stand.name else ""
    lines = [
        f"{part.kind}{name}: {part.mass * 1e3:.4g} g turning{speed}, grade G{part.grade * 1e3:g}{stand}",
        *(f"  {line}" for line in run_lines(job, direction)),
    ]
    if not job.runs:
        lines.append("  no runs yet")
    if job.fitted:
        lines += ["on the rotor now:", *(f"  - {piece_text(one, direction)}" for one in job.fitted)]
    return lines


def run_lines(job: Job, direction: Direction = "against", *, unit: str = "", scale: float = 1.0) -> list[str]:
    """Say what each run of a job showed.

    Parameters
    ----------
    job : Job
        Any.
    direction : {"against", "with"}
        How angles are shown.
    unit : str
        Of the readings as they are shown; empty: it is not named.
    scale : float
        Turns readings into `unit`.

    Returns
    -------
    list of str
        One for each run.
    """
    shown = (unit, scale)
    return [_run_line(number, one, direction, shown) for number, one in enumerate(job.runs, 1)]


def _run_line(number: int, one: JobRun, direction: Direction, shown: tuple[str, float]) -> str:
    run = one.run
    clearest = max(run.readings, key=lambda r: r.value if isinstance(r, Amplitude) else r.amplitude)
    speed = "" if run.speed is None else f" at {rpm_from_rad_s(run.speed):.0f} rpm"
    masses = f", {significant(gmm_from_kgm(abs(run.unbalance)))} g mm on" if run.masses else ""
    reading = _reading_text(clearest, direction, shown)
    text = f"run {number}, {run.purpose or 'run'}{speed}: 1x {reading}{masses}"
    source = f" ({one.source})" if one.source else ""
    if one.set_aside:
        return f"{text}{source}; set aside: {one.set_aside}"
    return text + source if one.usable else f"{text}{source}; cannot be used"


def _reading_text(reading: Reading, direction: Direction, shown: tuple[str, float]) -> str:
    unit, scale = shown
    unit = f" {unit}" if unit else ""
    if isinstance(reading, Amplitude):
        return f"{significant(scale * reading.value)} ± {significant(scale * reading.sd, 2)}{unit}"
    size, sd = significant(scale * reading.amplitude), significant(scale * reading.sd_amplitude, 2)
    return f"{size} ± {sd}{unit}, lag {angle_text(reading.lag, direction)}"


def taken_lines(taken: Taken) -> list[str]:
    """Say which stored coefficient was taken, how far it is trusted, or why none was."""
    if taken.stored is None or taken.trusted is None:
        return ["No stored coefficient fits this job.", *(finding_line(one) for one in taken.findings)]
    use = "one run suffices" if taken.job.known is not None else "it only sizes the trial"
    return [
        f"Taken, {use}:",
        *(f"  {line}" for line in coefficient_lines(taken.stored)),
        *(f"  {line}" for line in trust_lines(taken.trusted)),
    ]


def answer_lines(step: Step, radius: float, direction: Direction = "against") -> list[str]:
    """Say what the runs have told so far, as far as they have.

    Parameters
    ----------
    step : Step
        From `next_step`.
    radius : float
        In m, for turning unbalance into mass.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        Empty while nothing is known.
    """
    if step.solution is None:
        return []
    wanted = step.solution.answer.correction
    lines = [f"The rotor as found needs {correction_text(wanted, radius, direction)}."]
    if step.verdict is not None:
        lines.append(finding_text(step.verdict.finding))
    return lines

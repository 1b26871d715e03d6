"""What to do now: the one next step of a job, from nothing but what is known.

The questions are asked in the order of the bench, and the first that is open gives the step. Nothing is
remembered between calls: set a run aside, and every later step follows from what is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from balancer.core.derived_runs import mirrored
from balancer.core.placement import Placement, choose, cutting_error, place
from balancer.findings import Finding
from balancer.procedure.facts import Facts
from balancer.procedure.job import Job, same_masses
from balancer.procedure.repeats import agreement
from balancer.procedure.step import Step
from balancer.procedure.trial import TrialAdvice, advise_trial
from balancer.units import gmm_from_kgm

MOST_AS_IS = 4
"""As-is runs after which, with no two that agree, the scatter itself is what must be looked for."""

MOST_UNUSABLE = 3
"""Recordings in a row that cannot be used, after which the bench must be mended first."""

MOST_CHECKS = 4
"""Check runs after which a job that is still not done does not converge."""

MOST_TRIALS = 3
"""Trial sizes without a clear effect, after which the stand does not answer to masses."""

_GAIN = 0.8  # of what is on now: pieces that leave more are not worth another run
_FINE = 0.02  # of what is left now, that pieces may leave likewise: far less than hands and noise do
_ALIKE = 1.2  # times the least that hands can be expected to leave: fewer pieces are worth so much
_SHARE = 0.3  # of the permissible unbalance that pieces may leave before another piece is worth it
_LARGER = 1.2  # times the largest trial so far: less is no other trial
_CLOSE = 0.15  # of a trial: two pieces instead of one must bring it nearer than this


def next_step(job: Job) -> Step:
    """Give the one thing to do now, and why.

    Parameters
    ----------
    job : Job
        All that is known.

    Returns
    -------
    Step
        As data; `wording.job.step_lines` says it in words.
    """
    facts = Facts(job)
    for question in _QUESTIONS:
        step = question(facts)
        if step is not None:
            return step
    raise AssertionError("the last question always gives a step")


def purpose_now(job: Job) -> str:
    """Say what a run with what is on now is for, be it the next step or one more than asked for."""
    step = next_step(job)
    return step.purpose if step.action == "spin" else Facts(job).purpose_of_fitted


def _cautions(facts: Facts) -> Step | None:
    if facts.job.acknowledged:
        return None
    return Step("acknowledge", Finding.of("cautions_first", "info"))


def _bell(facts: Facts) -> Step | None:
    """Send the bell first: what it has would go onto the blades."""
    if facts.job.part.kind != "propeller" or facts.job.below != "unbalanced" or facts.job.runs:
        return None
    return Step("balance-bell", Finding.of("bell_first", "info"))


def _sensor(facts: Facts) -> Step | None:
    job = facts.job
    if job.runs or (job.check is not None and job.check.passed):
        return None
    if job.check is None:
        return Step("check-sensor", Finding.of("sensor_unchecked", "info"))
    return Step("check-sensor", Finding.of("sensor_check_failed", "warning"), findings=job.check.findings)


def _last_run(facts: Facts) -> Step | None:
    """Repeat a run that cannot be used; after several the bench is what needs care."""
    tail = facts.unusable_tail
    if not tail:
        return None
    number, reason = tail[-1]
    noticed = facts.job.runs[number - 1].findings
    if len(tail) >= MOST_UNUSABLE:
        why = Finding.of("recordings_unusable", "error", count=len(tail))
        return Step("stop", why, runs=(number,), findings=(reason, *noticed))
    return Step(
        "spin",
        reason,
        purpose=facts.purpose_of_fitted,
        pieces=facts.job.fitted,
        runs=(number,),
        findings=noticed,
    )


def _not_unbalance(facts: Facts) -> Step | None:
    """Stop at the same serious sign in every as-is run: more tape would not cure it."""
    signs = facts.lasting_signs
    if not signs:
        return None
    return Step("stop", Finding.of("not_unbalance", "error"), findings=signs)


def _as_is(facts: Facts) -> Step | None:
    """Ask how the rotor shakes as found, twice where that is the only sign that it repeats."""
    if facts.loaded and (facts.as_found or facts.solution is not None):
        return None
    runs = [one.run for one in facts.as_found]
    if not runs:
        why = Finding.of("as_is_run", "info")
    elif not facts.needs_pair:
        return None
    elif len(runs) == 1:
        why = Finding.of("as_is_again", "info")
    else:
        found = agreement(runs)
        if found.agree:
            return None
        apart, count = 100 * found.apart, len(runs)
        if count >= MOST_AS_IS:
            why = Finding.of("as_is_never_agree", "error", apart_percent=apart, count=count)
            return Step("stop", why, findings=facts.signs)
        why = Finding.of("as_is_apart", "warning", apart_percent=apart, count=count)
    if facts.job.fitted:
        first = Finding.of("as_is_first", "info")
        return Step("fit", first, purpose="take-off", taken_off=facts.job.fitted)
    return Step("spin", why, purpose="as-is")


def _nothing_there(facts: Facts) -> Step | None:
    """Leave alone what shows no 1x above the noise: a trial could be compared with nothing."""
    if facts.loaded or facts.known is not None or facts.seen:
        return None
    return Step("done", Finding.of("nothing_to_see", "info"))


def _unmeasured(facts: Facts) -> Step | None:
    """Measure what was put on, whatever it is: every known mass tells something."""
    if facts.fitted_runs:
        return None
    purpose = facts.purpose_of_fitted
    why = {
        "as-is": Finding.of("as_is_run", "info"),
        "trial": Finding.of("trial_run", "info"),
        "check": Finding.of("check_run", "info"),
    }[purpose]
    return Step("spin", why, purpose=purpose, pieces=facts.job.fitted, solution=facts.solution)


def _changed(facts: Facts) -> Step | None:
    """Name runs that do not belong to the others; the person sets them aside."""
    change = facts.change
    if change is None:
        return None
    runs = facts.solved_runs
    concerned = runs[change.run]
    why = _numbered(change.finding, concerned.number)
    if facts.mirrored:
        odd = [one.number for one in runs if not same_masses(one.run.masses, mirrored(one.run).masses)]
        why = Finding.of("angles_mirrored", "warning", run=odd[0])
    elif change.kind == "influence":
        odd = [one.number for one in runs[: change.run]]
    elif change.mass is not None:
        odd = [one.number for one in runs[change.run :] if change.mass in one.run.masses]
    else:
        alone = len(facts.fitted_runs) == 1 and concerned in facts.fitted_runs
        odd = [] if change.kind == "unclear" or alone else [concerned.number]
    if not odd:
        return None
    return Step("set-aside", why, runs=tuple(odd), solution=facts.solution, findings=facts.signs)


def _numbered(finding: Finding, number: int) -> Finding:
    """Let a finding about one of the runs solved speak of its number in the job."""
    figures = {**dict(finding.figures), "run": number}
    return Finding(finding.code, finding.severity, tuple(figures.items()))


def _trial(facts: Facts) -> Step | None:
    if facts.solution is not None:
        return None
    done = len(facts.loaded_sets)
    if facts.problem is not None:
        why = Finding.of("cannot_be_solved", "error", text=f"{facts.problem.what}; {facts.problem.todo}")
        return Step("stop", why, findings=facts.signs)
    advice = _advice(facts)
    wanted = advice.unbalances[min(done, len(advice.angles) - 1)]
    unbalance, force, weights = gmm_from_kgm(abs(wanted)), advice.force, advice.weights
    why = Finding.of("trial_next", "info", unbalance_gmm=unbalance, force_n=force, weights=weights)
    if len(advice.angles) > 1:
        why = Finding.of(
            "trial_next_of_several",
            "info",
            number=done + 1,
            of=len(advice.angles),
            unbalance_gmm=unbalance,
            force_n=force,
            weights=weights,
        )
    return _trial_step(facts, wanted, advice, why)


def _larger_trial(facts: Facts) -> Step | None:
    """Follow a trial that moved too little by a larger one, as far as the limits go."""
    judged = facts.judged
    if judged is None or judged.verdict != "too-small":
        return None
    sizes, largest = len(facts.loaded_sets), max(abs(one) for one in facts.loaded_sets)
    share = 100 * (judged.share or 0.0)
    better = judged.next_unbalance
    if sizes >= facts.sets_needed + MOST_TRIALS - 2 or better is None or abs(better) < _LARGER * largest:
        why = Finding.of("no_effect", "error", effect_percent=share, count=sizes)
        return Step("stop", why, solution=facts.solution, findings=(*judged.findings, *facts.signs))
    why = Finding.of("trial_larger", "warning", effect_percent=share, unbalance_gmm=gmm_from_kgm(abs(better)))
    return _trial_step(facts, better, _advice(facts), why, judged.findings)


def _good(facts: Facts) -> Step | None:
    verdict = facts.verdict
    if verdict is None or not verdict.done:
        return None
    return _solved(facts, Step("done", verdict.finding, pieces=facts.job.fitted))


def _good_as_found(facts: Facts) -> Step | None:
    """Take the trial off again when it told that nothing was needed."""
    verdict = facts.verdict_as_found
    if verdict is None or not verdict.done or not facts.as_found:
        return None
    return Step(
        "fit",
        Finding.of("nothing_needed", "info"),
        purpose="take-off",
        taken_off=facts.job.fitted,
        solution=facts.solution,
        verdict=verdict,
    )


def _surprise(facts: Facts) -> Step | None:
    """Repeat once a check run that does not fit, before anything is changed."""
    change = facts.change
    if change is None or len(facts.fitted_runs) > 1 or not facts.checks:
        return None
    return Step(
        "spin",
        _numbered(change.finding, facts.solved_runs[change.run].number),
        purpose="check",
        pieces=facts.job.fitted,
        solution=facts.solution,
        verdict=facts.verdict,
    )


def _correct(facts: Facts) -> Step:
    """Fit the correction or the trim, unless pieces cannot do better or the job does not converge."""
    assert facts.solution is not None
    placements = _placements(facts)
    left = abs(facts.residual.value)
    checks = len(facts.checks)
    if checks >= MOST_CHECKS:
        why = Finding.of("not_converging", "error", count=checks, left_gmm=gmm_from_kgm(left))
        return _solved(facts, Step("stop", why, pieces=facts.job.fitted, placements=placements))
    best = placements[0]
    if abs(best.left) > _GAIN * left:
        why = Finding.of(
            "pieces_too_coarse",
            "warning",
            left_gmm=gmm_from_kgm(left),
            best_gmm=gmm_from_kgm(abs(best.left)),
            permissible_gmm=gmm_from_kgm(facts.permissible),
        )
        return _solved(facts, Step("stop", why, pieces=facts.job.fitted, placements=placements))
    left_gmm, then_gmm = gmm_from_kgm(left), gmm_from_kgm(abs(best.left))
    why = Finding.of("correction_next", "info", left_gmm=left_gmm, then_gmm=then_gmm)
    if checks:
        why = Finding.of("trim_next", "info", left_gmm=left_gmm, then_gmm=then_gmm)
    step = Step(
        "fit",
        why,
        purpose="trim" if checks else "correction",
        pieces=(*best.kept, *best.pieces),
        taken_off=best.taken_off,
        placements=placements,
        judged=facts.judged,
    )
    return _solved(facts, step)


def _solved(facts: Facts, step: Step) -> Step:
    """Give a step with what the runs amount to."""
    return replace(step, solution=facts.solution, verdict=facts.verdict, findings=facts.solved_findings)


_QUESTIONS: tuple[Callable[[Facts], Step | None], ...] = (
    _cautions,
    _bell,
    _sensor,
    _last_run,
    _not_unbalance,
    _as_is,
    _nothing_there,
    _unmeasured,
    _trial,
    _changed,
    _surprise,
    _larger_trial,
    _good,
    _good_as_found,
    _correct,
)


def _advice(facts: Facts) -> TrialAdvice:
    job, speed = facts.job, facts.speed
    return advise_trial(
        facts.as_is_mean,
        speed=speed,
        radius=job.part.places.radius,
        influence=job.hint,
        moving_mass=job.stand.moving_mass,
        rotor_mass=job.part.mass,
        force_limit=job.limits.force,
        most_vibration=job.limits.vibration,
        places=job.part.only_angles,
    )


def _trial_step(
    facts: Facts,
    wanted: complex,
    advice: TrialAdvice,
    why: Finding,
    findings: tuple[Finding, ...] = (),
) -> Step:
    job = facts.job
    if wanted == 0:
        return Step("stop", advice.findings[0], trial=advice, findings=facts.signs)
    options = place(wanted, job.part.places, job.stock, pieces=2)
    best = choose(options, _CLOSE * abs(wanted))
    return Step(
        "fit",
        why,
        purpose="trial",
        pieces=(*best.kept, *best.pieces),
        taken_off=job.fitted,
        placements=(best,),
        trial=advice,
        findings=(*advice.findings, *findings, *facts.signs),
    )


def _placements(facts: Facts) -> tuple[Placement, ...]:
    """Give the placement to advise, then the alternatives.

    What is on has been measured as it is, so what stays on brings no error of cutting; what is put on or
    taken off does. What was measured already and found wanting is not advised again.
    """
    job, left = facts.job, facts.residual
    found = place(-left.value, job.part.places, job.stock, pieces=3, fitted=job.fitted)
    tried = [one.run.masses for one in facts.loaded]
    new = [one for one in found if not any(same_masses(one.masses, masses) for masses in tried)]
    options = new or [Placement((), -left.value, (), job.fitted)]
    enough = max(_SHARE * facts.permissible, _FINE * abs(left.value))
    good = [one for one in options if abs(one.left) <= enough] or options
    near = _ALIKE * min(map(_expected, good))
    best = min((one for one in good if _expected(one) <= near), key=lambda one: (one.total, one.work))
    others = {one.total: one for one in options if one.work and one.total != best.total}
    return (best, *(others[total] for total in sorted(others)))


def _expected(placement: Placement) -> float:
    """Size in kg m of what a placement can be expected to leave, hands being what they are."""
    off = cutting_error(Placement(placement.taken_off, 0j))
    return math.hypot(abs(placement.left), cutting_error(placement), off)

"""What a job amounted to: computed anew from its runs, so that a report holds only what they support."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from balancer.core.derived_runs import mean_run
from balancer.core.grade import grade_of
from balancer.core.stopping import judge
from balancer.core.vectors import UncertainComplex
from balancer.history.records.run import JobRecord, RunRecord
from balancer.procedure.coefficients import StoredCoefficient
from balancer.procedure.facts import Counted, Facts
from balancer.procedure.job import same_masses
from balancer.procedure.job_coefficients import facts_of
from balancer.report.card import Left, OnceVector, Outcome, Polar, State


def outcome_of(
    job: JobRecord, runs: Sequence[RunRecord], stand: str, stored: Sequence[StoredCoefficient] = ()
) -> Outcome:
    """Say what a job amounted to.

    Parameters
    ----------
    job : JobRecord
        The job.
    runs : sequence of RunRecord
        Its runs.
    stand : str
        Name of its stand; empty for that which the job itself names.
    stored : sequence of StoredCoefficient, optional
        Those of the stand: one that is trusted tells what the runs alone do not.

    Returns
    -------
    Outcome
        Times are those of the records.
    """
    facts = facts_of(job.with_runs(runs), stored, job.started.date())
    frame, known_speed, solution = facts.job, facts.known_speed is not None, facts.solution
    return Outcome(
        id=job.id,
        when=_last(job, runs),
        stand=stand or frame.stand.name,
        state=_state(facts),
        problem="" if facts.problem is None else facts.problem.what,
        stored=frame.known is not None,
        hand=frame.part.hand,
        mass=frame.part.mass,
        grade=frame.part.grade,
        speed=facts.known_speed,
        permissible=facts.permissible if known_speed else None,
        found=_left(facts, facts.as_found_together) if known_speed else None,
        left=_left(facts, facts.fitted_runs) if known_speed and _state(facts) == "known" else None,
        pieces=frame.fitted,
        polar=_polar(facts, runs),
        runs=len(frame.runs),
        set_aside=len(frame.runs) - len(facts.counted),
        findings=()
        if solution is None
        else tuple(one for one in facts.solved_findings if one.severity != "info"),
    )


def _last(job: JobRecord, runs: Sequence[RunRecord]) -> datetime:
    return max((run.at for run in runs), default=job.started)


def _state(facts: Facts) -> State:
    if not facts.counted:
        return "no_runs"
    if facts.solution is None:
        return "unsolved"
    if not facts.fitted_runs:
        return "unchecked"
    trial = facts.job.fitted and all(one.run.purpose == "trial" for one in facts.fitted_runs)
    # a trial piece that turned out to be good enough is the correction
    good = facts.known_speed is not None and facts.verdict is not None and facts.verdict.done
    return "trial_on" if trial and not good else "known"


def _left(facts: Facts, made: Sequence[Counted]) -> Left | None:
    """Give the unbalance that runs with the same masses show."""
    if facts.solution is None or not made:
        return None
    seen = facts.shown_by(made)
    verdict, mass = judge(seen, facts.permissible), facts.job.part.mass
    return Left(
        verdict=verdict,
        grade=grade_of(verdict.size, mass, facts.speed),
        claim_grade=grade_of(verdict.claim, mass, facts.speed),
        vector=seen,
        with_phase=facts.with_phase,
    )


def _polar(facts: Facts, runs: Sequence[RunRecord]) -> Polar | None:
    """Take the axis that shook most as found; runs with the same masses are drawn as their mean."""
    shown = facts.solved_runs or facts.counted
    if not shown or not facts.with_phase:
        return None
    sizes = [abs(_vector(reading).value) for reading in shown[0].run.readings]
    channel = sizes.index(max(sizes))
    channels = next((run.channels for run in runs if run.number == shown[0].number), ())
    named = channels[channel] if channel < len(channels) else None
    speed, vectors = shown[0].run.speed, []
    for group in _alike(shown):
        run = mean_run([one.run for one in group])
        run = run if speed is None else run.at_speed(speed)
        numbers = tuple(one.number for one in group)
        purpose = "as-is" if not run.masses else run.purpose
        vectors.append(OnceVector(purpose, numbers, _vector(run.readings[channel])))
    return Polar(
        channel="" if named is None else named.name,
        unit="" if named is None else named.unit,
        vectors=tuple(vectors),
        permissible=None
        if facts.solution is None or speed is None
        else facts.permissible * facts.solution.answer.influence[channel].amplitude,
    )


def _alike(shown: Sequence[Counted]) -> list[list[Counted]]:
    """Sort runs by what was fitted in them, in the order of their first run, those as found first."""
    groups: list[list[Counted]] = []
    for one in sorted(shown, key=lambda one: (bool(one.run.masses), one.number)):
        for group in groups:
            both = bool(group[0].run.masses) == bool(one.run.masses)
            if both and same_masses(group[0].run.masses, one.run.masses):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _vector(reading: object) -> UncertainComplex:
    assert isinstance(reading, UncertainComplex)
    return reading

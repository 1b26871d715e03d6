"""What a job's runs amount to, each fact worked out when it is asked for: the ground of `next_step`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from balancer.core.changes import Change, find_change
from balancer.core.derived_runs import less_sure, mean_run, mirrored
from balancer.core.runs import Amplitude, Reading, Run
from balancer.core.single_run import unbalance_seen
from balancer.core.stopping import Verdict, judge
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.job import Job, JobRun, same_masses
from balancer.procedure.repeats import agreement
from balancer.procedure.solve import Solution, solve_runs
from balancer.procedure.trial_judgement import TrialJudgement, judge_trial, linearity

SPEED_BAND = 0.03
"""Share by which a run's speed may be off that of the job: beyond, it is made again."""

MEND_FIRST = frozenset({"once_unsteady", "once_drifts", "once_stepped", "magnet_pull", "half_orders"})
"""Signs with which a correction would not last, or would be right at one throttle setting only."""

_SEEN = 3.0  # standard deviations: a 1x below is not told from noise


@dataclass(frozen=True)
class Counted:
    """A run that counts.

    Parameters
    ----------
    number : int
        Counted from 1 over all runs of the job.
    item : JobRun
        The run.
    """

    number: int
    item: JobRun

    @property
    def run(self) -> Run:
        """Its readings and masses."""
        return self.item.run


@dataclass(frozen=True)
class Facts:
    """What is known of a job.

    Parameters
    ----------
    job : Job
        The job.
    """

    job: Job

    @cached_property
    def _sorted(self) -> tuple[tuple[Counted, ...], tuple[tuple[int, Finding], ...]]:
        """The runs that count, and the number and reason of those that do not, set aside ones in neither."""
        counted: list[Counted] = []
        refused: list[tuple[int, Finding]] = []
        for number, item in enumerate(self.job.runs, 1):
            if item.set_aside:
                continue
            reason = _reason_against(number, item, self.job.speed, counted)
            if reason is None:
                counted.append(Counted(number, item))
            else:
                refused.append((number, reason))
        return tuple(counted), tuple(refused)

    @property
    def counted(self) -> tuple[Counted, ...]:
        """The runs that count."""
        return self._sorted[0]

    @cached_property
    def unusable_tail(self) -> tuple[tuple[int, Finding], ...]:
        """The last runs in a row that do not count (set aside ones left out), with the reason."""
        latest = max((one.number for one in self.counted), default=0)
        return tuple(pair for pair in self._sorted[1] if pair[0] > latest)

    @property
    def with_phase(self) -> bool:
        """Whether the runs have a phase; True while there is none yet."""
        return not self.counted or self.counted[0].run.has_phase

    @property
    def known_speed(self) -> float | None:
        """Speed of the job in rad/s: the one asked for, else that of the first run; None if neither is."""
        return self.job.speed or next((one.run.speed for one in self.counted if one.run.speed), None)

    @property
    def speed(self) -> float:
        """The same, where it is needed: an `InputError` if it is not known."""
        if self.known_speed is None:
            raise InputError("the speed of this job is not known", todo="give it in rpm")
        return self.known_speed

    @property
    def permissible(self) -> float:
        """Permissible residual unbalance in kg m."""
        return self.job.part.permissible(self.speed)

    @cached_property
    def as_found(self) -> tuple[Counted, ...]:
        """The runs without any mass."""
        return tuple(one for one in self.counted if not one.run.masses)

    @cached_property
    def loaded(self) -> tuple[Counted, ...]:
        """The runs with masses on."""
        return tuple(one for one in self.counted if one.run.masses)

    @cached_property
    def loaded_sets(self) -> tuple[complex, ...]:
        """The different unbalances that were fitted, in kg m, in the order of their first run."""
        kept: list[Run] = []
        for one in self.loaded:
            if not any(same_masses(one.run.masses, other.masses) for other in kept):
                kept.append(one.run)
        return tuple(run.unbalance for run in kept)

    @property
    def checks(self) -> tuple[Counted, ...]:
        """The check runs."""
        return tuple(one for one in self.loaded if one.run.purpose == "check")

    @cached_property
    def fitted_runs(self) -> tuple[Counted, ...]:
        """The runs made with what is on the rotor now."""
        on = self.job.masses
        alike = (one for one in self.counted if bool(one.run.masses) == bool(on))
        return tuple(one for one in alike if same_masses(one.run.masses, on))

    @property
    def known(self) -> tuple[UncertainComplex, ...] | None:
        """The influence coefficients that stand in for a trial run."""
        return self.job.known

    @property
    def needs_pair(self) -> bool:
        """Whether two as-is runs must agree first: not with a coefficient, nor without phase.

        Without phase the trial runs hold one reading more than is needed, which tells as much.
        """
        return self.known is None and self.with_phase

    @cached_property
    def as_found_together(self) -> tuple[Counted, ...]:
        """The runs without masses that agree, or all of them when no two do."""
        if len(self.as_found) < 3 or not self.with_phase:
            return self.as_found
        found = agreement([one.run for one in self.as_found])
        return tuple(self.as_found[k] for k in found.together) if found.agree else self.as_found

    @property
    def as_is_mean(self) -> Run:
        """The mean of the runs without masses that agree."""
        return mean_run([one.run for one in self.as_found_together])

    @property
    def seen(self) -> bool:
        """Whether 1x stands out of the noise in any channel of the rotor as found."""
        return any(_clear(reading) for reading in self.as_is_mean.readings)

    @cached_property
    def solved_runs(self) -> tuple[Counted, ...]:
        """The runs that are solved, in the order in which they were made."""
        return tuple(sorted((*self.as_found_together, *self.loaded), key=lambda one: one.number))

    @cached_property
    def _solved(self) -> tuple[Solution | None, InputError | None]:
        runs = [one.run for one in self.solved_runs]
        if not runs or len(self.loaded_sets) + bool(self.as_found) < self.sets_needed:
            return None, None
        try:
            first = self._solve(runs)
            return self._solve(
                [less_sure(one.run, one.item.fit_error, first.answer.influence) for one in self.solved_runs]
            ), None
        except InputError as error:
            return None, error

    def _solve(self, runs: Sequence[Run]) -> Solution:
        part = self.job.part
        return solve_runs(
            runs, radius=part.places.radius, rotor_mass=part.mass, grade=part.grade, known=self.known
        )

    @property
    def sets_needed(self) -> int:
        """How many different sets of masses, none at all being one, must have been run before solving."""
        if self.with_phase:
            return 1 if self.known is not None else 2
        angles = self.job.part.only_angles
        return 1 + (min(3, len(angles)) if angles else 3)

    @property
    def solution(self) -> Solution | None:
        """What the runs amount to, None while they do not suffice."""
        return self._solved[0]

    @property
    def problem(self) -> InputError | None:
        """Why runs that should suffice cannot be solved."""
        return self._solved[1]

    @cached_property
    def residual(self) -> UncertainComplex:
        """Unbalance in kg m with what is on the rotor now; there must be a solution.

        It is read from the runs made so, where there are some; else what is on is added up.
        """
        if self.fitted_runs and self.with_phase:
            return self.shown_by(self.fitted_runs)
        return self._added_up

    @property
    def found(self) -> UncertainComplex:
        """Unbalance in kg m of the rotor as found, likewise."""
        if self.as_found and self.with_phase:
            return self.shown_by(self.as_found_together)
        assert self.solution is not None
        return self.solution.answer.correction.times(-1)

    @property
    def _added_up(self) -> UncertainComplex:
        assert self.solution is not None
        correction = self.solution.answer.correction
        fitted = sum((mass.unbalance for mass in self.job.masses), 0j)
        return UncertainComplex(fitted - correction.value, correction.covariance)

    def shown_by(self, made: Sequence[Counted]) -> UncertainComplex:
        """Give the unbalance in kg m that runs with the same masses show; without phase only its size."""
        assert self.solution is not None
        run = mean_run([one.run for one in made])
        speed = self.solution.speed
        return unbalance_seen(run if speed is None else run.at_speed(speed), self.solution.answer.influence)

    @cached_property
    def verdict(self) -> Verdict | None:
        """Whether what is on now is good enough; None until a run was made with it."""
        if self.solution is None or not self.fitted_runs:
            return None
        return judge(self.shown_by(self.fitted_runs), self.permissible)

    @cached_property
    def verdict_as_found(self) -> Verdict | None:
        """Whether the rotor as found is good enough; None until it is known."""
        if self.solution is None or not self.as_found:
            return None
        return judge(self.shown_by(self.as_found_together), self.permissible)

    @cached_property
    def judged(self) -> TrialJudgement | None:
        """How well the trials served; None with a coefficient, or once a correction was checked."""
        if self.solution is None or self.known is not None or self.checks or not self.as_found:
            return None
        *others, last = [one.run for one in self.loaded]
        limits = self.job.limits
        return judge_trial(
            self.as_is_mean,
            last,
            () if self.with_phase else others,
            rotor_mass=self.job.part.mass,
            force_limit=limits.force,
            most_vibration=limits.vibration,
        )

    @cached_property
    def change(self) -> Change | None:
        """What explains that the runs contradict each other; its index counts `solved_runs`."""
        if self.solution is None or not self.with_phase:
            return None
        return find_change(self._compared, self._believed)

    @property
    def mirrored(self) -> bool:
        """Whether runs that contradict each other fit if all masses were laid the other way round."""
        if self.change is None:
            return False
        return find_change([mirrored(run) for run in self._compared], self._believed) is None

    @property
    def _compared(self) -> list[Run]:
        """The runs at one speed, as sure as the pieces in them."""
        assert self.solution is not None
        speed = self.solution.speed
        runs = [
            less_sure(one.run, one.item.fit_error, self.solution.answer.influence) for one in self.solved_runs
        ]
        return [run if speed is None else run.at_speed(speed) for run in runs]

    @property
    def _believed(self) -> tuple[UncertainComplex, ...] | None:
        """The stored coefficients, unless the runs contradicted them."""
        noticed = () if self.solution is None else self.solution.findings
        return None if any(finding.code == "influence_changed" for finding in noticed) else self.known

    @property
    def signs(self) -> tuple[Finding, ...]:
        """What speaks against unbalance in any run, each sign once."""
        found = {sign.code: sign for one in self.counted for sign in one.item.signs}
        return tuple(found.values())

    @property
    def lasting_signs(self) -> tuple[Finding, ...]:
        """The signs that must be mended first, in every one of two or more runs without masses."""
        if len(self.as_found) < 2:
            return ()
        grave = [
            {s.code for s in one.item.signs if s.code in MEND_FIRST or s.severity == "error"}
            for one in self.as_found
        ]
        codes = set.intersection(*grave)
        return tuple(sign for sign in self.signs if sign.code in codes)

    @property
    def solved_findings(self) -> tuple[Finding, ...]:
        """What was noticed in solving, whether effects grow as masses do, and the signs in the runs."""
        assert self.solution is not None
        return (*self.solution.findings, *self._proportion, *self.signs)

    @cached_property
    def _proportion(self) -> tuple[Finding, ...]:
        if not (self.with_phase and self.as_found and len(self.loaded_sets) > 1):
            return ()
        runs = sorted(self._compared, key=lambda run: bool(run.masses))  # the rotor as found comes first
        return linearity(runs).findings

    @property
    def purpose_of_fitted(self) -> str:
        """What a run with the pieces that are on now would be."""
        if not self.job.fitted:
            return "as-is"
        return "trial" if self.solution is None or self.trial_too_small else "check"

    @property
    def trial_too_small(self) -> bool:
        """Whether a larger trial is still to come."""
        return self.judged is not None and self.judged.verdict == "too-small"


def off_speed(speed: float, wanted: float) -> bool:
    """Say whether a run turned too far from the speed of its job, by more than `SPEED_BAND`."""
    return abs(speed - wanted) > SPEED_BAND * wanted


def _reason_against(
    number: int, item: JobRun, wanted: float | None, counted: Sequence[Counted]
) -> Finding | None:
    """Say why a run cannot be used with the others."""
    if not item.usable:
        return Finding.of("run_unusable", "warning", number=number)
    if counted and item.run.has_phase != counted[0].run.has_phase:
        if counted[0].run.has_phase:
            return Finding.of("run_without_phase", "warning", number=number)
        return Finding.of("run_with_phase", "warning", number=number)
    speed = wanted or (counted[0].run.speed if counted else None)
    if speed is not None and item.run.speed is not None and off_speed(item.run.speed, speed):
        off = abs(item.run.speed - speed) / speed
        return Finding.of("run_off_speed", "warning", number=number, off_percent=100 * off)
    return None


def _clear(reading: Reading) -> bool:
    if isinstance(reading, Amplitude):
        return reading.value > _SEEN * reading.sd
    return reading.amplitude > _SEEN * reading.covariance.radius

"""What a trial run was worth: large enough, clear enough, and whether the effect grows as the mass does."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from balancer.core.amplitude_only import solve_amplitude_only
from balancer.core.influence import RULE_AMPLITUDE, RULE_PHASE
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.trial import ABOVE_NOISE, advise_trial, amplitude_of, noise_of
from balancer.units import gmm_from_kgm

Verdict = Literal["good", "usable", "too-small", "too-large"]

_CLEAR = 3.0  # times its uncertainty: below, the effect could be noise
_GOOD_RESIDUAL, _USABLE_RESIDUAL = 0.05, 0.20  # of the as-is vector: one step to 95 %, or one step and a trim
_GOOD_SHARE = 0.5  # without phase noise of 1 % then leaves 3 % (simulated), and more the less it is
_TOO_MUCH = 5.0  # times the as-is vector: more only strains the stand
_SAME_SIZE = 1.3  # sizes closer than this say nothing of proportion


@dataclass(frozen=True)
class TrialJudgement:
    """What a trial did to the vibration, on the channel that shows it best.

    Parameters
    ----------
    verdict : {"good", "usable", "too-small", "too-large"}
        usable: solve with it, and expect a trim. The others ask for another trial.
    effect : float or None
        |T|, size of the change of the 1x vector in m/s^2; None where amplitudes do not tell it yet.
    share : float or None
        It as a share of the as-is amplitude.
    amplitude_change : float
        Change of the amplitude as a share, with sign.
    phase_change : float or None
        Change of the phase in rad; None without phase.
    signal_to_noise : float or None
        The effect over its uncertainty.
    residual : float or None
        What measuring noise would leave of the as-is vector after a correction solved from these runs: root
        mean square, as a share.
    next_unbalance : complex or None
        A better trial in kg m, within the limits; None where none is needed.
    findings : tuple of Finding
        The same with figures, where something is amiss.
    """

    verdict: Verdict
    effect: float | None
    share: float | None
    amplitude_change: float
    phase_change: float | None
    signal_to_noise: float | None
    residual: float | None
    next_unbalance: complex | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def passes_thirty(self) -> bool:
        """Whether amplitude changed by 30 % or phase by 30 degrees (common practice, no source)."""
        turned = self.phase_change is not None and abs(self.phase_change) >= RULE_PHASE
        return turned or abs(self.amplitude_change) >= RULE_AMPLITUDE


@dataclass(frozen=True)
class Linearity:
    """Whether the effect of a mass grows in proportion to it.

    Parameters
    ----------
    tested : bool
        False when all masses were of about the same size, so that proportion cannot show; the same figures
        then say how well the effect repeats.
    small, large : UncertainComplex
        Influence coefficient from the smallest and from the largest mass, in reading per kg m.
    difference : float
        |large - small| as a share of |small|.
    scatter : float
        The difference over its standard uncertainty.
    findings : tuple of Finding
        ``effect_not_proportional`` when the difference is no chance.
    """

    tested: bool
    small: UncertainComplex
    large: UncertainComplex
    difference: float
    scatter: float
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class _Effect:
    """The effect of the trial on the channel that shows it best."""

    size: float
    noise: float
    as_is: float
    as_is_noise: float
    residual: float
    influence: tuple[UncertainComplex, ...]
    channel: int


def judge_trial(
    as_is: Run,
    trial: Run,
    others: Sequence[Run] = (),
    *,
    rotor_mass: float | None = None,
    force_limit: float | None = None,
    most_vibration: float | None = None,
) -> TrialJudgement:
    """Judge a trial run by what it did.

    With phase one trial run tells its effect T = V1 - V0. With errors s0 and s1 of the two runs the
    correction solved from them leaves sqrt(s0^2 |1/V0 + 1/T|^2 + s1^2 / |T|^2) of |V0| (first order, checked
    by simulation). Without phase the effect shows only when two places or more have been tried.

    Parameters
    ----------
    as_is, trial : Run
        All with phase, or all without.
    others : sequence of Run, optional
        Without phase: the trial runs at other places.
    rotor_mass, force_limit, most_vibration : float, optional
        As in `advise_trial`, for the better size.

    Returns
    -------
    TrialJudgement
        The verdict with its figures.

    Raises
    ------
    InputError
        If the trial run has no mass that the as-is run has not, or other channels.
    """
    runs = _comparable(as_is, trial, others)
    known = _with_phase(*runs[:2]) if as_is.has_phase else _without_phase(runs)
    channel = known.channel if known else 0
    before, after = runs[0].readings[channel], runs[1].readings[channel]
    change = amplitude_of(after) / max(amplitude_of(before), 1e-300) - 1
    turned = _turned(before, after)
    too_much = most_vibration is not None and any(
        amplitude_of(r) > most_vibration for run in runs[1:] for r in run.readings
    )
    if known is None:
        share = abs(change)
        verdict: Verdict = "too-large" if too_much else "good" if share >= _GOOD_SHARE else "usable"
        return TrialJudgement(verdict, None, None, change, None, None, None)
    judged = TrialJudgement(
        verdict="usable",
        effect=known.size,
        share=known.size / max(known.as_is, 1e-300),
        amplitude_change=change,
        phase_change=turned,
        signal_to_noise=known.size / known.noise,
        residual=known.residual,
    )
    verdict = "too-large" if too_much else _verdict(judged, known, as_is.has_phase)
    better = None
    if verdict in {"too-small", "too-large"}:
        limits = {"rotor_mass": rotor_mass, "force_limit": force_limit, "most_vibration": most_vibration}
        better = _better(runs[0], trial.unbalance - as_is.unbalance, known, limits)
    return replace(
        judged, verdict=verdict, next_unbalance=better, findings=_findings(judged, verdict, better)
    )


def linearity(runs: Sequence[Run]) -> Linearity:
    """Compare the effect of the smallest with that of the largest mass, each against the first run.

    Parameters
    ----------
    runs : sequence of Run
        With phase: the as-is run, then two runs or more with masses (trials, corrections, check runs).

    Returns
    -------
    Linearity
        Both coefficients of the channel that shows the masses best, and whether they differ.

    Raises
    ------
    InputError
        If fewer than two runs differ from the first in their masses, or a phase is missing.
    """
    if not all(run.has_phase for run in runs):
        raise InputError("without phase the effect of each single mass is not known", todo="use a pick-up")
    first, *rest = (run if runs[0].speed is None else run.at_speed(runs[0].speed) for run in runs)
    fitted = sorted((run for run in rest if run.unbalance != first.unbalance), key=lambda r: _added(first, r))
    if len(fitted) < 2:
        raise InputError(
            "two runs with masses are needed to compare their effects", todo="add a trial or a check run"
        )
    small, large = fitted[0], fitted[-1]
    compared = [_compare(first, small, large, channel) for channel in range(len(first.readings))]
    low, high, apart = max(compared, key=lambda c: c[0].amplitude / max(c[0].covariance.radius, 1e-300))
    difference = apart.amplitude / max(low.amplitude, 1e-300)
    scatter = _mahalanobis(apart)
    tested = _added(first, large) >= _SAME_SIZE * _added(first, small)
    findings: tuple[Finding, ...] = ()
    if scatter > _CLEAR and difference > 0.1:
        findings = (
            Finding.of(
                "effect_not_proportional",
                "warning",
                difference_percent=100 * difference,
                small_gmm=gmm_from_kgm(_added(first, small)),
                large_gmm=gmm_from_kgm(_added(first, large)),
                ratio=scatter,
            ),
        )
    return Linearity(tested, low, high, difference, scatter, findings)


def _added(first: Run, run: Run) -> float:
    return abs(run.unbalance - first.unbalance)


def _comparable(as_is: Run, trial: Run, others: Sequence[Run]) -> list[Run]:
    runs = [as_is, trial, *others]
    if len({len(run.readings) for run in runs}) != 1:
        raise InputError(
            "the runs do not hold the same channels", todo="record every run with the same set-up"
        )
    if len({run.has_phase for run in runs}) != 1:
        raise InputError("some runs have a phase and some have not", todo="give all runs a phase, or none")
    if any(run.unbalance == as_is.unbalance for run in runs[1:]):
        raise InputError("the trial run has no trial mass on", todo="list what was fitted during it")
    return runs if as_is.speed is None else [run.at_speed(as_is.speed) for run in runs]


def _turned(before: object, after: object) -> float | None:
    """Phase change in rad, None where a phase is missing or means nothing."""
    if not isinstance(before, UncertainComplex) or not isinstance(after, UncertainComplex):
        return None
    return cmath.phase(after.value / before.value) if before.value != 0 else None


def _with_phase(as_is: Run, trial: Run) -> _Effect:
    mass = trial.unbalance - as_is.unbalance
    effects = [
        _difference(before, after) for before, after in zip(as_is.readings, trial.readings, strict=True)
    ]
    channel = max(range(len(effects)), key=lambda c: effects[c].amplitude / _noise(effects[c]))
    start, effect = _vector(as_is.readings[channel]), effects[channel]
    s0, s1 = (math.sqrt(2) * noise_of(run.readings[channel]) for run in (as_is, trial))
    residual = math.inf
    if start.value != 0 and effect.value != 0:
        residual = math.hypot(s0 * abs(1 / start.value + 1 / effect.value), s1 / effect.amplitude)
    return _Effect(
        size=effect.amplitude,
        noise=_noise(effect),
        as_is=start.amplitude,
        as_is_noise=s0,
        residual=residual,
        influence=tuple(e.times(1 / mass) for e in effects),
        channel=channel,
    )


def _without_phase(runs: Sequence[Run]) -> _Effect | None:
    """Take the effect from the amplitude-only solution; None while there are too few places."""
    if len({complex(round(r.unbalance.real, 15), round(r.unbalance.imag, 15)) for r in runs}) < 3:
        return None
    answer = solve_amplitude_only(runs)
    mass = max(_added(runs[0], run) for run in runs[1:])
    gains = answer.influence
    channel = max(range(len(gains)), key=lambda c: gains[c].amplitude / max(gains[c].sd_amplitude, 1e-300))
    start = amplitude_of(runs[0].readings[channel])
    return _Effect(
        size=gains[channel].amplitude * mass,
        noise=max(gains[channel].sd_amplitude * mass, 1e-300),
        as_is=start,
        as_is_noise=noise_of(runs[0].readings[channel]),
        residual=math.sqrt(2)
        * answer.correction.covariance.radius
        / max(answer.correction.amplitude, 1e-300),
        influence=gains,
        channel=channel,
    )


def _vector(reading: object) -> UncertainComplex:
    assert isinstance(reading, UncertainComplex)
    return reading


def _noise(effect: UncertainComplex) -> float:
    return max(effect.covariance.radius, 1e-9 * effect.amplitude, 1e-300)


def _difference(before: object, after: object) -> UncertainComplex:
    first, second = _vector(before), _vector(after)
    return UncertainComplex(second.value - first.value, first.covariance.plus(second.covariance))


def _verdict(judged: TrialJudgement, known: _Effect, with_phase: bool) -> Verdict:
    share, clear, residual = judged.share or 0.0, judged.signal_to_noise or 0.0, known.residual
    # what the as-is reading itself leaves unknown, no trial mass can mend
    own = known.as_is_noise / max(known.as_is, 1e-300)
    if share > _TOO_MUCH and clear > 3 * ABOVE_NOISE:
        return "too-large"
    if clear < _CLEAR or residual > max(_USABLE_RESIDUAL, 2 * own):
        return "too-small"
    enough = judged.passes_thirty if with_phase else share >= _GOOD_SHARE
    good = enough and clear >= ABOVE_NOISE and residual <= max(_GOOD_RESIDUAL, 1.5 * own)
    return "good" if good else "usable"


def _better(as_is: Run, mass: complex, known: _Effect, limits: dict[str, float | None]) -> complex:
    """Size the next trial by what this one did, or by what it can have done at most if that was noise."""
    # without a speed no force can be told: at 1 rad/s every trial is below the limit
    facts = {"speed": as_is.speed or 1.0, "radius": 1.0, **limits}
    if known.size >= _CLEAR * known.noise:
        return advise_trial(as_is, influence=known.influence, **facts).unbalance  # type: ignore[arg-type]
    most = [h.amplitude + 2 * h.covariance.radius for h in known.influence]
    gains = [UncertainComplex(complex(gain), Covariance.circular(0.0)) for gain in most]
    sizes = replace(as_is, readings=tuple(Amplitude(amplitude_of(r), noise_of(r)) for r in as_is.readings))
    advised = advise_trial(sizes, influence=gains, **facts)  # type: ignore[arg-type]
    return abs(advised.unbalance) * mass / abs(mass)


def _findings(judged: TrialJudgement, verdict: Verdict, better: complex | None) -> tuple[Finding, ...]:
    if verdict == "good":
        return ()
    effect = 100 * (judged.share or 0.0)
    clear = judged.signal_to_noise or 0.0
    left = 100 * min(judged.residual or 0.0, 9.99)
    if verdict == "usable":
        return (
            Finding.of("trial_usable", "info", effect_percent=effect, ratio=clear, residual_percent=left),
        )
    size = gmm_from_kgm(abs(better or 0j))
    if verdict == "too-large":
        return (Finding.of("trial_too_large", "warning", effect_percent=effect, next_gmm=size),)
    return (
        Finding.of(
            "trial_too_small",
            "warning",
            effect_percent=effect,
            ratio=clear,
            residual_percent=left,
            next_gmm=size,
        ),
    )


def _compare(
    first: Run, small: Run, large: Run, channel: int
) -> tuple[UncertainComplex, UncertainComplex, UncertainComplex]:
    """Give H of the small mass, H of the large one, and their difference, which share the first run."""
    start, low, high = (_vector(run.readings[channel]) for run in (first, small, large))
    per_low, per_high = (1 / (run.unbalance - first.unbalance) for run in (small, large))
    apart = (high.value - start.value) * per_high - (low.value - start.value) * per_low
    covariance = (
        high.covariance.times(per_high)
        .plus(low.covariance.times(per_low))
        .plus(start.covariance.times(per_low - per_high))
    )
    return (
        _difference(start, low).times(per_low),
        _difference(start, high).times(per_high),
        UncertainComplex(apart, covariance),
    )


def _mahalanobis(apart: UncertainComplex) -> float:
    """Give a difference over its uncertainty, whatever its direction."""
    return apart.amplitude / max(apart.sd_amplitude, 1e-12 * apart.amplitude, 1e-300)

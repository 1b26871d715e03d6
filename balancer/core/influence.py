"""Single-plane balancing with phase: V = V0 + H W by weighted complex least squares over all runs.

The textbook two-run formula C = -V0 W / (V1 - V0) is the special case of one channel and two runs. An
influence coefficient known beforehand enters as one more observation of H; then one run suffices.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import chdtrc  # quicker to load than scipy.stats

from balancer.core.answer import Answer, InfluenceFrom
from balancer.core.channel_fit import (
    ChannelFit,
    Complexes,
    Floats,
    Known,
    check_runs,
    fit_runs,
    masses_differ,
    rotation,
    square_distance,
    with_phase,
)
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding

RULE_AMPLITUDE, RULE_PHASE = 0.30, math.radians(30)  # common practice, no source

_CHANGED = 1e-3  # so seldom may chance take a known coefficient for a changed one


def solve_influence(runs: Sequence[Run], known: Known | None = None) -> Answer:
    """Find the correction from runs with phase.

    Each channel is fitted by itself, runs weighted by their covariances; the correction is the one that
    leaves least over all channels, each weighted by its noise. If the runs scatter more than their
    covariances say, the uncertainty of the answer grows with it (Birge ratio).

    Parameters
    ----------
    runs : sequence of Run
        Two or more with at least two different sets of masses, or one and more with `known`; `next`
        speaks of what is fitted in the last one. Every run holds the same channels.
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m, known beforehand at the speed of the runs.
        It is left out, and that is found, if the runs by themselves contradict it.

    Returns
    -------
    Answer
        Correction and influence coefficient with uncertainties.

    Raises
    ------
    InputError
        If the runs cannot tell the effect of a mass.
    """
    fitted = np.array([run.unbalance for run in runs], dtype=np.complex128)
    changed = None if known is None else changed_influence(runs, known)
    if changed is not None:
        alone = solve_influence(runs)
        return replace(alone, findings=(changed, *alone.findings))
    _check(runs, known)
    fits, scale = fit_runs(runs, known)
    if known is None:
        _refuse_no_effect(runs, fits)
    freedom = 2 * (len(runs) - (2 if known is None else 1)) * len(fits)
    stretch = max(sum(fit.misfit for fit in fits) / freedom, 1.0) if freedom else 1.0
    found = _combine(fits, _noise(runs), stretch)
    correction = found.times(scale)
    effects = [UncertainComplex(fit.effect, fit.effect_covariance(stretch)) for fit in fits]
    return Answer(
        method="influence",
        initial=tuple(UncertainComplex(fit.initial, fit.initial_covariance(stretch)) for fit in fits),
        influence=tuple(effect.times(1 / scale) for effect in effects),
        correction=correction,
        next_correction=UncertainComplex(correction.value - complex(fitted[-1]), correction.covariance),
        predicted=tuple(fit.predicted(found.value, stretch) for fit in fits),
        consistency=_consistency(fits, fitted / scale) if freedom else None,
        influence_from=_source(runs, known),
        findings=(
            *_doubt(effects, known is not None),
            *([] if known is not None else _rule_findings(runs, fits, fitted / scale)),
            *_scatter(stretch),
            *_agreement(fits, found, stretch),
        ),
    )


def changed_influence(runs: Sequence[Run], known: Known) -> Finding | None:
    """Compare the influence coefficient that the runs tell by themselves with the one known beforehand.

    Parameters
    ----------
    runs : sequence of Run
        With phase.
    known : sequence of UncertainComplex
        Influence coefficient of each channel in reading per kg m.

    Returns
    -------
    Finding or None
        ``influence_changed`` if chance explains the difference in less than one case of a thousand (chi
        squared over all channels); None otherwise, and when the runs cannot tell H by themselves.
    """
    check_runs(runs, known)
    if not masses_differ(runs):
        return None
    fits, scale = fit_runs(runs)
    freedom = 2 * (len(runs) - 2) * len(fits)
    stretch = max(sum(fit.misfit for fit in fits) / freedom, 1.0) if freedom else 1.0
    distance = sum(
        square_distance(
            fit.effect - h.value * scale, fit.effect_covariance(stretch).plus(h.times(scale).covariance)
        )
        for fit, h in zip(fits, known, strict=True)
    )
    if chdtrc(2 * len(fits), distance) > _CHANGED:
        return None
    fit, h = max(zip(fits, known, strict=True), key=lambda pair: abs(pair[1].value))
    ratio = fit.effect / (h.value * scale)
    return Finding.of(
        "influence_changed",
        "warning",
        change_percent=100 * abs(ratio - 1),
        size_percent=100 * abs(ratio),
        turn_deg=math.degrees(cmath.phase(ratio)),
    )


def _source(runs: Sequence[Run], known: Known | None) -> InfluenceFrom:
    if known is None:
        return "runs"
    return "both" if masses_differ(runs) else "known"


def _check(runs: Sequence[Run], known: Known | None) -> None:
    if len(runs) < (1 if known is not None else 2):
        raise InputError("one run cannot tell what a mass does", todo="add a run with a trial mass")
    check_runs(runs, known)
    if known is not None:
        return
    if not masses_differ(runs):
        raise InputError(
            "every run has the same masses fitted", todo="add a run with a trial mass and list it"
        )
    first = [with_phase(r).value for r in runs[0].readings]
    largest = max(abs(with_phase(r).value) for run in runs for r in run.readings)
    moved = max(
        abs(with_phase(r).value - v) for run in runs for r, v in zip(run.readings, first, strict=True)
    )
    if moved <= 1e-9 * largest or largest == 0:
        raise InputError(
            "the readings of all runs are identical, so the trial mass changed nothing",
            todo="check that each run has its own reading, or use a larger trial mass",
        )


def _refuse_no_effect(runs: Sequence[Run], fits: Sequence[ChannelFit]) -> None:
    """Refuse runs that differ among each other, but not with the masses."""
    largest = max(with_phase(r).amplitude for run in runs for r in run.readings)
    if max(abs(fit.effect) for fit in fits) <= 1e-9 * largest:
        raise InputError(
            "the readings differ, but not with the masses: the trial mass changed nothing",
            todo="check which masses were on in which run, or use a larger trial mass",
        )


def _noise(runs: Sequence[Run]) -> Floats:
    """Mean variance of each channel, relative, so that readings without uncertainty count alike."""
    variances = np.array([[with_phase(r).covariance.radius ** 2 for r in run.readings] for run in runs]).mean(
        axis=0
    )
    return variances / variances.max() + 1e-6 if variances.max() > 0 else np.ones(variances.shape)


def _combine(fits: Sequence[ChannelFit], noise: Floats, stretch: float) -> UncertainComplex:
    """Minimise sum |V0 + H U|^2 / noise over U, with first-order propagation of V0 and H."""
    weights = 1 / noise
    power = sum(w * abs(f.effect) ** 2 for w, f in zip(weights, fits, strict=True))
    value = -sum(w * f.effect.conjugate() * f.initial for w, f in zip(weights, fits, strict=True)) / power
    covariance = np.zeros((2, 2))
    for weight, fit in zip(weights, fits, strict=True):
        left = fit.initial + fit.effect * value
        # U changes by -(conj(H) (dV0 + U dH) + conj(dH) left) w / power; conj flips the imaginary part
        d_initial = rotation(fit.effect.conjugate())
        d_effect = rotation(fit.effect.conjugate() * value) + rotation(left) @ np.diag([1.0, -1.0])
        slope = -weight / power * np.hstack((d_initial, d_effect))
        covariance += slope @ fit.covariance @ slope.T
    return UncertainComplex(complex(value), Covariance.of_matrix(covariance * stretch))


def _largest(fitted: Complexes) -> float:
    """Largest difference in fitted unbalance between two runs, in the scale of the fit."""
    return float(np.abs(fitted[:, np.newaxis] - fitted).max())


def _consistency(fits: Sequence[ChannelFit], fitted: Complexes) -> float:
    """Misfit over the largest effect of a mass; over the vibration as found where no run changed one."""
    largest = _largest(fitted)
    squares = [
        np.mean(np.sum(f.residuals**2, axis=1)) / max(abs(f.effect * largest or f.initial), 1e-300) ** 2
        for f in fits
    ]
    return float(np.sqrt(np.mean(squares)))


def _doubt(effects: Sequence[UncertainComplex], known: bool) -> list[Finding]:
    """Say when the effect of a mass is hardly known, by the channel that shows it most clearly."""
    clearest = max(effects, key=lambda e: e.amplitude / max(e.covariance.radius, 1e-300))
    doubt = clearest.covariance.radius / clearest.amplitude
    if doubt <= 1 / 3:
        return []
    if known:
        return [Finding.of("coefficient_unclear", "error", doubt_percent=100 * doubt)]
    return [Finding.of("trial_effect_unclear", "error", doubt_percent=100 * doubt)]


def _rule_findings(runs: Sequence[Run], fits: Sequence[ChannelFit], fitted: Complexes) -> list[Finding]:
    clearest = max(fits, key=lambda f: abs(f.effect) / max(f.effect_covariance().radius, 1e-300))
    if _rule_of_thirty(runs, fits.index(clearest)):
        return []
    share = abs(clearest.effect) * _largest(fitted) / max(abs(clearest.initial), 1e-300)
    return [Finding.of("trial_effect_small", "warning", effect_percent=100 * share)]


def _scatter(stretch: float) -> list[Finding]:
    # chi squared per degree of freedom; with two degrees 6 is passed once in 400
    return [Finding.of("runs_disagree", "warning", ratio=math.sqrt(stretch))] if stretch > 6 else []


def _rule_of_thirty(runs: Sequence[Run], channel: int) -> bool:
    """Say whether some run changed amplitude by 30 % or phase by 30 degrees (common practice, no source)."""
    values = [with_phase(run.readings[channel]).value for run in runs]
    start = values[0]
    return any(
        abs(abs(v) - abs(start)) >= RULE_AMPLITUDE * abs(start)
        or (v != 0 and start != 0 and abs(cmath.phase(v / start)) >= RULE_PHASE)
        for v in values[1:]
    )


def _agreement(fits: Sequence[ChannelFit], found: UncertainComplex, stretch: float) -> list[Finding]:
    """Look whether one unbalance explains all channels: if not, part of the 1x is not unbalance."""
    findings = []
    for index, fit in enumerate(fits if len(fits) > 1 else ()):
        left = fit.predicted(found.value, stretch)
        share = left.amplitude / abs(fit.initial) if fit.initial else 0.0
        if share > 0.1 and left.amplitude > 4 * left.covariance.radius:
            findings.append(
                Finding.of("channel_left_over", "warning", channel=index + 1, share_percent=100 * share)
            )
    return findings

"""Single-plane balancing with phase: V = V0 + H W by weighted complex least squares over all runs.

The textbook two-run formula C = -V0 W / (V1 - V0) is the special case of one channel and two runs.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.answer import Answer
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding

Floats = npt.NDArray[np.float64]

RULE_AMPLITUDE, RULE_PHASE = 0.30, math.radians(30)  # common practice, no source


@dataclass(frozen=True, eq=False)
class _Fit:
    """One channel: V0 and H scaled to the largest fitted unbalance, with their 4 by 4 covariance."""

    initial: complex
    effect: complex
    covariance: Floats
    misfit: float  # chi squared
    residuals: Floats


def solve_influence(runs: Sequence[Run]) -> Answer:
    """Find the correction from runs with phase.

    Each channel is fitted by itself, runs weighted by their covariances; the correction is the one that
    leaves least over all channels, each weighted by its noise. If the runs scatter more than their
    covariances say, the uncertainty of the answer grows with it (Birge ratio).

    Parameters
    ----------
    runs : sequence of Run
        Two or more with at least two different sets of masses; the first is the reference for `next`'s
        opposite, the last one for `next` itself. Every run holds the same channels.

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
    _check(runs, fitted)
    scale = float(np.abs(fitted).max()) if np.abs(fitted).max() > 0 else 1.0
    channels = list(zip(*(run.readings for run in runs), strict=True))
    fits = [_fit([_vector(r) for r in readings], fitted / scale) for readings in channels]
    _refuse_no_effect(runs, fits)
    freedom = 2 * (len(runs) - 2) * len(fits)
    stretch = max(sum(fit.misfit for fit in fits) / freedom, 1.0) if freedom else 1.0
    found = _combine(fits, _noise(runs), stretch)
    correction = found.times(scale)
    return Answer(
        method="influence",
        initial=tuple(UncertainComplex(f.initial, _part(f, 0, stretch)) for f in fits),
        influence=tuple(UncertainComplex(f.effect, _part(f, 2, stretch)).times(1 / scale) for f in fits),
        correction=correction,
        next_correction=UncertainComplex(correction.value - complex(fitted[-1]), correction.covariance),
        predicted=tuple(_predicted(f, found.value, stretch) for f in fits),
        consistency=_consistency(fits, fitted / scale) if freedom else None,
        findings=(*_findings(runs, fits, fitted / scale, stretch), *_agreement(fits, found, stretch)),
    )


def _vector(reading: object) -> UncertainComplex:
    assert isinstance(reading, UncertainComplex)
    return reading


def _check(runs: Sequence[Run], fitted: npt.NDArray[np.complex128]) -> None:
    if len(runs) < 2:
        raise InputError("one run cannot tell what a mass does", todo="add a run with a trial mass")
    if len({len(run.readings) for run in runs}) != 1:
        raise InputError(
            "the runs do not hold the same channels", todo="record every run with the same set-up"
        )
    # masses that cancel each other leave a rounding error, not 0
    listed = max(sum(abs(mass.unbalance) for mass in run.masses) for run in runs)
    if _largest(fitted) <= 1e-9 * listed or listed == 0:
        raise InputError(
            "every run has the same masses fitted", todo="add a run with a trial mass and list it"
        )
    first = [_vector(r).value for r in runs[0].readings]
    largest = max(abs(_vector(r).value) for run in runs for r in run.readings)
    moved = max(abs(_vector(r).value - v) for run in runs for r, v in zip(run.readings, first, strict=True))
    if moved <= 1e-9 * largest or largest == 0:
        raise InputError(
            "the readings of all runs are identical, so the trial mass changed nothing",
            todo="check that each run has its own reading, or use a larger trial mass",
        )


def _refuse_no_effect(runs: Sequence[Run], fits: Sequence[_Fit]) -> None:
    """Refuse runs that differ among each other, but not with the masses."""
    largest = max(_vector(r).amplitude for run in runs for r in run.readings)
    if max(abs(fit.effect) for fit in fits) <= 1e-9 * largest:
        raise InputError(
            "the readings differ, but not with the masses: the trial mass changed nothing",
            todo="check which masses were on in which run, or use a larger trial mass",
        )


def _rotation(value: complex) -> Floats:
    """Matrix that multiplies (re, im) by a complex number."""
    return np.array([[value.real, -value.imag], [value.imag, value.real]])


def _whitener(covariance: Covariance, floor: float) -> Floats:
    """Square root of the inverse covariance; `floor` keeps an exact reading from an infinite weight."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance.matrix + floor * np.eye(2))))


def _fit(readings: Sequence[UncertainComplex], fitted: npt.NDArray[np.complex128]) -> _Fit:
    floor = (1e-9 * max(r.amplitude for r in readings)) ** 2 or 1.0
    rows, targets, whiteners = [], [], []
    for reading, unbalance in zip(readings, fitted, strict=True):
        white = _whitener(reading.covariance, floor)
        rows.append(white @ np.hstack((np.eye(2), _rotation(complex(unbalance)))))
        targets.append(white @ [reading.value.real, reading.value.imag])
        whiteners.append(white)
    design, target = np.vstack(rows), np.concatenate(targets)
    solution = np.linalg.lstsq(design, target, rcond=None)[0]
    left = target - design @ solution
    plain = np.array([np.linalg.solve(w, e) for w, e in zip(whiteners, left.reshape(-1, 2), strict=True)])
    return _Fit(
        initial=complex(solution[0], solution[1]),
        effect=complex(solution[2], solution[3]),
        covariance=np.asarray(np.linalg.inv(design.T @ design), dtype=np.float64),
        misfit=float(left @ left),
        residuals=plain,
    )


def _noise(runs: Sequence[Run]) -> Floats:
    """Mean variance of each channel, relative, so that readings without uncertainty count alike."""
    variances = np.array([[_vector(r).covariance.radius ** 2 for r in run.readings] for run in runs]).mean(
        axis=0
    )
    return variances / variances.max() + 1e-6 if variances.max() > 0 else np.ones(variances.shape)


def _part(fit: _Fit, start: int, stretch: float) -> Covariance:
    return Covariance.of_matrix(fit.covariance[start : start + 2, start : start + 2] * stretch)


def _combine(fits: Sequence[_Fit], noise: Floats, stretch: float) -> UncertainComplex:
    """Minimise sum |V0 + H U|^2 / noise over U, with first-order propagation of V0 and H."""
    weights = 1 / noise
    power = sum(w * abs(f.effect) ** 2 for w, f in zip(weights, fits, strict=True))
    value = -sum(w * f.effect.conjugate() * f.initial for w, f in zip(weights, fits, strict=True)) / power
    covariance = np.zeros((2, 2))
    for weight, fit in zip(weights, fits, strict=True):
        left = fit.initial + fit.effect * value
        # U changes by -(conj(H) (dV0 + U dH) + conj(dH) left) w / power; conj flips the imaginary part
        d_initial = _rotation(fit.effect.conjugate())
        d_effect = _rotation(fit.effect.conjugate() * value) + _rotation(left) @ np.diag([1.0, -1.0])
        slope = -weight / power * np.hstack((d_initial, d_effect))
        covariance += slope @ fit.covariance @ slope.T
    return UncertainComplex(complex(value), Covariance.of_matrix(covariance * stretch))


def _predicted(fit: _Fit, value: complex, stretch: float) -> UncertainComplex:
    slope = np.hstack((np.eye(2), _rotation(value)))
    covariance = slope @ fit.covariance @ slope.T * stretch
    return UncertainComplex(fit.initial + fit.effect * value, Covariance.of_matrix(covariance))


def _largest(fitted: npt.NDArray[np.complex128]) -> float:
    """Largest difference in fitted unbalance between two runs, in the scale of the fit."""
    return float(np.abs(fitted[:, np.newaxis] - fitted).max())


def _consistency(fits: Sequence[_Fit], fitted: npt.NDArray[np.complex128]) -> float:
    squares = [np.mean(np.sum(f.residuals**2, axis=1)) / abs(f.effect * _largest(fitted)) ** 2 for f in fits]
    return float(np.sqrt(np.mean(squares)))


def _findings(
    runs: Sequence[Run], fits: Sequence[_Fit], fitted: npt.NDArray[np.complex128], stretch: float
) -> list[Finding]:
    findings = []
    clearest = max(fits, key=lambda f: abs(f.effect) / max(_part(f, 2, 1.0).radius, 1e-300))
    doubt = _part(clearest, 2, stretch).radius / abs(clearest.effect)
    if doubt > 1 / 3:
        findings.append(Finding.of("trial_effect_unclear", "error", doubt_percent=100 * doubt))
    change = abs(clearest.effect) * _largest(fitted)
    if not _rule_of_thirty(runs, fits.index(clearest)):
        share = change / max(abs(clearest.initial), 1e-300)
        findings.append(Finding.of("trial_effect_small", "warning", effect_percent=100 * share))
    if stretch > 6:  # chi squared per degree of freedom; with two degrees 6 is passed once in 400
        findings.append(Finding.of("runs_disagree", "warning", ratio=math.sqrt(stretch)))
    return findings


def _rule_of_thirty(runs: Sequence[Run], channel: int) -> bool:
    """Say whether some run changed amplitude by 30 % or phase by 30 degrees (common practice, no source)."""
    values = [_vector(run.readings[channel]).value for run in runs]
    start = values[0]
    return any(
        abs(abs(v) - abs(start)) >= RULE_AMPLITUDE * abs(start)
        or (v != 0 and start != 0 and abs(cmath.phase(v / start)) >= RULE_PHASE)
        for v in values[1:]
    )


def _agreement(fits: Sequence[_Fit], found: UncertainComplex, stretch: float) -> list[Finding]:
    """Look whether one unbalance explains all channels: if not, part of the 1x is not unbalance."""
    findings = []
    for index, fit in enumerate(fits if len(fits) > 1 else ()):
        left = _predicted(fit, found.value, stretch)
        share = left.amplitude / abs(fit.initial) if fit.initial else 0.0
        if share > 0.1 and left.amplitude > 4 * left.covariance.radius:
            findings.append(
                Finding.of("channel_left_over", "warning", channel=index + 1, share_percent=100 * share)
            )
    return findings

"""Single-plane balancing without phase: amplitudes with a trial mass at several places.

Each reading is A = h |U + W|: the stand's gain h times the unbalance of rotor and fitted masses together.
The search is over U alone; h follows from it. Two places (or places on one line) leave two candidates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from scipy.special import chdtrc  # quicker to load than scipy.stats

from balancer.core.answer import Answer
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

_RIVAL = 9.0  # a candidate whose chi squared is this near the best one's cannot be told from it


@dataclass(frozen=True, eq=False)
class _Data:
    """Readings to be explained: shapes (runs,), (runs, channels) twice, (channels,) twice.

    A gain that is not known beforehand has the weight (inverse variance) 0.
    """

    fitted: Complexes
    values: Floats
    sds: Floats
    gains: Floats
    weights: Floats

    @property
    def known(self) -> bool:
        return bool(np.any(self.weights > 0))

    @property
    def freedom(self) -> int:
        channels = self.values.shape[1]
        return int(self.values.size - 2 - (0 if self.known else channels))

    def alone(self) -> _Data:
        return replace(self, weights=np.zeros_like(self.weights))


def solve_amplitude_only(runs: Sequence[Run], known: Sequence[UncertainComplex] | None = None) -> Answer:
    """Find the correction from amplitudes alone.

    Weighted nonlinear least squares over all runs and channels; the circle construction of R. B. McMillan,
    Rotating Machinery: Practical Solutions to Unbalance and Misalignment, ch. 6, is its exact case.

    Parameters
    ----------
    runs : sequence of Run
        Three or more: the as-is run and trials at two places (two candidates) or three and more (one). With
        `known` one place less serves.
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m, known beforehand at the speed of the runs;
        its size alone counts. It is left out, and that is found, if the runs by themselves contradict it.

    Returns
    -------
    Answer
        Correction, gains, and candidates that fit as well.

    Raises
    ------
    InputError
        If the runs are too few or their readings cannot belong together.
    """
    fitted = np.array([run.unbalance for run in runs], dtype=np.complex128)
    values, sds = _table(runs)
    alone = _check(fitted, values, known)
    scale = float(np.abs(fitted).max())
    data = _data(fitted / scale, values, sds, known, scale)
    candidates = _candidates(data)
    changed = _changed_gain(data, candidates[0][1]) if alone and data.known else None
    if changed is not None:
        data = data.alone()
        candidates = _candidates(data)
    best = candidates[0][1]
    stretch = max(best / data.freedom, 1.0) if data.freedom > 0 else 1.0
    rivals = [u for u, chi in candidates if (chi - best) / stretch < _RIVAL]
    joint = [_joint_covariance(u, data) * stretch for u in rivals]
    found = [UncertainComplex(u, Covariance.of_matrix(j[:2, :2])) for u, j in zip(rivals, joint, strict=True)]
    consistency = _redundancy(data.fitted, values)
    gains = _gains(rivals[0], data)
    correction = found[0].times(-scale)
    return Answer(
        method="amplitude-only",
        initial=tuple(_initial(rivals[0], gains, k, joint[0]) for k in range(gains.size)),
        influence=tuple(
            _influence(rivals[0], gains, k, joint[0]).times(1 / scale) for k in range(gains.size)
        ),
        correction=correction,
        next_correction=UncertainComplex(correction.value - complex(fitted[-1]), correction.covariance),
        predicted=tuple(UncertainComplex(0j, found[0].times(complex(h)).covariance) for h in gains),
        alternatives=tuple(other.times(-scale) for other in found[1:]),
        consistency=consistency,
        influence_from="both" if data.known else "runs",
        findings=(
            *([changed] if changed is not None else []),
            *_findings(found, consistency, None if data.known else gains, values),
        ),
    )


def _data(
    fitted: Complexes, values: Floats, sds: Floats, known: Sequence[UncertainComplex] | None, scale: float
) -> _Data:
    if known is None:
        nothing = np.zeros(values.shape[1])
        return _Data(fitted, values, sds, nothing, nothing)
    gains = scale * np.array([h.amplitude for h in known])
    doubts = scale * np.array([h.sd_amplitude for h in known])
    return _Data(fitted, values, sds, gains, 1 / np.maximum(doubts, 1e-6 * gains) ** 2)


def _changed_gain(data: _Data, best: float) -> Finding | None:
    """Compare with what the runs say by themselves: chance explains less than one case of a thousand."""
    unbalance, lone = _candidates(data.alone())[0]
    freedom = data.alone().freedom
    stretch = max(lone / freedom, 1.0) if freedom > 0 else 1.0
    if chdtrc(data.gains.size, max((best - lone) / stretch, 0.0)) > 1e-3:
        return None
    ratios = _gains(unbalance, data.alone()) / data.gains
    return Finding.of("gain_changed", "warning", size_percent=100 * float(ratios[int(np.argmax(data.gains))]))


def closed_form(fitted: Complexes, amplitudes: Floats) -> tuple[complex, float, float]:
    """Solve A^2 = |V0|^2 + |H|^2 |W|^2 + 2 Re(conj(V0) H W), linear in its four unknowns.

    Parameters
    ----------
    fitted : array of complex, shape (n,)
        Unbalance fitted in each of four or more runs, one of them with none.
    amplitudes : array, shape (n,)
        Readings.

    Returns
    -------
    correction : complex
        In the unit of `fitted`.
    gain : float
        |H| from the squares.
    redundant : float
        |H| from the cross terms: the same when the readings fit together.

    Raises
    ------
    InputError
        If the places do not determine the unknowns, or no real mass explains the readings.
    """
    design = np.column_stack((np.ones(fitted.size), np.abs(fitted) ** 2, 2 * fitted.real, -2 * fitted.imag))
    solution, _, rank, _ = np.linalg.lstsq(design, amplitudes**2, rcond=1e-9)
    square, gain_square = float(solution[0]), float(solution[1])
    cross = complex(solution[2], solution[3])
    if rank < 4 or square <= 0 or gain_square <= 0 or cross == 0:
        raise InputError("the amplitudes do not fit together", todo="repeat the runs at one speed")
    gain = math.sqrt(gain_square)
    # V0 / H = conj(conj(V0) H) / |H|^2: length from the squares, direction from the cross term
    size = math.sqrt(square) / gain
    return -size * cross.conjugate() / abs(cross), gain, abs(cross) / math.sqrt(square)


def _table(runs: Sequence[Run]) -> tuple[Floats, Floats]:
    if len({len(run.readings) for run in runs}) != 1:
        raise InputError(
            "the runs do not hold the same channels", todo="record every run with the same set-up"
        )
    rows = [[_amplitude(r) for r in run.readings] for run in runs]
    values = np.array([[r.value for r in row] for row in rows])
    sds = np.array([[r.sd for r in row] for row in rows])
    # a reading without uncertainty gets a small share of the largest one: weights must stay finite
    return values, np.maximum(sds, 1e-6 * max(float(values.max()), 1e-300))


def _amplitude(reading: object) -> Amplitude:
    if isinstance(reading, UncertainComplex):
        return Amplitude(reading.amplitude, reading.sd_amplitude)
    assert isinstance(reading, Amplitude)
    return reading


def _check_gains(channels: int, known: Sequence[UncertainComplex]) -> None:
    if len(known) != channels:
        raise InputError(
            f"the known influence coefficient is of {len(known)} channels, the runs are of {channels}",
            todo="use one that was found with the same channels",
        )
    if not all(math.isfinite(h.amplitude) and h.amplitude > 0 for h in known):
        raise InputError("a known influence coefficient must be a finite number other than 0")


def _check(fitted: Complexes, values: Floats, known: Sequence[UncertainComplex] | None) -> bool:
    """Refuse too few places; say whether the runs would do without what is known."""
    if known is not None:
        _check_gains(values.shape[1], known)
    places = len({complex(np.round(w, 15)) for w in fitted})
    if places < (3 if known is None else 2):
        raise InputError(
            "without phase the as-is run and trials at two places or more are needed, three are better"
            if known is None
            else "without phase a known influence coefficient tells the size of the unbalance, not its place",
            todo="add runs with the trial mass at other places",
        )
    if known is None and np.ptp(values, axis=0).max() <= 1e-9 * values.max():
        raise InputError(
            "the amplitudes of all runs are identical, so the trial mass changed nothing",
            todo="check that each run has its own reading, or use a larger trial mass",
        )
    return places > 2


def _shapes(unbalance: complex | Complexes, fitted: Complexes) -> Floats:
    """|U + W| of every run, shape (..., runs, 1) for unbalances of shape (...)."""
    return np.abs(np.asarray(unbalance)[..., np.newaxis] + fitted)[..., np.newaxis]


def _gains(unbalance: complex | Complexes, data: _Data) -> Floats:
    shapes = _shapes(unbalance, data.fitted)
    weights = 1 / data.sds**2
    seen = np.sum(data.values * shapes * weights, axis=-2) + data.gains * data.weights
    return np.asarray(seen / (np.sum(shapes**2 * weights, axis=-2) + data.weights))


def _misfit(unbalance: complex | Complexes, data: _Data) -> Floats:
    gains = _gains(unbalance, data)
    misfit = (data.values - gains[..., np.newaxis, :] * _shapes(unbalance, data.fitted)) / data.sds
    of_runs = misfit.reshape(*misfit.shape[:-2], -1)
    return np.concatenate((of_runs, (gains - data.gains) * np.sqrt(data.weights)), axis=-1)


def _candidates(data: _Data) -> list[tuple[complex, float]]:
    """All local minima, best first, from the hollows of a polar grid."""
    radii, angles = np.geomspace(0.02, 50, 60), np.arange(0, 2 * np.pi, np.pi / 45)
    grid = radii[:, np.newaxis] * np.exp(1j * angles)
    cost = np.sum(_misfit(grid, data) ** 2, axis=-1)
    padded = np.pad(np.pad(cost, ((0, 0), (1, 1)), mode="wrap"), ((1, 1), (0, 0)), constant_values=np.inf)
    sides = (padded[:-2, 1:-1], padded[2:, 1:-1], padded[1:-1, :-2], padded[1:-1, 2:])
    hollow = np.all([cost <= side for side in sides], axis=0)
    found: list[tuple[complex, float]] = []
    for start in grid[hollow]:
        result = least_squares(
            lambda p: _misfit(complex(p[0], p[1]), data),
            (start.real, start.imag),
            xtol=1e-13,
            ftol=1e-13,
            method="lm",  # many times quicker on two unknowns without bounds
        )
        point = complex(*result.x)
        if all(abs(point - other) > 1e-3 * abs(point) for other, _ in found):
            found.append((point, float(2 * result.cost)))
    return sorted(found, key=lambda candidate: candidate[1])


def _joint_covariance(unbalance: complex, data: _Data) -> Floats:
    """Linearise in U and in every gain: covariance of Re U, Im U and the gains."""
    total = unbalance + data.fitted
    shape = np.abs(total)
    gains = _gains(unbalance, data)
    direction = total / np.maximum(shape, 1e-12)
    rows = [np.hstack((np.zeros((gains.size, 2)), np.diag(np.sqrt(data.weights))))]
    for channel, gain in enumerate(gains):
        own = np.zeros((data.fitted.size, gains.size))
        own[:, channel] = shape
        design = np.column_stack((gain * direction.real, gain * direction.imag, own))
        rows.append(design / data.sds[:, channel, np.newaxis])
    design = np.vstack(rows)
    return np.asarray(np.linalg.pinv(design.T @ design), dtype=np.float64)


def _initial(unbalance: complex, gains: Floats, channel: int, joint: Floats) -> UncertainComplex:
    """|V0| = h |U|, its angle 0 by choice."""
    slope = np.zeros(joint.shape[0])
    slope[:2] = gains[channel] * np.array([unbalance.real, unbalance.imag]) / abs(unbalance)
    slope[2 + channel] = abs(unbalance)
    return UncertainComplex(
        complex(gains[channel] * abs(unbalance)), Covariance(float(slope @ joint @ slope), 0.0)
    )


def _influence(unbalance: complex, gains: Floats, channel: int, joint: Floats) -> UncertainComplex:
    """H = V0 / U, so its size is the gain and its angle the opposite of U's."""
    slope = np.zeros((2, joint.shape[0]))
    slope[0, 2 + channel] = 1.0
    slope[1, :2] = gains[channel] * np.array([unbalance.imag, -unbalance.real]) / abs(unbalance) ** 2
    turn = unbalance.conjugate() / abs(unbalance)
    covariance = Covariance.of_matrix(slope @ joint @ slope.T).times(turn)
    return UncertainComplex(complex(gains[channel] * turn), covariance)


def _redundancy(fitted: Complexes, values: Floats) -> float | None:
    if fitted.size < 4:
        return None
    worst = 0.0
    for channel in values.T:
        try:
            _, gain, redundant = closed_form(fitted, channel)
        except InputError:
            return None
        worst = max(worst, abs(gain - redundant) / gain)
    return worst


def _findings(
    found: Sequence[UncertainComplex], consistency: float | None, gains: Floats | None, values: Floats
) -> list[Finding]:
    findings = []
    if len(found) > 1:
        findings.append(Finding.of("two_candidates", "error", candidates=len(found)))
    if consistency is not None and consistency > 0.1:
        findings.append(Finding.of("amplitudes_disagree", "warning", mismatch_percent=100 * consistency))
    if gains is None:
        return findings
    effect = float(gains[0]) / float(values[0, 0]) if values[0, 0] > 0 else math.inf
    if effect < 0.5:  # noise of 1 % then leaves 3 % of the unbalance (simulated)
        findings.append(Finding.of("trial_effect_small", "warning", effect_percent=100 * effect))
    return findings

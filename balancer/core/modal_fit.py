"""Natural frequencies and damping from the 1x vectors of a run-up or coast-down.

All channels share the modes. Given frequencies and dampings the vectors are linear in what each mode and two
terms for all modes out of range contribute, so only those are searched (variable projection: G. H. Golub and
V. Pereyra, SIAM J. Numerical Analysis 10 (1973) 413-432). Modes are added one by one as long as the data ask
for one. Residual terms for modes below and above the range: D. J. Ewins, Modal Testing (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from balancer.core.resonance import Resonance, accelerance
from balancer.core.swept import Pass, force, mode_means

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Pairs = list[tuple[float, float]]

MOST_MODES = 5
_RATIO = 1.03  # between trial frequencies
_TRIAL_DAMPING = (0.02, 0.06)
_OUTSIDE = 1.3  # a mode may move out of the range by so much: its flank is still inside
_LEAST_DAMPING, _MOST_DAMPING = 0.001, 0.3
_FLOOR = 0.003  # of the vector: marks, wander and the fit of a block are no better than that
_MODE_FLOOR = (2e-4, 3e-3)  # of frequency and damping: what low-pass and fitted masses do (simulated)
_WIDER = 1.5  # on what both estimates give: sweeps with 1x near the noise scatter so much more (simulated)
_GROWTH_FLOOR = (
    0.03  # the delay of a low-pass at ten times the speed looks like a force of this size (simulated)
)
_WORTH = 40.0  # least fall of chi squared, in units of what is left per degree of freedom, for a new mode


@dataclass(frozen=True, eq=False)
class SweepData:
    """The vectors to be explained.

    Parameters
    ----------
    path : tuple of Pass
        The shaft's path; its blocks in order are those of `vectors`.
    speeds : array, shape (blocks,)
        Mean speeds in rad/s.
    vectors : array of complex, shape (channels, blocks)
        1x, A exp(j lag).
    sd : array, shape (channels, blocks)
        Standard uncertainty of a component.
    """

    path: tuple[Pass, ...]
    speeds: Floats
    vectors: Complexes
    sd: Floats

    @property
    def weights(self) -> Floats:
        """One over the uncertainty that the fit works with."""
        floor = _FLOOR * np.sqrt(np.mean(np.abs(self.vectors) ** 2, axis=0))
        tiny = 1e-9 * float(np.max(np.abs(self.vectors))) + 1e-300
        return np.asarray(1 / np.sqrt(self.sd**2 + floor**2 + tiny**2))

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest shaft frequency in Hz."""
        return float(self.speeds.min()) / (2 * np.pi), float(self.speeds.max()) / (2 * np.pi)


@dataclass(frozen=True, eq=False)
class ModalFit:
    """What was found.

    Parameters
    ----------
    modes : tuple of Resonance
        All modes used, by frequency; those outside the range or badly known too.
    shares : array of complex, shape (channels, modes + 2)
        What each mode contributes, then the modes below and those above the range.
    chi_squared : float
        Weighted sum of squares left.
    freedom : int
        Degrees of freedom.
    top : float
        Speed in rad/s by which the last term is scaled.
    """

    modes: tuple[Resonance, ...]
    shares: Complexes
    chi_squared: float
    freedom: int
    top: float

    def steady(self, speeds: Floats) -> Complexes:
        """Give the vectors that steady speeds (rad/s) would show, shape (channels, speeds)."""
        modes = [accelerance(speeds, mode.frequency, mode.damping) for mode in self.modes]
        rows = np.array([*modes, np.ones(speeds.shape), (speeds / self.top) ** 2])
        return np.asarray(self.shares @ (speeds**2 * rows))


@dataclass(frozen=True)
class Growth:
    """How the turning force grows with speed: as w^2 + `constant` `reference`^2.

    A force that does not grow cannot be told from a mode below the swept range (their effects on the modes
    inside are the same but for one term that such a mode has, too). So this holds if there is none, and
    `misfit` says whether it can hold.

    Parameters
    ----------
    constant : complex
        Force that does not grow, as a fraction of the unbalance force at the reference speed.
    sd : float
        Standard uncertainty of each component.
    reference : float
        Speed in rad/s.
    misfit : float
        Sum of squares left over that of the fit in which modes below the range are allowed: near 1 if the
        growth alone explains the vectors.
    """

    constant: complex
    sd: float
    reference: float
    misfit: float

    def exponent(self) -> float:
        """Give the power of the speed with which the force grows near the reference speed."""
        return 2 * (1 / (1 + self.constant)).real

    def sd_exponent(self) -> float:
        """Give its standard uncertainty, to first order."""
        return 2 * self.sd / abs(1 + self.constant) ** 2


def fit_modes(data: SweepData) -> ModalFit:
    """Find as many modes as the data ask for.

    Parameters
    ----------
    data : SweepData
        At least some ten blocks.

    Returns
    -------
    ModalFit
        Perhaps without a mode.
    """
    search = _Search(data)
    found: Pairs = []
    best = search.fit(found)
    while len(found) < MOST_MODES:
        fitted = search.fit([*found, search.next_mode(found)])
        fall = best.chi_squared - fitted.chi_squared
        if fall < _WORTH * max(fitted.chi_squared / fitted.freedom, 1.0) or not search.sound(fitted):
            break
        best, found = fitted, [(mode.frequency, mode.damping) for mode in fitted.modes]
    return best


def fit_growth(data: SweepData, known: ModalFit) -> Growth:
    """Fit again with a part of the force left open that does not grow with speed.

    Parameters
    ----------
    data : SweepData
        As for `fit_modes`.
    known : ModalFit
        What that found: at least one mode.

    Returns
    -------
    Growth
        The force.
    """
    search = _Search(data, trial=False)
    x, jacobian, left = search.solve([(m.frequency, m.damping) for m in known.modes], growth=True)
    chi = float(np.sum(np.abs(left) ** 2))
    variance = np.diagonal(np.linalg.pinv(jacobian.T @ jacobian))[-2:].mean() * max(chi / known.freedom, 1.0)
    return Growth(
        complex(x[-2], x[-1]),
        float(np.sqrt(variance + _GROWTH_FLOOR**2)),
        search.reference,
        chi / max(known.chi_squared, 1e-300),
    )


class _Search:
    """The columns of the linear problem for trial modes, and the search over frequencies and dampings."""

    def __init__(self, data: SweepData, *, trial: bool = True) -> None:
        self._data, self._weights = data, data.weights
        self.top = max(float(one.speeds.max()) for one in data.path)
        low, high = data.range
        self.reference = 2 * np.pi * float(np.sqrt(low * high))
        self._driving = [force(one) for one in data.path]
        self._below = self._means(self._driving)
        self._above = self._means(
            [g * (one.speeds / self.top) ** 2 for one, g in zip(data.path, self._driving, strict=True)]
        )
        self._kept: dict[tuple[float, float], Complexes] = {}
        self._low, self._high = low / _OUTSIDE, high * _OUTSIDE
        count = int(np.log(high / low) / np.log(_RATIO)) + 2 if trial else 0
        self._trial = [(float(f), z) for f in np.geomspace(low, high, count) for z in _TRIAL_DAMPING]
        self._trial_columns = np.array([self._column(f, z, self._driving) for f, z in self._trial])

    def _means(self, driving: list[Complexes]) -> Complexes:
        return np.concatenate([one.means(g) for one, g in zip(self._data.path, driving, strict=True)])

    def _column(self, frequency: float, damping: float, driving: list[Complexes]) -> Complexes:
        pairs = zip(self._data.path, driving, strict=True)
        return np.concatenate([mode_means(one, g, frequency, damping) for one, g in pairs])

    def _columns(self, modes: Pairs, constant: complex | None) -> Complexes:
        if constant is not None:  # no term for modes below: it could not be told from the constant force
            driving = [g + constant * self.reference**2 for g in self._driving]
            return np.array([*(self._column(f, z, driving) for f, z in modes), self._above])
        # a step in one mode leaves the columns of the others as they were
        self._kept = {
            mode: self._kept[mode] if mode in self._kept else self._column(*mode, self._driving)
            for mode in modes
        }
        return np.array([*(self._kept[mode] for mode in modes), self._below, self._above])

    def _project(self, columns: Complexes) -> tuple[Complexes, Complexes]:
        """Give the best shares (channels, columns) and the weighted residual (channels, blocks)."""
        scale = np.sqrt(np.mean(np.abs(columns) ** 2, axis=1))
        shares, left = [], []
        for row, weight in zip(self._data.vectors, self._weights, strict=True):
            basis = (columns / scale[:, None] * weight).T
            share = np.linalg.lstsq(basis, row * weight, rcond=1e-12)[0]
            shares.append(share / scale)
            left.append(row * weight - basis @ share)
        return np.array(shares), np.array(left)

    def next_mode(self, modes: Pairs) -> tuple[float, float]:
        """Give the trial mode that would explain most of what is left."""
        columns = self._columns(modes, None)
        _, left = self._project(columns)
        gain = np.zeros(len(self._trial))
        for weight, rest in zip(self._weights, left, strict=True):
            base = np.linalg.qr((columns * weight).T)[0]
            new = self._trial_columns * weight
            size = np.sum(np.abs(new) ** 2, axis=1)
            new = new - (new @ base.conj()) @ base.T
            across = np.sum(np.abs(new) ** 2, axis=1)
            gain += np.abs(new.conj() @ rest) ** 2 / np.maximum(across, 1e-9 * size)
        return self._trial[int(np.argmax(gain))]

    def sound(self, fitted: ModalFit) -> bool:
        """Say whether every mode keeps off the limits of the search: one that does not is no mode."""
        return all(
            self._low < mode.frequency < self._high
            and 1.05 * _LEAST_DAMPING < mode.damping < 0.95 * _MOST_DAMPING
            for mode in fitted.modes
        )

    def solve(self, start: Pairs, *, growth: bool = False) -> tuple[Floats, Floats, Complexes]:
        """Refine from a start: logarithms of frequencies and dampings, the Jacobian, what is left."""
        x = np.log(np.array(start)).ravel()
        lower = np.tile(np.log([self._low / 1.01, _LEAST_DAMPING]), len(start))
        upper = np.tile(np.log([self._high * 1.01, _MOST_DAMPING]), len(start))
        if growth:
            x, lower, upper = np.append(x, [0, 0]), np.append(lower, [-20, -20]), np.append(upper, [20, 20])

        def misfit(x: Floats) -> Floats:
            constant = complex(x[-2], x[-1]) if growth else None
            left = self._project(self._columns(pairs_of(x[: 2 * len(start)]), constant))[1]
            return np.asarray(left.view(np.float64).ravel())

        x = np.clip(x, lower + 1e-6, upper - 1e-6)
        solved = least_squares(
            misfit, x, bounds=(lower, upper), x_scale=(upper - lower) / 50, ftol=1e-6, xtol=1e-6, max_nfev=40
        )
        return solved.x, solved.jac, solved.fun.view(np.complex128).reshape(self._data.vectors.shape)

    def fit(self, start: Pairs) -> ModalFit:
        """Refine frequencies and dampings from a start; without a mode there is nothing to refine."""
        x, jacobian = np.zeros(0), np.zeros((1, 0))
        if start:
            x, jacobian, _ = self.solve(start)
        modes = pairs_of(x)
        shares, left = self._project(self._columns(modes, None))
        chi = float(np.sum(np.abs(left) ** 2))
        freedom = max(2 * left.size - 2 * shares.size - x.size, 1)
        flat = left.view(np.float64).ravel() if start else np.zeros(1)
        variance = _variances(jacobian, flat, max(chi / freedom, 1.0)).reshape(-1, 2)
        sd = np.sqrt(np.maximum(variance, 0.0) + np.square(_MODE_FLOOR))
        order = sorted(range(len(modes)), key=lambda i: modes[i])
        told = tuple(
            Resonance(f, z, f * float(sd[i, 0]), z * float(sd[i, 1])) for i in order for f, z in [modes[i]]
        )
        shares = np.concatenate([shares[:, order], shares[:, len(modes) :]], axis=1)
        return ModalFit(told, shares, chi, freedom, self.top)


def _variances(jacobian: Floats, left: Floats, scale: float) -> Floats:
    """Give the variances of the parameters: the larger of the usual ones and those true to uneven noise.

    Air stirs a stand most where it rings, and there the noise beside 1x says too little. The second estimate
    (H. White, Econometrica 48 (1980) 817-838) takes the noise of each block from what is left of it.
    """
    inverse = np.linalg.pinv(jacobian.T @ jacobian)
    pulls = jacobian * left[:, None]
    uneven = inverse @ (pulls.T @ pulls) @ inverse
    return np.asarray(_WIDER**2 * np.maximum(np.diagonal(inverse) * scale, np.diagonal(uneven)))


def pairs_of(x: Floats) -> Pairs:
    """Turn logarithms into pairs of frequency in Hz and damping ratio."""
    return [(float(f), float(z)) for f, z in np.exp(x).reshape(-1, 2)]

"""V = V0 + H W by weighted complex least squares, one channel over all runs, and what a run should show."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Known = Sequence[UncertainComplex]
"""Influence coefficient of each channel in reading per kg m, known beforehand."""


@dataclass(frozen=True, eq=False)
class ChannelFit:
    """V0 and the effect E = H scale of the largest fitted unbalance, with their 4 by 4 covariance.

    Parameters
    ----------
    initial, effect : complex
        In the unit of the reading.
    covariance : array, shape (4, 4)
        Of (Re V0, Im V0, Re E, Im E).
    whitened : array, shape (2 runs,) or (2 + 2 runs,)
        What is left in standard deviations; first of what was known of E, where it was.
    residuals : array, shape (runs, 2)
        Reading minus fit, real and imaginary part.
    """

    initial: complex
    effect: complex
    covariance: Floats
    whitened: Floats
    residuals: Floats

    @property
    def misfit(self) -> float:
        """Chi squared of the runs and of what was known of E."""
        return float(self.whitened @ self.whitened)

    def initial_covariance(self, stretch: float = 1.0) -> Covariance:
        """Give the covariance of V0, `stretch` times as large."""
        return Covariance.of_matrix(self.covariance[:2, :2] * stretch)

    def effect_covariance(self, stretch: float = 1.0) -> Covariance:
        """Give the covariance of E, `stretch` times as large."""
        return Covariance.of_matrix(self.covariance[2:, 2:] * stretch)

    def predicted(self, unbalance: complex, stretch: float = 1.0) -> UncertainComplex:
        """Give the reading expected with an unbalance fitted, in the scale of the fit."""
        slope = np.hstack((np.eye(2), rotation(unbalance)))
        covariance = slope @ self.covariance @ slope.T * stretch
        return UncertainComplex(self.initial + self.effect * unbalance, Covariance.of_matrix(covariance))


def rotation(value: complex) -> Floats:
    """Give the (2, 2) matrix that multiplies (re, im) by a complex number."""
    return np.array([[value.real, -value.imag], [value.imag, value.real]])


def whitener(covariance: Covariance, floor: float) -> Floats:
    """Give a root of the inverse covariance; the variance `floor` keeps an exact number's weight finite."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance.matrix + floor * np.eye(2))))


def fit_channel(
    readings: Sequence[UncertainComplex],
    fitted: Complexes,
    known: UncertainComplex | None = None,
    turns: Sequence[complex] | None = None,
) -> ChannelFit:
    """Fit V0 and E to the readings of one channel.

    Parameters
    ----------
    readings : sequence of UncertainComplex
        One for each run.
    fitted : array of complex, shape (runs,)
        Unbalance fitted, scaled to the largest.
    known : UncertainComplex, optional
        What is known of E beforehand: one more observation.
    turns : sequence of complex, optional
        Factor by which each run's vector stands changed against V0 + E W; 1 when left out.

    Returns
    -------
    ChannelFit
        The fit.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the runs do not determine both.
    """
    size = max(reading.amplitude for reading in readings)
    floor = (1e-9 * size) ** 2 or 1.0
    factors = [1.0 + 0j] * len(readings) if turns is None else list(turns)
    rows, targets = [], []
    if known is not None:
        # first, and no more than 1e7 times as sure as its size: the factorisation stays accurate
        white = whitener(known.covariance, (1e-7 * known.amplitude) ** 2)
        rows.append(white @ np.hstack((np.zeros((2, 2)), np.eye(2))))
        targets.append(white @ [known.value.real, known.value.imag])
    for reading, unbalance, factor in zip(readings, fitted, factors, strict=True):
        white = whitener(reading.covariance, floor)
        rows.append(white @ rotation(factor) @ np.hstack((np.eye(2), rotation(complex(unbalance)))))
        targets.append(white @ [reading.value.real, reading.value.imag])
    design, target = np.vstack(rows), np.concatenate(targets)
    solution = np.linalg.lstsq(design, target, rcond=None)[0]
    left = target - design @ solution
    root = np.linalg.inv(np.linalg.qr(design, mode="r"))
    initial, effect = complex(solution[0], solution[1]), complex(solution[2], solution[3])
    expected = np.array(factors) * (initial + effect * fitted)
    plain = np.array([reading.value for reading in readings]) - expected
    return ChannelFit(
        initial=initial,
        effect=effect,
        covariance=np.asarray(root @ root.T, dtype=np.float64),
        whitened=left,
        residuals=np.column_stack((plain.real, plain.imag)),
    )


def with_phase(reading: object) -> UncertainComplex:
    """Give the reading as a vector.

    Raises
    ------
    InputError
        If it is an amplitude only.
    """
    if not isinstance(reading, UncertainComplex):
        raise InputError(
            "a run without phase cannot be fitted with the others", todo="give every run a phase"
        )
    return reading


def check_runs(runs: Sequence[Run], known: Known | None = None) -> None:
    """Refuse runs, and a known coefficient, that are not of the same channels.

    Raises
    ------
    InputError
        If they are not, or a known number is 0 or not finite.
    """
    channels = {len(run.readings) for run in runs}
    if len(channels) > 1:
        raise InputError(
            "the runs do not hold the same channels", todo="record every run with the same set-up"
        )
    if known is not None and channels != {len(known)}:
        raise InputError(
            f"the known influence coefficient is of {len(known)} channels, the runs are of others",
            todo="use one that was found with the same channels",
        )
    if not all(cmath.isfinite(h.value) and h.value != 0 for h in known or ()):
        raise InputError("a known influence coefficient must be a finite number other than 0")


def masses_differ(runs: Sequence[Run]) -> bool:
    """Say whether the masses fitted differ between runs, so that these tell the effect of a mass."""
    fitted = np.array([run.unbalance for run in runs], dtype=np.complex128)
    # masses that cancel each other leave a rounding error, not 0
    listed = max((sum(abs(mass.unbalance) for mass in run.masses) for run in runs), default=0.0)
    return listed > 0 and float(np.abs(fitted[:, np.newaxis] - fitted).max()) > 1e-9 * listed


def unbalance_scale(runs: Sequence[Run], known: Known | None = None) -> float:
    """Give the largest unbalance in kg m, fitted or by what is known: it makes both unknowns of a kind."""
    largest = max(abs(run.unbalance) for run in runs)
    for reading, h in zip(runs[0].readings, known or (), strict=known is not None):
        largest = max(largest, with_phase(reading).amplitude / h.amplitude)
    return largest or 1.0


def fit_runs(runs: Sequence[Run], known: Known | None = None) -> tuple[list[ChannelFit], float]:
    """Fit every channel.

    Parameters
    ----------
    runs : sequence of Run
        With phase and the same channels; their masses differ, or `known` is given.
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m.

    Returns
    -------
    fits : list of ChannelFit
        One for each channel.
    scale : float
        Unbalance in kg m that their effects belong to.

    Raises
    ------
    InputError
        If the channels do not agree, or a reading has no phase.
    """
    check_runs(runs, known)
    scale = unbalance_scale(runs, known)
    fitted = np.array([run.unbalance for run in runs], dtype=np.complex128) / scale
    channels = zip(*(map(with_phase, run.readings) for run in runs), strict=True)
    effects = [None] * len(runs[0].readings) if known is None else [h.times(scale) for h in known]
    return [fit_channel(readings, fitted, e) for readings, e in zip(channels, effects, strict=True)], scale


def square_distance(difference: complex, covariance: Covariance) -> float:
    """Give a difference in its own standard deviations, squared; an exact one counts as known to 1e-9."""
    floor = (1e-9 * abs(difference)) ** 2 or 1.0
    parts = np.array([difference.real, difference.imag])
    return float(parts @ np.linalg.solve(covariance.matrix + floor * np.eye(2), parts))

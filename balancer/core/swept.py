"""What a mode does while the shaft speed changes: exact for any sweep rate, block by block.

The force on a mode is Re(g exp(-j theta)) with g = w^2 + j w' for unbalance (see `simulator.forces` for the
sign of the second term). Beside the steady response the mode rings at its own frequency after it has been
passed; both are in the solution of y' = p y + g exp(-j theta), which is stepped through the shaft's path.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.resonance import pole

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

_STEP = 3e-3  # s: the phase of the force is taken as linear over it; the quickest coast-down bends it by 1e-4
_STEPS = 8  # at least so many in a block


@dataclass(frozen=True, eq=False)
class Pass:
    """A stretch of contiguous blocks on an even time grid.

    Parameters
    ----------
    times : array, shape (n,)
        In s.
    angles, speeds, accelerations : array, shape (n,)
        Of the shaft, in rad, rad/s and rad/s^2.
    edges : array, shape (blocks + 1,)
        Times in s between the blocks.
    """

    times: Floats
    angles: Floats
    speeds: Floats
    accelerations: Floats
    edges: Floats

    def means(self, values: Complexes) -> Complexes:
        """Average a series on the grid over each block."""
        step = self.times[1] - self.times[0]
        sums = np.concatenate(([0], np.cumsum((values[1:] + values[:-1]) * (step / 2))))
        at = np.interp(self.edges, self.times, sums.real) + 1j * np.interp(self.edges, self.times, sums.imag)
        return np.asarray(np.diff(at) / np.diff(self.edges))


def passes(starts: Floats, ends: Floats, turns: npt.NDArray[np.int64]) -> tuple[Pass, ...]:
    """Lay the shaft's path through blocks of whole turns, broken where time is missing between them.

    Parameters
    ----------
    starts, ends : array, shape (blocks,)
        Times in s.
    turns : array of int, shape (blocks,)
        Whole turns in each.

    Returns
    -------
    tuple of Pass
        In order of time; together they hold every block.
    """
    apart = np.flatnonzero(np.abs(starts[1:] - ends[:-1]) > 1e-9) + 1
    bounds = [0, *apart.tolist(), starts.size]
    return tuple(_pass(np.append(starts[a:b], ends[b - 1]), turns[a:b]) for a, b in pairwise(bounds))


def _pass(edges: Floats, turns: npt.NDArray[np.int64]) -> Pass:
    path = CubicSpline(edges, 2 * np.pi * np.concatenate(([0], np.cumsum(turns))))
    step = min(_STEP, float(np.min(np.diff(edges))) / _STEPS)
    times = np.linspace(edges[0], edges[-1], int(np.ceil((edges[-1] - edges[0]) / step)) + 1)
    return Pass(times, path(times), path(times, 1), path(times, 2), edges)


def force(one: Pass, exponent: float = 2.0) -> Complexes:
    """Give the turning force of an unbalance of 1 kg m on the grid, in N.

    Parameters
    ----------
    one : Pass
        The path.
    exponent : float, optional
        The force grows with this power of the speed; it keeps its size at the fastest. Unbalance: 2.
    """
    law = (one.speeds / one.speeds.max()) ** (exponent - 2)
    return np.asarray((one.speeds**2 + 1j * one.accelerations) * law)


def mode_means(one: Pass, driving: Complexes, frequency: float, damping: float) -> Complexes:
    """Give the acceleration vector of a mode in each block, per unit of modal mass.

    Parameters
    ----------
    one : Pass
        The path.
    driving : array of complex, shape (n,)
        Force on the grid, as a vector that turns with the shaft.
    frequency : float
        Undamped natural frequency in Hz.
    damping : float
        Damping ratio.

    Returns
    -------
    array of complex, shape (blocks,)
        The mean vector over each block, A exp(j lag).
    """
    p = pole(frequency, damping)
    near = _stepped(one, driving, p.conjugate())
    # far from its pole the other half follows the force without delay
    far = driving / (-1j * one.speeds - p)
    # s^2/((s - p)(s - p*)) = 1 + (p^2/(s - p) - p*^2/(s - p*))/(p - p*)
    values = driving + (p**2 * far - p.conjugate() ** 2 * near) / (p - p.conjugate())
    return one.means(values)


def _stepped(one: Pass, driving: Complexes, p: complex) -> Complexes:
    """Solve y' = p y + g exp(-j theta) and give y exp(j theta), from the steady state at the first speed.

    Over each step g is linear and theta' constant, for which the integral has a closed form.
    """
    from scipy.signal import lfilter  # noqa: PLC0415  half a second, needed for sweeps only

    step = one.times[1] - one.times[0]
    turning = np.exp(-1j * one.angles)
    beat = (-1j * np.diff(one.angles) / step - p) * step  # exponent of the integrand over one step
    first, second = _ramp_integrals(beat)
    g = driving
    forced = step * np.exp(p * step) * turning[:-1] * (g[:-1] * first + (g[1:] - g[:-1]) * second)
    start = driving[0] / (-1j * one.speeds[0] - p) * turning[0]
    series = np.concatenate(([start], forced))
    return np.asarray(lfilter([1.0], [1.0, -np.exp(p * step)], series) / turning)


def _ramp_integrals(z: Complexes) -> tuple[Complexes, Complexes]:
    """Integrate exp(z u) and u exp(z u) over u from 0 to 1, safely near z = 0."""
    grown, inverse = np.exp(z), 1 / np.where(z == 0, 1.0, z)
    first = np.asarray((grown - 1) * inverse, dtype=np.complex128)
    second = np.asarray((grown - first) * inverse, dtype=np.complex128)
    small = np.abs(z) < 1e-3  # where the differences lose their digits
    if small.any():
        near = z[small]
        first[small] = 1 + near / 2 + near**2 / 6
        second[small] = 0.5 + near / 3 + near**2 / 8
    return first, second

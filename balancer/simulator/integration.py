"""The equations of motion solved in time, together with the sensor's low-pass.

From a force F on a mode to the sensor's output the transfer function is

    T(s) = (1/m) s^2 / ((s - p)(s - p*))  *  |q|^2 / ((s - q)(s - q*)),

p the pole of the mode and q that of the low-pass. Partial fractions make of it one complex state for each of
the two poles, y' = p y + F, and the output is the sum of 2 Re(residue y). Over a step h the state is exactly

    y(t + h) = exp(p h) y(t) + integral over s from 0 to h of exp(p (h - s)) F(t + s) ds;

the integral is taken by Gauss-Legendre quadrature with as many nodes as the highest force needs, so nothing
is held or interpolated between samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.simulator.stand import Stand

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Force = Callable[[Floats], Floats]

_QUADRATURE_ERROR = 1e-7  # of the force's own size over one step
_BLOCK = 2048  # steps at once: the forces at their nodes stay in the processor's cache
_RUN_IN = 12.0  # time constants of the slowest mode: exp(-12) of the start is left


@dataclass(frozen=True, eq=False)
class System:
    """Stand and low-pass as one linear system in partial fractions.

    Parameters
    ----------
    poles, residues : array, shape (modes, 2)
        In rad/s, and in (m/s^2)/(N s).
    seen : array, shape (axes, modes)
        How much of each mode a sensor axis sees.
    """

    poles: Complexes
    residues: Complexes
    seen: Floats

    @classmethod
    def of(cls, stand: Stand, lowpass_pole: complex) -> System:
        """Join a stand and a low-pass given by its pole in the upper half plane (rad/s)."""
        shapes = stand.shapes
        q, gain = lowpass_pole, abs(lowpass_pole) ** 2 / stand.moving_mass

        def residue(own: complex, other: complex) -> complex:
            return gain * own**2 / ((own - own.conjugate()) * (own - other) * (own - other.conjugate()))

        return cls(
            np.array([[shape.mode.pole, q] for shape in shapes]),
            np.array([[residue(s.mode.pole, q), residue(q, s.mode.pole)] for s in shapes]),
            np.array([shape.seen for shape in shapes]).T,
        )

    @property
    def run_in(self) -> float:
        """Time in s after which the start from rest is forgotten."""
        return _RUN_IN / float(np.min(-self.poles.real))


def nodes_needed(x: float) -> int:
    """Give the number of quadrature nodes for a function of which each derivative brings a factor `x`.

    Parameters
    ----------
    x : float
        Angular frequency (or decay rate) times step.

    Returns
    -------
    int
        The least number g for which the error bound of Gauss-Legendre quadrature over a unit step,
        (g!)^4 x^(2g) / ((2g + 1) ((2g)!)^3), is below 1e-7 (Abramowitz and Stegun, Handbook of Mathematical
        Functions, 25.4.30; from memory).
    """
    nodes = 2
    while True:
        bound = 4 * math.lgamma(nodes + 1) - 3 * math.lgamma(2 * nodes + 1) - math.log(2 * nodes + 1)
        if bound + 2 * nodes * math.log(x) < math.log(_QUADRATURE_ERROR):
            return nodes
        nodes += 1


def integrate(
    system: System, force: Force, times: Floats, fastest: float, *, noise: Floats, stray: Floats | None = None
) -> Floats:
    """Solve the equations of motion from rest.

    Parameters
    ----------
    system : System
        Stand and low-pass.
    force : callable
        Gives the forces (modes, n) in N at the times (n,) in s.
    times : array, shape (n,)
        Evenly spaced times in s.
    fastest : float
        Highest angular frequency in `force` in rad/s.
    noise : array, shape (modes, n)
        Random force in N on each mode, held over each step.
    stray : array, shape (n,), optional
        Small time in s by which each sample is taken late.

    Returns
    -------
    array, shape (axes, n)
        The low-passed acceleration at the sensor in m/s^2.
    """
    step = float(times[1] - times[0])
    nodes = nodes_needed((fastest + float(np.max(np.abs(system.poles)))) * step)
    at, weights = np.polynomial.legendre.leggauss(nodes)
    within, weights = step * (at + 1) / 2, step * weights / 2
    kernel = weights[:, None] * np.exp(system.poles[:, None, :] * (step - within)[:, None])
    forced = np.empty((*system.poles.shape, times.size), dtype=np.complex128)
    for start in range(0, times.size, _BLOCK):
        block = slice(start, min(start + _BLOCK, times.size))
        at_nodes = force((times[block, None] + within).ravel()).reshape(len(system.poles), -1, nodes)
        at_nodes += noise[:, block, None]
        # the force is real: multiply by real and imaginary parts side by side
        forced[:, :, block] = (at_nodes @ kernel.view(np.float64)).view(np.complex128).swapaxes(1, 2)
    states = _recursion(np.exp(system.poles * step), forced)
    if stray is not None:
        states = _later(system, states, force, times, stray)
    modes = 2 * np.einsum("mk,mkn->mn", system.residues, states).real
    return np.asarray(system.seen @ modes)


def _recursion(decay: Complexes, forced: Complexes) -> Complexes:
    """Run y[n + 1] = decay y[n] + forced[n] from 0 for each state."""
    from scipy.signal import lfilter  # noqa: PLC0415  half a second, needed when something turns only

    late = np.array([0.0, 1.0], dtype=np.complex128)  # what is forced during a step shows at its end
    rows = zip(decay.ravel(), forced.reshape(decay.size, -1), strict=True)
    states = [lfilter(late, np.array([1.0, -factor]), row) for factor, row in rows]
    return np.array(states).reshape(forced.shape)


def _later(system: System, states: Complexes, force: Force, times: Floats, stray: Floats) -> Complexes:
    """Move the states on by small times, by the exponential midpoint rule."""
    growth = np.exp(system.poles[:, :, None] * stray / 2)
    middle = force(times + stray / 2)[:, None, :]
    return np.asarray(growth * (growth * states + stray * middle))

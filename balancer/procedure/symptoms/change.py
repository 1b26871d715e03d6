"""What changes within a run: at random, slowly, at once, or with the speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.findings import Finding
from balancer.procedure.symptoms.outcome import Outcome
from balancer.procedure.track import Track
from balancer.units import rpm_from_rad_s

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

HELD = 0.06
"""Spread of the speed over its mean above which it was not held (as in `measure`)."""

FEWEST_BLOCKS = 20
"""Blocks of 0.1 s below which a run is too short to tell a change from noise."""

UNSTEADY = 0.06
"""Scatter of 1x over its size that is named: no balancing removes more than all but this."""

CHANGED = 0.10
"""Change of 1x over its size during a run that is named."""

STEEP = 5.5
"""Powers of speed off the second power that are named.

Near one mode it is 2 (1 - j z r)/(1 - r^2 - 2j z r), r the speed over the mode's, z its damping ratio: at
most 4.1 for a mode 40 % away from the speed, 6.8 or more for one within 10 % and z up to 0.08."""

_OVER_NOISE = 2.0  # times the noise of the blocks, which is known to some 20 %
_EXPLAINED = 0.8  # of what noise does not: a parabola reaches it in 1 of 150 runs with 7 independent places
_CLEAR = 5.0  # standard uncertainties: the best of some 60 places for a step reaches 4 by chance
_EDGE = 0.08  # of the run at each end where no step is looked for
_SURE = 2.0  # standard uncertainty of a slope in powers of speed above which it says nothing
_QUIET = 2e-4  # spread of the speed as a share below which there is nothing to go by
_CARRIES = 0.3  # of the strongest channel's 1x
_STRONG = 0.5  # of the strongest channel: those that make most of an order's size


@dataclass(frozen=True, eq=False)
class Change:
    """How 1x went through a run; shares are of its size, all channels together.

    Parameters
    ----------
    scatter : float
        Root mean square of what neither speed nor trend explains.
    noise : float
        What the noise of the blocks makes of it.
    change : float
        Difference between end and begin, where a trend or a step explains most of what varies, else 0.
    step_at : float or None
        Time in s of a step, when one explains it better than a smooth curve.
    slopes : array of complex, shape (channels,)
        Powers of speed with which each channel grows: dV/dw w/V.
    sd_slopes : array, shape (channels,)
        Standard uncertainty of a component; infinite where the speed is too steady to tell.
    sizes : array, shape (channels,)
        Amplitude of 1x.
    """

    scatter: float
    noise: float
    change: float
    step_at: float | None
    slopes: Complexes
    sd_slopes: Floats
    sizes: Floats


def analyse_change(tracked: Track, reference: float = 0.0) -> Change:
    """Split the blocks of a run into speed, trend or step, and scatter.

    Parameters
    ----------
    tracked : Track
        Of a run at one speed, `FEWEST_BLOCKS` blocks or more.
    reference : float, optional
        Size of 1x before it was balanced: shares are of it, if it is the larger.

    Returns
    -------
    Change
        The parts.
    """
    once = tracked.once.T  # (blocks, channels)
    sizes = np.abs(once.mean(axis=0))
    size = max(float(np.linalg.norm(sizes)), reference, 1e-300)
    off = tracked.speeds / tracked.speeds.mean() - 1
    through = 2 * (tracked.times - tracked.times[0]) / np.ptp(tracked.times) - 1
    speed = _speed_columns(off, tracked)
    smooth = np.polynomial.legendre.legvander(through, 2)
    model = np.column_stack([np.ones_like(off), speed])
    plain = _rest(model, once)
    curve = np.column_stack([smooth, speed])
    cut, stepped = _best_step(speed, once)
    at_once = stepped < _rest(curve, once)
    other = _with_step(speed, cut) if at_once else curve
    noise = 2 * float(np.sum(tracked.sd**2))
    difference, doubt = _difference(other, once, 2 if at_once else 3)
    explained = plain - _rest(other, once) > _EXPLAINED * (plain - noise)
    changed = explained and difference > _CLEAR * doubt
    if changed:
        model = other
    left = _rest(model, once) / (off.size - model.shape[1])
    slopes, sd_slopes = _slopes(model, off, once)
    return Change(
        scatter=math.sqrt(left) / size,
        noise=math.sqrt(noise / off.size) / size,
        change=difference / size if changed else 0.0,
        step_at=float(tracked.starts[cut]) if changed and at_once else None,
        slopes=slopes,
        sd_slopes=sd_slopes,
        sizes=sizes,
    )


def amplification(change: Change) -> float:
    """Estimate from the steepness with speed how many times as large as its force the stand makes an order.

    Beside one mode the response to a force that grows with w^2 goes with the power 2 + 2/(1 - r^2) of the
    speed, r its frequency over the mode's, and its size over that far above the mode is r^2/|1 - r^2|. With
    q = 1/|1 - r^2| that is q - 1 below the mode and q + 1 above it: the larger one is given.

    Parameters
    ----------
    change : Change
        Of that order.

    Returns
    -------
    float
        1 or more; 1 where the speed was too steady to tell.
    """
    carrying = (change.sizes >= _STRONG * change.sizes.max()) & (change.sd_slopes < _SURE)
    steep = np.where(carrying, np.abs(change.slopes - 2.0), 0.0)
    return 1.0 + float(steep.max()) / 2


def change_findings(tracked: Track, change: Change) -> Outcome:
    """Judge how 1x went through a run.

    Parameters
    ----------
    tracked : Track
        The blocks.
    change : Change
        Its analysis.

    Returns
    -------
    Outcome
        ``once_steady``; ``once_unsteady``, ``once_drifts``, ``once_stepped``, ``near_resonance``;
        ``untold_change``, ``untold_resonance``.
    """
    found = Outcome(bad=(*_scatter(change), *_changed(change), *_steep(tracked, change)))
    carrying = change.sizes >= _CARRIES * change.sizes.max()
    blind = not np.any(change.sd_slopes[carrying] < _SURE)
    steady = Finding.of("once_steady", "info", scatter_percent=100 * change.scatter)
    hidden = Finding.of("untold_change", "info", noise_percent=100 * change.scatter)
    moved = found.has("once_unsteady", "once_drifts", "once_stepped")
    noisy = change.scatter > 2 * UNSTEADY
    return Outcome(
        good=() if moved or noisy else (steady,),
        bad=found.bad,
        untold=(
            *((hidden,) if noisy and not moved else ()),
            *((Finding.of("untold_resonance", "info"),) if blind else ()),
        ),
    )


def _scatter(change: Change) -> list[Finding]:
    beyond = math.sqrt(max(change.scatter**2 - change.noise**2, 0.0))
    if beyond < UNSTEADY or change.scatter < _OVER_NOISE * change.noise:
        return []
    return [
        Finding.of(
            "once_unsteady",
            "warning",
            scatter_percent=100 * change.scatter,
            noise_percent=100 * change.noise,
        )
    ]


def _changed(change: Change) -> list[Finding]:
    if change.change < CHANGED:
        return []
    percent = 100 * change.change
    if change.step_at is not None:
        return [Finding.of("once_stepped", "warning", change_percent=percent, at_s=change.step_at)]
    return [Finding.of("once_drifts", "warning", change_percent=percent)]


def _steep(tracked: Track, change: Change) -> list[Finding]:
    carrying = (change.sizes >= _CARRIES * change.sizes.max()) & (change.sd_slopes < _SURE)
    if not carrying.any():
        return []
    off = np.where(carrying, np.abs(change.slopes - 2.0), 0.0)
    worst = int(np.argmax(off))
    if off[worst] < STEEP + change.sd_slopes[worst]:
        return []
    slope = complex(change.slopes[worst])
    name = tracked.channels[worst]
    return [
        Finding.of(
            "near_resonance",
            "warning",
            channel=name,
            speed_rpm=rpm_from_rad_s(float(tracked.speeds.mean())),
            amplitude_percent=abs(slope.real),
            phase_deg=math.degrees(abs(slope.imag) / 100),
        )
    ]


def _speed_columns(off: Floats, tracked: Track) -> Floats:
    """Give what a stand that answers to speed needs: its first and second power, and the acceleration."""
    if np.std(off) < _QUIET:
        return np.zeros((off.size, 0))
    spread = float(np.std(off))
    pace = tracked.accelerations / max(float(np.std(tracked.accelerations)), 1e-12)
    return np.column_stack([off / spread, (off / spread) ** 2 - 1, pace])


def _fit(columns: Floats, once: Complexes) -> tuple[float, Complexes]:
    found = np.linalg.lstsq(columns.astype(np.complex128), once, rcond=None)[0]
    return float(np.sum(np.abs(once - columns @ found) ** 2)), np.asarray(found, dtype=np.complex128)


def _rest(columns: Floats, once: Complexes) -> float:
    return _fit(columns, once)[0]


def _difference(model: Floats, once: Complexes, count: int) -> tuple[float, float]:
    """Give the difference that the first `count` columns make between begin and end, and its uncertainty."""
    contrast = np.zeros(model.shape[1])
    contrast[:count] = model[-1, :count] - model[0, :count]
    found = np.linalg.lstsq(model.astype(np.complex128), once, rcond=None)[0]
    rest = once - model @ found
    variance = np.sum(np.abs(rest) ** 2, axis=0) / (once.shape[0] - model.shape[1]) * _memory(rest)
    spread = float(contrast @ np.linalg.pinv(model.T @ model) @ contrast)
    return float(np.linalg.norm(contrast @ found)), math.sqrt(spread * float(np.sum(variance)))


def _with_step(speed: Floats, cut: int) -> Floats:
    count = speed.shape[0]
    return np.column_stack([np.ones(count), (np.arange(count) >= cut).astype(float), speed])


def _best_step(speed: Floats, once: Complexes) -> tuple[int, float]:
    count = once.shape[0]
    edge = max(int(_EDGE * count), 3)
    rests = {cut: _rest(_with_step(speed, cut), once) for cut in range(edge, count - edge)}
    best = min(rests, key=lambda cut: rests[cut])
    return best, rests[best]


def _memory(rest: Complexes) -> Floats:
    """Say how many blocks count as one, as what moves slowly stays from block to block: (1 + r) / (1 - r)."""
    power = np.maximum(np.sum(np.abs(rest) ** 2, axis=0), 1e-300)
    r = np.clip(np.sum(rest[1:] * rest[:-1].conj(), axis=0).real / power, 0.0, 0.95)
    return np.asarray((1 + r) / (1 - r))


def _slopes(model: Floats, off: Floats, once: Complexes) -> tuple[Complexes, Floats]:
    """Find dV/dw w/V: the coefficient of the column that goes with speed, over the mean."""
    channels = once.shape[1]
    spread = float(np.std(off))
    if spread < _QUIET:
        return np.zeros(channels, dtype=np.complex128), np.full(channels, np.inf)
    at = model.shape[1] - 3  # the speed's columns are the last three
    found = np.linalg.lstsq(model.astype(np.complex128), once, rcond=None)[0]
    rest = once - model @ found
    variance = np.sum(np.abs(rest) ** 2, axis=0) / (2 * (once.shape[0] - model.shape[1]))
    variance *= _memory(rest)
    mean = once.mean(axis=0)
    mean = np.where(np.abs(mean) > 0, mean, 1e-300)
    inverse = np.linalg.pinv(model.T @ model)
    return found[at] / spread / mean, np.sqrt(variance * inverse[at, at]) / spread / np.abs(mean)

"""What vanishes when the current is cut: the pull of the magnets, seen in a coast-down."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.runs import Run
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.measure import angle_parts
from balancer.procedure.repeats import agreement
from balancer.procedure.symptoms.outcome import Outcome
from balancer.recording.model import Recording
from balancer.units import rpm_from_rad_s

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

PULL = 0.2
"""Jump of 1x at the cut over its size before from which it is named: a parabola through V/w^2 leads back over
the last quarter of the speed to better than half of that, on a stand whose resonance lies below 0.6 or above
1.6 times the speed."""

_HELD = 0.02  # of the speed: as long as it stays within, the throttle is held
_FALLEN = 0.75  # of the speed: the stand's answer below it says nothing about the speed before the cut
_BEFORE = 1.5  # s used before the cut
_TURNS = 8  # that must be there before the cut
_FALLING = 4  # turns that must be there after it
_OTHERS = (2, 3, 4, 6, 8)  # orders taken out beside 1x: blade passes and their multiples
_BELOW_NYQUIST = 0.45
_CLEAR = 2.0  # standard uncertainties of all channels together: noise passes that in 2 of 100 runs
_BOUND = (0.15, 1.5)  # and by so many of them the jump is above this: rules noise out where it is not small


@dataclass(frozen=True, eq=False)
class Cut:
    """A coast-down: where the throttle was cut, and the shaft before and after.

    Parameters
    ----------
    at : float
        Time in s.
    speed : float
        Before it, in rad/s.
    times, turns, speeds : array, shape (n,)
        Of the samples in one stretch: in s, in revolutions and in rad/s.
    start : int
        Index of the stretch's first sample in the recording.
    """

    at: float
    speed: float
    times: Floats
    turns: Floats
    speeds: Floats
    start: int


@dataclass(frozen=True)
class Jump:
    """What 1x does at the cut beyond going on smoothly.

    Parameters
    ----------
    share : float
        Of its size before, all channels together.
    sd : float
        Standard uncertainty of the share.
    """

    share: float
    sd: float


def find_cut(recording: Recording) -> Cut | None:
    """Find where the speed, held until then, begins to fall for good.

    Parameters
    ----------
    recording : Recording
        With or without marks.

    Returns
    -------
    Cut or None
        None when there is no such place, or too little before or after it.
    """
    if recording.marks is None:
        return None
    try:
        parts = angle_parts(recording, recording.marks)
    except InputError:
        return None
    stretch = max((s for _, found in parts for s in found), key=lambda s: s.turns.size)
    times = recording.times[stretch.start : stretch.stop]
    whole = np.arange(stretch.turns[0], stretch.turns[-1])
    passing = np.interp(whole, stretch.turns, times)
    found = _where(passing)
    if found is None:
        return None
    at, speed = found
    speeds = np.interp(times, (passing[1:] + passing[:-1]) / 2, 2 * np.pi / np.diff(passing))
    return Cut(at, speed, times, stretch.turns, speeds, stretch.start)


def _where(passing: Floats) -> tuple[float, float] | None:
    """Find the time of the cut and the speed before it from the times (n,) of whole turns."""
    if passing.size < 4 * _TURNS:
        return None
    speeds = 2 * np.pi / np.diff(passing)
    held = float(np.median(speeds[: max(_TURNS, speeds.size // 8)]))
    low = np.flatnonzero(speeds < _FALLEN * held)
    if not low.size or low.size < speeds.size - low[0] - 1:
        return None
    near = np.flatnonzero(speeds[: low[0]] >= (1 - _HELD) * held)
    if near.size < _TURNS or np.any(np.abs(speeds[: near[-1]] / held - 1) > 2 * _HELD):
        return None
    last = int(near[-1])
    if low[0] - last < _FALLING:
        return None
    speed = float(np.median(speeds[max(last - 4 * _TURNS, 0) : last]))
    middle = (passing[1:] + passing[:-1]) / 2
    falling = slice(last + 1, low[0] + 1)
    # 1/w grows evenly under a drag that goes with the square, so a straight line leads back to the cut
    slope, start = np.polyfit(middle[falling], 1 / speeds[falling], 1)
    if not slope > 0:
        return None
    at = (1 / speed - start) / slope
    return float(np.clip(at, passing[max(last - _TURNS, 0)], passing[last + 1])), speed


def jump_at(recording: Recording, cut: Cut) -> Jump | None:
    """Compare 1x just before the cut with where it comes from afterwards.

    An unbalance pulls with the square of the speed, and the stand's answer changes smoothly with speed: so
    V/w^2 after the cut, as a parabola of the speed, leads back to the vector before it. What does not go on
    was there under current only. Both sides are fitted to the samples at their true shaft angles.

    Parameters
    ----------
    recording : Recording
        The coast-down.
    cut : Cut
        Where it was cut.

    Returns
    -------
    Jump or None
        None when there are too few turns.
    """
    samples = recording.samples[:, cut.start : cut.start + cut.times.size]
    before = (cut.times <= cut.at) & (cut.times > cut.at - _BEFORE)
    after = (cut.times > cut.at) & (cut.speeds > _FALLEN * cut.speed)
    first, second = (_level(cut, samples, part, powers) for part, powers in ((before, 1), (after, 3)))
    if first is None or second is None:
        return None
    size = float(np.linalg.norm(first[0]))
    if not size > 0:
        return None
    return Jump(float(np.linalg.norm(second[0] - first[0])) / size, math.hypot(first[1], second[1]) / size)


def _level(
    cut: Cut, samples: Floats, part: npt.NDArray[np.bool_], powers: int
) -> tuple[Complexes, float] | None:
    """Fit V/w^2 over a part as a polynomial of the speed: its value (channels,) at the speed of the cut.

    The second figure is the standard uncertainty of it over all channels, from the scatter of the turns (the
    sandwich of least squares, as in `core.orders`); what rings after the cut is in it.
    """
    if part.sum() < 2 or np.ptp(cut.turns[part]) < _FALLING:
        return None
    turns, share = cut.turns[part], cut.speeds[part] / cut.speed
    rate = part.sum() / np.ptp(turns)  # samples a turn
    once = share**2 * np.exp(2j * np.pi * turns)
    rows = [np.ones_like(turns), np.linspace(-1, 1, turns.size)]
    for k in range(powers):
        rows += [(once * (share - 1) ** k).real, (once * (share - 1) ** k).imag]
    for order in _OTHERS:
        if order < _BELOW_NYQUIST * rate:
            wave = share**2 * np.exp(2j * np.pi * order * turns)
            rows += [wave.real, wave.imag]
    basis = np.array(rows).T
    if basis.shape[0] < 2 * basis.shape[1]:
        return None
    found = np.linalg.lstsq(basis, samples[:, part].T, rcond=None)[0]
    rest = samples[:, part].T - basis @ found
    inverse = np.linalg.pinv(basis.T @ basis)
    begins = np.searchsorted(turns, np.arange(turns[0], turns[-1]))
    scores = np.add.reduceat(basis[:, :, np.newaxis] * rest[:, np.newaxis, :], begins, axis=0)
    influence = np.tensordot(scores, inverse[2:4], axes=(1, 1))  # (turns, channels, 2)
    return found[2] + 1j * found[3], float(np.linalg.norm(influence))


def coast_findings(recording: Recording, cut: Cut | None) -> Outcome:
    """Judge what the cut of the current did to 1x.

    That magnet pull vanishes at power-off is common knowledge of the trade (texts, partly from memory).

    Parameters
    ----------
    recording : Recording
        With marks.
    cut : Cut or None
        Where it was cut, if it was.

    Returns
    -------
    Outcome
        ``pull_absent``; ``magnet_pull``; ``untold_pull``, ``untold_pull_unclear``.
    """
    if cut is None:
        return Outcome(untold=(Finding.of("untold_pull", "info"),))
    jump = jump_at(recording, cut)
    if jump is not None:
        percent, rpm = 100 * jump.share, rpm_from_rad_s(cut.speed)
        if _is_clear(jump):
            return Outcome(bad=(Finding.of("magnet_pull", "warning", jump_percent=percent, speed_rpm=rpm),))
        if jump.sd < PULL / 2:
            return Outcome(good=(Finding.of("pull_absent", "info", jump_percent=percent, speed_rpm=rpm),))
    return Outcome(untold=(Finding.of("untold_pull_unclear", "info"),))


def _is_clear(jump: Jump) -> bool:
    least, times = _BOUND
    return jump.share > max(PULL, _CLEAR * jump.sd, least + times * jump.sd)


def pull_between(powered: Run, unpowered: Run) -> tuple[Finding, ...]:
    """Compare two runs at about the same speed, one under power and one without current (driven or coasting).

    Parameters
    ----------
    powered, unpowered : Run
        With nothing changed in between.

    Returns
    -------
    tuple of Finding
        ``magnet_pull_between`` when they differ by more than 20 % and more than their noise explains, else
        ``pull_absent_between``.
    """
    found = agreement((powered, unpowered))
    percent = 100 * found.apart
    if found.apart > PULL and not found.agree:
        return (Finding.of("magnet_pull_between", "warning", apart_percent=percent),)
    return (Finding.of("pull_absent_between", "info", apart_percent=percent),)

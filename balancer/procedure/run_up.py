"""A run-up or coast-down: 1x against speed, resonances, a speed to balance at, how the force grows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.modal_fit import Growth, ModalFit, SweepData, fit_growth, fit_modes
from balancer.core.resonance import Resonance, quickest_sweep
from balancer.core.swept import passes
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.signal import shared_checks
from balancer.procedure.track import Track, track
from balancer.recording.model import Recording
from balancer.units import rpm_from_rad_s

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

FEWEST_BLOCKS = 20
LEAST_SPAN = 1.3
"""Fastest over slowest speed below which a recording is no sweep."""

_MARGIN = 0.15  # of the natural frequency (common practice for rotors, no source)
_WIDTHS = (
    5.0  # half-power half widths: 5 away the response is within 2 % of the undamped one (Rao, chapter 3)
)
_NEAR_HOVER = 0.2
_SENSITIVE = 0.8  # of the best signal to noise near hover: with so much, the speed nearest to hover wins
_KNOWN = 0.075  # relative uncertainty of a damping ratio above which it counts as not told
_SEEN = 5.0  # times its noise that 1x must reach somewhere
_GRID = 400
_SLIT = 0.05  # a free range narrower than this part of its speed is no place to stay in
_GROWTH_SHARE = 0.1
_GROWTH_MISFIT = 2.0


@dataclass(frozen=True)
class Proposal:
    """A speed to balance at.

    Parameters
    ----------
    speed : float
        In rad/s.
    nearest : Resonance, optional
        The resonance nearest to it.
    distance : float, optional
        From that, as a fraction of the resonance; negative below it.
    signal_to_noise : float
        1x of all channels together there, over its noise in a block of the sweep.
    hover : float, optional
        Where the craft hovers, in rad/s.
    from_hover : float, optional
        Distance from there, as a fraction of it.
    swing_percent : float
        How much the vector changes, in percent of itself, when the speed is off by 1 percent.
    """

    speed: float
    nearest: Resonance | None
    distance: float | None
    signal_to_noise: float
    hover: float | None
    from_hover: float | None
    swing_percent: float


@dataclass(frozen=True, eq=False)
class RunUp:
    """What a sweep shows.

    Parameters
    ----------
    track : Track
        1x block by block.
    fit : ModalFit
        The modes behind it.
    resonances : tuple of Resonance
        Those inside the swept range whose frequency and damping are known.
    avoid : tuple of (float, float)
        Ranges of speed in rad/s too near to a resonance, rising and apart.
    proposed : Proposal, optional
        A speed to balance at; None when every speed swept is too near to a resonance.
    growth : Growth, optional
        How the force grows; None when the data cannot tell.
    findings : tuple of Finding
        What was noticed.
    """

    track: Track
    fit: ModalFit
    resonances: tuple[Resonance, ...]
    avoid: tuple[tuple[float, float], ...]
    proposed: Proposal | None
    growth: Growth | None
    findings: tuple[Finding, ...]


def run_up(sweep: Recording | Track, *, hover: float | None = None) -> RunUp:
    """Read a run-up or a coast-down.

    The vectors are fitted by what modes do while the speed changes, so that a quick coast-down is read as
    well as a slow run-up.

    Parameters
    ----------
    sweep : Recording or Track
        One sweep with marks, through the speeds of interest.
    hover : float, optional
        Speed in rad/s at which the craft hovers.

    Returns
    -------
    RunUp
        Resonances, a proposed speed and findings.

    Raises
    ------
    InputError
        If there are no marks, the speed hardly changes, or no 1x stands out of the noise.
    """
    recorded = [] if isinstance(sweep, Track) else [*sweep.findings, *shared_checks(sweep)]
    tracked = sweep if isinstance(sweep, Track) else track(sweep)
    try:
        _refuse(tracked)
    except InputError as error:
        raise error.at(tracked.source or None) from None
    data = sweep_data(tracked)
    fit = fit_modes(data)
    told, findings = _sorted_out(fit, data)
    avoid = too_near(tuple(mode for mode in fit.modes if _is_near(mode, data)))
    proposed = _propose(fit, tracked, avoid, told, hover)
    growth = fit_growth(data, fit) if told else None
    findings += _sweep_findings(tracked, told)
    findings += _growth_findings(growth, told, data)
    findings += _speed_findings(proposed, avoid, hover, data)
    return RunUp(tracked, fit, told, avoid, proposed, growth, (*recorded, *findings))


def sweep_data(tracked: Track) -> SweepData:
    """Put the first order of a track into the form that the modal fit takes."""
    path = passes(tracked.starts, tracked.ends, tracked.turns)
    return SweepData(path, tracked.speeds, tracked.once, tracked.sd)


def _refuse(tracked: Track) -> None:
    low, high = float(tracked.speeds.min()), float(tracked.speeds.max())
    if tracked.orders[0] != 1:
        raise InputError("the track does not hold 1x", todo="follow order 1")
    if high < LEAST_SPAN * low:
        raise InputError(
            f"the speed changes only from {rpm_from_rad_s(low):.0f} to {rpm_from_rad_s(high):.0f} rpm",
            todo="record a run-up or a coast-down through the speeds of interest",
        )
    if tracked.times.size < FEWEST_BLOCKS:
        raise InputError(
            f"the sweep is over after {int(tracked.turns.sum())} turns, too few to read a curve",
            todo="change the speed more slowly",
        )
    level = np.abs(tracked.once) / np.maximum(tracked.sd, 1e-300)
    if float(np.percentile(level.max(axis=0), 95)) < _SEEN:
        raise InputError(
            "1x does not stand out of the noise at any speed of the sweep",
            todo="check the sensor, or fit a small trial mass and sweep again",
        )


def _sorted_out(fit: ModalFit, data: SweepData) -> tuple[tuple[Resonance, ...], list[Finding]]:
    """Tell the resonances that are known from those that are outside or uncertain."""
    told, findings = [], []
    low, high = data.range
    for mode in fit.modes:
        known = mode.sd_damping < _KNOWN * mode.damping and mode.sd_frequency < 0.005 * mode.frequency
        if not low < mode.frequency < high:
            if known:
                findings.append(
                    Finding.of(
                        "resonance_outside", "info", frequency_hz=mode.frequency, rpm=60 * mode.frequency
                    )
                )
        elif not known or not (low < mode.half_power[0] and mode.half_power[1] < high):
            findings.append(
                Finding.of(
                    "resonance_uncertain",
                    "warning",
                    frequency_hz=mode.frequency,
                    rpm=60 * mode.frequency,
                    sd_hz=mode.sd_frequency,
                )
            )
        else:
            told.append(mode)
    if not told:
        findings.append(
            Finding.of("no_resonance_in_range", "info", slowest_rpm=60 * low, fastest_rpm=60 * high)
        )
    return tuple(told), findings


def _is_near(mode: Resonance, data: SweepData) -> bool:
    """Say whether a mode forbids a part of the range: uncertain ones do, too."""
    low, high = data.range
    return low / (1 + _MARGIN) < mode.frequency < high * (1 + _MARGIN)


def too_near(modes: Sequence[Resonance]) -> tuple[tuple[float, float], ...]:
    """Give the ranges of speed in rad/s too near to modes (the slowest first), joined where they overlap."""
    joined: list[tuple[float, float]] = []
    for mode in modes:
        away = max(_MARGIN, _WIDTHS * mode.damping)
        low, high = mode.speed * (1 - away), mode.speed * (1 + away)
        if joined and low <= joined[-1][1] * (1 + _SLIT):
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return tuple(joined)


def _propose(
    fit: ModalFit,
    tracked: Track,
    avoid: tuple[tuple[float, float], ...],
    told: tuple[Resonance, ...],
    hover: float | None,
) -> Proposal | None:
    """Choose among the speeds swept, away from resonances: near hover, and sensitive there."""
    speeds = np.linspace(float(tracked.speeds.min()), float(tracked.speeds.max()), _GRID)
    free = np.all([(speeds < low) | (speeds > high) for low, high in avoid] or [speeds > 0], axis=0)
    if not free.any():
        return None
    order = np.argsort(tracked.speeds)
    noise = np.array([np.interp(speeds, tracked.speeds[order], row[order]) for row in tracked.sd])
    ratio = np.sqrt(np.sum(np.abs(fit.steady(speeds)) ** 2 / noise**2, axis=0))
    chosen = int(_choice(speeds, free, ratio, hover))
    speed = float(speeds[chosen])
    nearest = min(told, key=lambda mode: abs(speed / mode.speed - 1), default=None)
    return Proposal(
        speed=speed,
        nearest=nearest,
        distance=None if nearest is None else speed / nearest.speed - 1,
        signal_to_noise=float(ratio[chosen]),
        hover=hover,
        from_hover=None if hover is None else speed / hover - 1,
        swing_percent=_swing(fit, speed, noise[:, chosen]),
    )


def _choice(speeds: Floats, free: npt.NDArray[np.bool_], ratio: Floats, hover: float | None) -> int:
    if hover is None:
        return int(np.argmax(np.where(free, ratio, -1.0)))
    off = np.abs(speeds / hover - 1)
    near = free & (off <= _NEAR_HOVER)
    if not near.any():
        return int(np.argmin(np.where(free, off, np.inf)))
    enough = near & (ratio >= _SENSITIVE * np.max(ratio[near]))
    return int(np.argmin(np.where(enough, off, np.inf)))


def _swing(fit: ModalFit, speed: float, noise: Floats) -> float:
    at = fit.steady(speed * np.array([0.995, 1.0, 1.005])) / noise[:, None]
    return 100 * float(np.linalg.norm(at[:, 2] - at[:, 0]) / np.linalg.norm(at[:, 1]))


def _sweep_findings(tracked: Track, told: tuple[Resonance, ...]) -> list[Finding]:
    """Say where the sweep was too quick for the curve to be read directly."""
    findings = []
    for mode in told:
        at = np.abs(tracked.speeds / mode.speed - 1) < max(2 * mode.damping, 0.02)
        if at.any():
            rate = float(np.median(np.abs(tracked.accelerations[at]))) / (2 * math.pi)
            allowed = quickest_sweep(mode.frequency, mode.damping)
            if rate > allowed:
                findings.append(
                    Finding.of(
                        "sweep_quick",
                        "info",
                        frequency_hz=mode.frequency,
                        rate_rpm_s=60 * rate,
                        allowed_rpm_s=60 * allowed,
                    )
                )
    return findings


def _growth_findings(growth: Growth | None, told: tuple[Resonance, ...], data: SweepData) -> list[Finding]:
    if growth is None or growth.misfit > _GROWTH_MISFIT:
        return [Finding.of("growth_not_told", "info", slowest_rpm=60 * data.range[0])]
    exponent, sd, constant = growth.exponent(), growth.sd_exponent(), 100 * abs(growth.constant)
    rpm = rpm_from_rad_s(growth.reference)
    if abs(growth.constant) > max(3 * growth.sd, _GROWTH_SHARE):
        return [
            Finding.of(
                "growth_not_unbalance",
                "warning",
                exponent=exponent,
                sd_exponent=sd,
                constant_percent=constant,
                rpm=rpm,
            )
        ]
    return [
        Finding.of(
            "growth_as_unbalance",
            "info",
            exponent=exponent,
            sd_exponent=sd,
            constant_percent=constant,
            rpm=rpm,
        )
    ]


def _speed_findings(
    proposed: Proposal | None,
    avoid: tuple[tuple[float, float], ...],
    hover: float | None,
    data: SweepData,
) -> list[Finding]:
    findings = []
    low, high = (2 * math.pi * f for f in data.range)
    if proposed is None:
        findings.append(Finding.of("no_speed_away_from_resonance", "warning"))
    if hover is None:
        return findings
    if not low <= hover <= high:
        findings.append(
            Finding.of(
                "hover_not_swept",
                "warning",
                hover_rpm=rpm_from_rad_s(hover),
                slowest_rpm=60 * data.range[0],
                fastest_rpm=60 * data.range[1],
            )
        )
    for bottom, top in avoid:
        if bottom < hover < top:
            findings.append(
                Finding.of(
                    "hover_near_resonance",
                    "warning",
                    hover_rpm=rpm_from_rad_s(hover),
                    low_rpm=rpm_from_rad_s(bottom),
                    high_rpm=rpm_from_rad_s(top),
                )
            )
    return findings

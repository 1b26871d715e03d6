"""Readings that take seconds, made beside the page: what a sweep and what taps tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.app.plain import Refusal, in_page_words
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.run_up import RunUp, run_up
from balancer.procedure.tap import read_taps
from balancer.recording.model import Recording
from balancer.units import rad_s_from_rpm, rpm_from_rad_s
from balancer.wording import capital
from balancer.wording.run_up import decay_lines, proposal_text, resonance_text

Floats = npt.NDArray[np.float64]

_SEEN = 5.0  # times its noise: a phase is then known to 12 degrees


@dataclass(frozen=True, eq=False)
class Sweep:
    """What a sweep tells, ready to show.

    Parameters
    ----------
    channels : tuple of str
        Names.
    rpm : array, shape (blocks,)
        Speeds, rising.
    amplitudes, lags : array, shape (channels, blocks)
        1x: peak in the unit, and rad; NaN where 1x is too small beside its noise to have a phase.
    unit : str
        Of the amplitudes.
    resonances_rpm : tuple of float
        Speeds at which 1x meets a resonance.
    keep_out_rpm : tuple of (float, float)
        Ranges too near to one.
    proposed_rpm, hover_rpm : float, optional
        Speeds to mark.
    lines : tuple of str
        Resonances and ranges in words.
    proposal : str
        The speed to balance at, in words; empty when there is none.
    findings : tuple of Finding
        What was noticed.
    read : RunUp
        What it was read from, to draw it.
    """

    channels: tuple[str, ...]
    rpm: Floats
    amplitudes: Floats
    lags: Floats
    unit: str
    resonances_rpm: tuple[float, ...]
    keep_out_rpm: tuple[tuple[float, float], ...]
    proposed_rpm: float | None
    hover_rpm: float | None
    lines: tuple[str, ...]
    proposal: str
    findings: tuple[Finding, ...]
    read: RunUp


@dataclass(frozen=True)
class Taps:
    """What taps tell.

    Parameters
    ----------
    times : tuple of float
        When each tap came, in s.
    lines : tuple of str
        Natural frequencies and damping in words.
    """

    times: tuple[float, ...]
    lines: tuple[str, ...]


def read_sweep(recording: Recording, hover_rpm: float | None) -> Sweep | Refusal:
    """Read a run-up or a coast-down.

    Parameters
    ----------
    recording : Recording
        With marks.
    hover_rpm : float, optional
        Where the craft hovers.

    Returns
    -------
    Sweep or Refusal
        What it tells, or why it cannot be read.
    """
    try:
        shown = run_up(recording, hover=None if hover_rpm is None else rad_s_from_rpm(hover_rpm))
    except InputError as error:
        return Refusal(in_page_words(str(error)))
    track, order = shown.track, np.argsort(shown.track.speeds)
    avoid = tuple((rpm_from_rad_s(low), rpm_from_rad_s(high)) for low, high in shown.avoid)
    known = {finding.code for finding in recording.findings}
    return Sweep(
        channels=track.channels,
        rpm=np.asarray(rpm_from_rad_s(1.0) * track.speeds[order]),
        amplitudes=np.abs(track.once[:, order]),
        lags=np.where(np.abs(track.once) > _SEEN * track.sd, np.angle(track.once), np.nan)[:, order],
        unit=track.unit,
        resonances_rpm=tuple(60 * mode.frequency for mode in shown.resonances),
        keep_out_rpm=avoid,
        proposed_rpm=None if shown.proposed is None else rpm_from_rad_s(shown.proposed.speed),
        hover_rpm=hover_rpm,
        lines=(
            *(f"Resonance at {resonance_text(mode)}." for mode in shown.resonances),
            *(f"Keep out of {low:.0f} to {high:.0f} rpm: too near to a resonance." for low, high in avoid),
        ),
        proposal="" if shown.proposed is None else _sentence(proposal_text(shown.proposed)),
        findings=tuple(finding for finding in shown.findings if finding.code not in known),
        read=shown,
    )


def read_decays(recording: Recording) -> Taps | Refusal:
    """Read what rings after taps.

    Parameters
    ----------
    recording : Recording
        Nothing turning.

    Returns
    -------
    Taps or Refusal
        What rings, or why it cannot be told.
    """
    try:
        decay = read_taps(recording)
    except InputError as error:
        return Refusal(in_page_words(str(error)))
    start, rate = float(recording.times[0]), recording.sample_rate
    times = tuple(start + tap / rate for tap in decay.taps)
    return Taps(times, tuple(_sentence(line.strip()) for line in decay_lines(decay)))


def shown_angle(lags: Floats, *, against: bool) -> Floats:
    """Give phase angles in degrees in [0, 360), counted as the person chose.

    Examples
    --------
    >>> shown_angle(np.array([-np.pi / 2]), against=True).tolist()
    [270.0]
    """
    return np.asarray(np.degrees(lags if against else -lags) % 360.0)


def _sentence(text: str) -> str:
    return f"{capital(text)}."

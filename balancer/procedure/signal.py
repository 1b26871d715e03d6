"""Whether a signal can be trusted: each finding with the figures that show it.

The checks need samples, and some of them the shaft's frequency in Hz; none needs a fit. Rules that are named
"common practice" have no published source.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from balancer.core.spectrum import HIGHEST_HZ, LOWEST_HZ
from balancer.findings import Finding, Severity
from balancer.recording.model import Recording
from balancer.units import G_STANDARD

Floats = npt.NDArray[np.float64]

HIGHEST_ORDER = 100
"""Orders looked at for aliases: blades, poles and commutation of a 14-magnet motor lie below it."""

_NEAR_FULL_SCALE = 0.995
_PILE = 5.0  # times as many at the extreme as a step beside it
_FEWEST_CLIPPED = 6
_GRAVITY_OFF = 0.15  # of 9.81 m/s^2: zero-g offsets of cheap sensors reach 0.15 g (data sheets, from memory)
_NO_GRAVITY = 0.1
_LOW_ORDERS = 15  # orders strong enough to matter when they alias: blades and poles
_DENSITY_G = (70e-6, 430e-6)
"""Noise density in g/sqrt(Hz) of usual accelerometer chips, quietest to noisiest axis (data sheets)."""


def shared_checks(recording: Recording) -> list[Finding]:
    """Make the checks that need no shaft speed.

    Parameters
    ----------
    recording : Recording
        Any.

    Returns
    -------
    list of Finding
        ``channel_flat``, ``clipped``, ``values_held``, ``scale_off``, ``gravity_taken_out``,
        ``samples_lost``.
    """
    return [
        *flat(recording),
        *clipped(recording),
        *held(recording),
        *gravity(recording),
        *losses(recording),
    ]


def speed_checks(recording: Recording, frequency: float) -> list[Finding]:
    """Make the checks of the sample rate against the shaft's frequency in Hz.

    Parameters
    ----------
    recording : Recording
        Any.
    frequency : float
        Of the shaft, true rather than as it appears in the samples.

    Returns
    -------
    list of Finding
        ``rate_too_low``, ``alias_above_nyquist``, ``alias_on_1x``.
    """
    return [*low_rate(recording, frequency), *aliases(recording, frequency)]


def flat(recording: Recording) -> list[Finding]:
    """Find channels that never change."""
    names = [
        channel.name
        for channel, row in zip(recording.channels, recording.samples, strict=True)
        if np.ptp(row) == 0
    ]
    return [Finding.of("channel_flat", "error", channel=", ".join(names))] if names else []


def clipped(recording: Recording) -> list[Finding]:
    """Find channels whose peaks are cut off.

    Readings at the stated full scale are; where none is stated, readings pile up at their own extreme,
    against the two steps below it: a whole sine spends 2.4 times as long in its outermost step as in the
    next (arc sine law), noise less.
    """
    findings = []
    for channel, row in zip(recording.channels, recording.samples, strict=True):
        count, level = _at_full_scale(row, recording.sensor.full_scale)
        if not count:
            count, level = _piled_up(row)
        if count:
            percent = 100 * count / row.size
            severity: Severity = "error" if percent > 1 else "warning"
            name = channel.name
            findings.append(
                Finding.of("clipped", severity, channel=name, count=count, percent=percent, level_m_s2=level)
            )
    return findings


def _at_full_scale(row: Floats, full_scale: float | None) -> tuple[int, float]:
    if full_scale is None or not math.isfinite(full_scale):
        return 0, 0.0
    count = int(np.count_nonzero(np.abs(row) >= _NEAR_FULL_SCALE * full_scale))
    return (count, full_scale) if count > 1 else (0, 0.0)


def _piled_up(row: Floats) -> tuple[int, float]:
    low, high = float(row.min()), float(row.max())
    for level, sign in ((high, 1.0), (low, -1.0)):
        depth = sign * (level - row)
        at = int(np.count_nonzero(depth == 0))
        if at < _FEWEST_CLIPPED or not _many_levels(row):
            continue
        following = float(depth[depth > 0].min())  # how far below it the next value lies: one step, or noise
        beside = np.count_nonzero(depth <= 2.5 * following) - at
        if at > _PILE * max(beside / 2, 1):
            return at, level
    return 0, 0.0


def _many_levels(row: Floats) -> bool:
    """Tell whether the values are fine enough for a pile to show; a few coarse steps always pile up."""
    return bool(np.unique(row[: 1 << 14]).size > 50)


def held(recording: Recording) -> list[Finding]:
    """Find values that were read again before the sensor had made new ones.

    All channels stay the same at once while they change by many steps otherwise: the board reads faster
    than the sensor samples (a 1 kHz sensor read at 2 kHz, product manual of such a sensor, p. 12).
    """
    samples = recording.samples
    steps = np.abs(np.diff(samples, axis=1))
    same = np.all(steps == 0, axis=0)
    share = float(np.mean(same))
    moving = steps[:, ~same]
    if share < 0.2 or share > 0.95 or not moving.size:
        return []
    smallest = min((float(row[row > 0].min()) for row in moving if np.any(row > 0)), default=0.0)
    if float(np.median(moving.max(axis=0))) < 5 * smallest:
        return []
    return [Finding.of("values_held", "warning", percent=100 * share)]


def gravity(recording: Recording) -> list[Finding]:
    """Compare the mean of a three-axis record with gravity, 9.81 m/s^2 in whatever direction.

    Vibration has no mean, so a running record shows it too. Apps that call their signal linear acceleration
    take gravity out: then nothing can be said, which is told.
    """
    if len(recording.channels) != 3:
        return []
    size = float(np.linalg.norm(recording.samples.mean(axis=1)))
    if size < _NO_GRAVITY * G_STANDARD and _looks_linear(recording):
        return [Finding.of("gravity_taken_out", "info", mean_m_s2=size)]
    if abs(size / G_STANDARD - 1) <= _GRAVITY_OFF:
        return []
    return [Finding.of("scale_off", "warning", mean_m_s2=size, ratio=size / G_STANDARD)]


def _looks_linear(recording: Recording) -> bool:
    """Tell a zero mean from a scale ten times too small: a wrong scale leaves 1.00 of a known ratio."""
    size = float(np.linalg.norm(recording.samples.mean(axis=1)))
    return not any(abs(size * factor / G_STANDARD - 1) < 0.03 for factor in (G_STANDARD, 1000.0, 10.0, 16.0))


def losses(recording: Recording) -> list[Finding]:
    """Tell of samples missing, unless the reader has."""
    told = {"samples_lost", "samples_lost_silently"}
    lost = sum(max(gap.lost, 0) for gap in recording.gaps)
    if not lost or told & {finding.code for finding in recording.findings}:
        return []
    percent = 100 * lost / (lost + recording.times.size)
    severity: Severity = "info" if percent < 1 else "warning"
    return [Finding.of("samples_lost", severity, lost=lost, gaps=len(recording.gaps), percent=percent)]


def low_rate(recording: Recording, frequency: float) -> list[Finding]:
    """Judge the sample rate for this speed.

    Above half the rate there is nothing true (Nyquist), and a sensor's filter begins before: 80 % of that
    is the end of what is useful. A filter at four times 1x and a rate of twice that change 1x least (common
    practice, no source).
    """
    rate = recording.sample_rate
    if frequency >= rate / 2:
        apparent = 60 * abs(frequency - rate * round(frequency / rate))
        speed = 60 * frequency
        return [
            Finding.of("alias_above_nyquist", "error", rate_hz=rate, speed_rpm=speed, apparent_rpm=apparent)
        ]
    if 8 * frequency <= rate:
        return []
    severity: Severity = "info" if 4 * frequency <= rate else "warning"
    if frequency > 0.4 * rate:
        severity = "error"
    speed, wanted = 60 * frequency, 8 * frequency
    return [Finding.of("rate_too_low", severity, rate_hz=rate, speed_rpm=speed, wanted_hz=wanted)]


def aliases(recording: Recording, frequency: float) -> list[Finding]:
    """Find orders whose alias lies within 2/T of 1x: sampled, they cannot be told from it.

    Order k appears at its distance from the nearest multiple of the rate. A known low-pass takes away what
    lies beyond twice its corner.
    """
    rate = recording.sample_rate
    orders = np.arange(2, HIGHEST_ORDER + 1)
    true = orders * frequency
    apparent = np.abs(true - rate * np.rint(true / rate))
    hit = (np.abs(apparent - frequency) < 2 / recording.duration) & (true > rate / 2)
    lowpass = recording.sensor.lowpass
    if lowpass is not None and lowpass < rate / 2:
        hit &= true < 2 * lowpass
    if not hit.any():
        return []
    worst = int(orders[hit][0])
    severity: Severity = "warning" if worst <= _LOW_ORDERS else "info"
    names = ", ".join(str(k) for k in orders[hit][:4])
    return [Finding.of("alias_on_1x", severity, names=names, rate_hz=rate, speed_rpm=60 * frequency)]


def ambiguous_speed(recording: Recording, apparent: float) -> list[Finding]:
    """Tell when a line found without marks may as well be the alias of a faster shaft.

    Parameters
    ----------
    recording : Recording
        Without marks.
    apparent : float
        Frequency in Hz of its line.

    Returns
    -------
    list of Finding
        ``speed_alias``, with the other speeds that a multirotor's rotor can have.
    """
    rate = recording.sample_rate
    others = sorted({k * rate + sign * apparent for k in (1, 2, 3) for sign in (-1, 1)})
    possible = [f for f in others if LOWEST_HZ <= f <= HIGHEST_HZ]
    if not possible:
        return []
    names = ", ".join(f"{60 * f:.0f}" for f in possible[:4])
    return [Finding.of("speed_alias", "warning", speed_rpm=60 * apparent, rate_hz=rate, others_rpm=names)]


def noise_density(recording: Recording) -> tuple[float, ...]:
    """Measure the noise floor of each channel.

    Parameters
    ----------
    recording : Recording
        Of a sensor that lies still.

    Returns
    -------
    tuple of float
        In (m/s^2)/sqrt(Hz): the median of Welch's spectrum from 10 Hz to 40 % of the rate, so that lines do
        not count. A median of m averaged exponential values is (1 - 1/(9 m'))^3 of their mean, m' = m.
    """
    rate, count = recording.sample_rate, recording.times.size
    length = int(min(count, max(64, 2 ** round(math.log2(rate)))))
    from scipy.signal import welch  # noqa: PLC0415  half a second, needed for still records only

    frequencies, power = welch(recording.samples, rate, nperseg=length, axis=1)
    inside = (frequencies >= min(10.0, 0.1 * rate)) & (frequencies <= 0.4 * rate)
    averaged = max(2 * count / length - 1, 1.0)
    bias = (1 - 1 / (9 * averaged)) ** 3  # Wilson and Hilferty (1931) for the median of a chi-square
    return tuple(float(math.sqrt(v / bias)) for v in np.median(power[:, inside], axis=1))


def noise(recording: Recording) -> list[Finding]:
    """Compare the noise floor of a still record with the class of usual sensor chips."""
    low, high = (1e6 * bound for bound in _DENSITY_G)
    findings = []
    for channel, density in zip(recording.channels, noise_density(recording), strict=True):
        name, floor = channel.name, 1e6 * density / G_STANDARD
        if floor > 2 * high:
            findings.append(
                Finding.of("noise_high", "warning", channel=name, density_ug=floor, low_ug=low, high_ug=high)
            )
        elif 0 < floor < low / 4:
            findings.append(
                Finding.of("noise_low", "info", channel=name, density_ug=floor, low_ug=low, high_ug=high)
            )
        elif floor > 0:
            findings.append(
                Finding.of("noise_usual", "info", channel=name, density_ug=floor, low_ug=low, high_ug=high)
            )
    return findings

"""A recording checked before it is used: the sensor alone at rest, or a running rotor."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from balancer.core.spectrum import HIGHEST_HZ, LOWEST_HZ
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.measure import Measurement, angle_parts, measure, uniform_samples
from balancer.procedure.signal import noise, noise_density, shared_checks, speed_checks
from balancer.recording.model import Recording

Floats = npt.NDArray[np.float64]

FEWEST_MARKS = 10
"""Marks below which a running record shows no more than that the pick-up can see."""

_BESIDE_HZ = 15.0  # a line farther away does not disturb: the fit over seconds rejects it
_STANDS_OUT = 40.0  # times the median around: white noise reaches 20 in a thousand bins
_SHARE = 0.02  # of the 1x amplitude: a smaller line moves the vector by no more than its usual uncertainty
_MAINS_HZ = (50.0, 60.0)
_MAINS_OFF = 0.005  # grids keep their frequency to a few tenths of a percent (common practice, no source)


@dataclass(frozen=True)
class Checked:
    """What a check showed.

    Parameters
    ----------
    source : str
        Name of the recording.
    still : bool
        Whether it was checked as the record of a sensor at rest.
    density : tuple of float
        Noise floor of each channel in (m/s^2)/sqrt(Hz); empty for a running record.
    measurement : Measurement, optional
        Of a running record that could be measured.
    findings : tuple of Finding
        The reader's first.
    """

    source: str
    still: bool
    density: tuple[float, ...]
    measurement: Measurement | None
    findings: tuple[Finding, ...]


def check_still(recording: Recording) -> Checked:
    """Check the record of a sensor at rest: scale, noise floor, stuck or clipped channels, losses, lines.

    Parameters
    ----------
    recording : Recording
        Some seconds of the sensor alone, nothing running.

    Returns
    -------
    Checked
        With the noise floor.
    """
    findings = (*recording.findings, *shared_checks(recording), *noise(recording), *_lines_at_rest(recording))
    return Checked(recording.source, True, noise_density(recording), None, findings)


def check_running(recording: Recording, *, near: float | None = None, want: float | None = None) -> Checked:
    """Check the record of a running rotor.

    Parameters
    ----------
    recording : Recording
        With or without marks.
    near : float, optional
        Expected speed in rad/s, for one without.
    want : float, optional
        Standard uncertainty of the 1x amplitude that is asked for, as a fraction of it.

    Returns
    -------
    Checked
        With the measurement, or with the reason why there is none among the findings.
    """
    try:
        measured = measure(recording, near=near)
    except InputError as error:
        return Checked(
            recording.source, False, (), None, (*recording.findings, *_unmeasured(recording, error))
        )
    extra = [*_lines_beside(recording, measured), *_wanted(measured, want)]
    return Checked(recording.source, False, (), measured, (*measured.findings, *extra))


def _unmeasured(recording: Recording, error: InputError) -> list[Finding]:
    """Tell all that can be told of a recording that gives no 1x vector."""
    findings = shared_checks(recording)
    marks = recording.marks
    if marks is not None and marks.size < FEWEST_MARKS:
        count, duration = int(marks.size), recording.duration
        findings.append(Finding.of("marks_too_few", "error", count=count, duration_s=duration))
    elif marks is not None:
        frequency = 1 / (float(np.median(np.diff(marks))) * recording.marks_per_rev)
        findings += speed_checks(recording, frequency)
    return [*findings, Finding.of("not_measured", "error", text=f"{error.what}; {error.todo}")]


def _wanted(measured: Measurement, want: float | None) -> list[Finding]:
    """Say how many revolutions would do: the uncertainty falls with the root of their number."""
    if want is None:
        return []
    strongest = max(measured.channels, key=lambda channel: channel.amplitude.value)
    if strongest.amplitude.value == 0:
        return []
    have = strongest.amplitude.sd / strongest.amplitude.value
    if have <= want:
        return []
    needed = measured.revolutions * (have / want) ** 2
    return [
        Finding.of(
            "too_few_revolutions",
            "warning",
            channel=strongest.name,
            have_percent=100 * have,
            want_percent=100 * want,
            needed=needed,
            revolutions=measured.revolutions,
        )
    ]


def _lines_beside(recording: Recording, measured: Measurement) -> list[Finding]:
    """Find lines beside 1x that are no order, in what is left when the orders are taken out."""
    if {"marks_jitter", "mark_resolution_coarse"} & {finding.code for finding in measured.findings}:
        return []  # marks that are off leave side lines of 1x itself
    frequency = measured.speed / (2 * math.pi)
    left = uniform_samples(_residual(recording, measured))
    low, high = frequency - _BESIDE_HZ, frequency + _BESIDE_HZ
    findings = []
    for row, channel in zip(left, measured.channels, strict=True):
        found = _strongest(row, recording.sample_rate, low, high, apart=frequency)
        if found and found[1] > _SHARE * channel.amplitude.value:
            findings.append(_line_finding(channel.name, *found, frequency, channel.amplitude.value))
    return findings


def _line_finding(name: str, line: float, amplitude: float, once: float, once_amplitude: float) -> Finding:
    share = 100 * amplitude / once_amplitude
    if _is_mains(line):
        return Finding.of(
            "mains_beside_1x",
            "warning",
            channel=name,
            line_hz=line,
            once_hz=once,
            amplitude_m_s2=amplitude,
            share_percent=share,
        )
    return Finding.of(
        "line_beside_1x",
        "warning",
        channel=name,
        line_hz=line,
        once_hz=once,
        amplitude_m_s2=amplitude,
        share_percent=share,
    )


def _lines_at_rest(recording: Recording) -> list[Finding]:
    """Find the strongest line of each channel where shaft speeds lie: at rest there should be none."""
    findings = []
    rate = recording.sample_rate
    top = min(HIGHEST_HZ, 0.45 * rate)
    for row, channel in zip(uniform_samples(recording), recording.channels, strict=True):
        found = _strongest(row, rate, LOWEST_HZ, top)
        if found:
            name, (line, amplitude) = channel.name, found
            if _is_mains(line):
                findings.append(
                    Finding.of(
                        "mains_at_rest", "warning", channel=name, line_hz=line, amplitude_m_s2=amplitude
                    )
                )
            else:
                findings.append(
                    Finding.of(
                        "line_at_rest", "warning", channel=name, line_hz=line, amplitude_m_s2=amplitude
                    )
                )
    return findings


def _is_mains(frequency: float) -> bool:
    return any(
        abs(frequency / (mains * max(round(frequency / mains), 1)) - 1) < _MAINS_OFF for mains in _MAINS_HZ
    )


def _residual(recording: Recording, measured: Measurement) -> Recording:
    """Take the fitted orders out, where the shaft angle is known."""
    if recording.marks is None:
        return recording
    stretches = [stretch for _, found in angle_parts(recording, recording.marks) for stretch in found]
    longest = max(stretches, key=lambda stretch: stretch.turns.size)
    part = slice(longest.start, longest.stop)
    left = recording.samples[:, part].copy()
    for index, channel in enumerate(measured.channels):
        for vector in channel.vectors:
            turning = np.exp(-2j * np.pi * vector.order * longest.turns)
            left[index] -= np.real(vector.value * turning)
    return replace(
        recording, times=recording.times[part].copy(), samples=left, marks=None, segment_starts=(), gaps=()
    )


def _strongest(
    row: Floats, rate: float, low: float, high: float, apart: float | None = None
) -> tuple[float, float] | None:
    """Find the highest narrow line between two frequencies in Hz: its frequency and peak amplitude.

    Parts nearer than 3/T, or 2 %, to `apart` are left out: what goes with a wandering speed is there.
    """
    window = np.hanning(row.size)
    spectrum = np.abs(rfft((row - row.mean()) * window)) * 2 / window.sum()
    frequencies = np.arange(spectrum.size) * rate / row.size
    near = (frequencies >= max(low, 4 * rate / row.size)) & (frequencies <= high)
    if apart is not None:
        near &= np.abs(frequencies - apart) > max(3 * rate / row.size, 0.02 * apart)
    power = spectrum[near] ** 2
    if power.size < 8:
        return None
    best = int(np.argmax(power))
    if power[best] < _STANDS_OUT * _floor(power, best):
        return None
    return float(frequencies[near][best]), float(spectrum[near][best])


def _floor(power: Floats, best: int) -> float:
    """Give the median around a place, its own bins left out: the skirt of 1x is no line."""
    around = np.concatenate((power[max(best - 40, 0) : max(best - 3, 0)], power[best + 4 : best + 41]))
    return float(np.median(around)) if around.size else math.inf

"""From a recording to its 1x vectors: marks mended, orders fitted, and what was noticed on the way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from balancer.core.marks import MendedMarks, mend_marks
from balancer.core.masses import Mass
from balancer.core.orders import OrderFit, fit_orders
from balancer.core.runs import Amplitude, Reading, Run
from balancer.core.shaft import Stretch, shaft_turns
from balancer.core.spectrum import Line, find_line
from balancer.core.vectors import OrderVector
from balancer.errors import InputError
from balancer.findings import Finding, Severity
from balancer.procedure.signal import ambiguous_speed, shared_checks, speed_checks
from balancer.recording.model import Recording

Floats = npt.NDArray[np.float64]

ORDERS = (1, 2, 3, 4, 5)

_GAP = 3.0  # steps: no curve is laid across a longer one
_EVEN = 0.02  # of a step: stamps that scatter less count as even


@dataclass(frozen=True)
class ChannelResult:
    """What one channel shows.

    Parameters
    ----------
    name, unit : str
        Of the channel.
    amplitude : Amplitude
        Of 1x, peak.
    overall : float
        Root mean square of all but the constant part.
    vectors : tuple of OrderVector
        The orders fitted, 1x first; empty without marks.
    """

    name: str
    unit: str
    amplitude: Amplitude
    overall: float
    vectors: tuple[OrderVector, ...] = ()

    @property
    def once(self) -> OrderVector | None:
        """The 1x vector, None without marks."""
        return self.vectors[0] if self.vectors else None


@dataclass(frozen=True)
class Measurement:
    """What a recording shows.

    Parameters
    ----------
    source : str
        Name of the recording.
    sample_rate : float
        In Hz.
    duration : float
        In s.
    revolutions : float
        Used (whole ones with marks, an estimate without).
    speed, slowest, fastest : float
        Mean, least and largest shaft speed in rad/s.
    channels : tuple of ChannelResult
        In the order of the recording.
    findings : tuple of Finding
        What was noticed, the reader's findings first.
    """

    source: str
    sample_rate: float
    duration: float
    revolutions: float
    speed: float
    slowest: float
    fastest: float
    channels: tuple[ChannelResult, ...]
    findings: tuple[Finding, ...]

    @property
    def has_phase(self) -> bool:
        """Whether there were marks."""
        return bool(self.channels[0].vectors)


def measure(recording: Recording, *, near: float | None = None) -> Measurement:
    """Measure the 1x vector of every channel.

    Parameters
    ----------
    recording : Recording
        With marks for amplitude and phase; without them the speed is looked for in the spectrum and only
        amplitudes come out.
    near : float, optional
        Expected speed in rad/s, used only without marks: the search keeps within 20 % of it.

    Returns
    -------
    Measurement
        Speeds, vectors and findings.

    Raises
    ------
    InputError
        If the recording does not suffice; the error names the recording.
    """
    try:
        if recording.marks is None:
            return _without_marks(recording, near)
        return _with_marks(recording, recording.marks)
    except InputError as error:
        raise error.at(recording.source or None) from None


def run_of(measured: Measurement, masses: tuple[Mass, ...], purpose: str = "") -> Run:
    """Make a run of a measurement and of what the person says was fitted.

    Parameters
    ----------
    measured : Measurement
        Of the recording.
    masses : tuple of Mass
        All that was fitted beyond the rotor as found.
    purpose : str
        ``as-is``, ``trial``, ``correction``, ``trim``, ``check`` or empty.

    Returns
    -------
    Run
        With phase if the recording had marks.
    """
    readings: tuple[Reading, ...] = tuple(channel.once or channel.amplitude for channel in measured.channels)
    return Run(readings, masses, purpose, measured.speed)


def _with_marks(recording: Recording, marks: Floats) -> Measurement:
    parts = angle_parts(recording, marks)
    stretches = tuple(s for _, found in parts for s in found)
    duration = sum(float(recording.times[s.stop - 1] - recording.times[s.start]) for s in stretches)
    speeds = np.concatenate([_turn_speeds(mended) for mended, _ in parts])
    turned = sum(float(s.turns[-1] - s.turns[0]) for s in stretches)
    speed = 2 * np.pi * turned / duration
    fit = fit_orders(stretches, recording.times, recording.samples, _orders_below_nyquist(recording, speed))
    return Measurement(
        source=recording.source,
        sample_rate=recording.sample_rate,
        duration=recording.duration,
        revolutions=float(fit.revolutions),
        speed=speed,
        slowest=float(speeds.min()),
        fastest=float(speeds.max()),
        channels=tuple(_channel(recording, fit, index, speed) for index in range(len(recording.channels))),
        findings=(
            *recording.findings,
            *_mark_findings([mended for mended, _ in parts], _coarseness(recording, speed)),
            *_steadiness(float(speeds.min()), float(speeds.max()), speed, _coarseness(recording, speed)),
            *_noise_findings(recording, fit),
            *shared_checks(recording),
            *speed_checks(recording, speed / (2 * np.pi)),
        ),
    )


def angle_parts(recording: Recording, marks: Floats) -> list[tuple[MendedMarks, tuple[Stretch, ...]]]:
    """Mend and interpolate between the restarts of the device; the mark is angle 0 in each.

    Parameters
    ----------
    recording : Recording
        The samples.
    marks : array, shape (m,)
        Times of its marks in s.

    Returns
    -------
    list of (MendedMarks, tuple of Stretch)
        One for each part between restarts that can be used.

    Raises
    ------
    InputError
        If there is none.
    """
    starts = [0, *recording.segment_starts, recording.times.size]
    found, problem = [], None
    for first, last in pairwise(starts):
        begin = -np.inf if first == 0 else recording.times[first]
        end = np.inf if last == recording.times.size else recording.times[last]
        try:
            mended = mend_marks(marks[(marks >= begin) & (marks < end)], recording.marks_per_rev)
            stretches = shaft_turns(recording.times[first:last], mended)
        except InputError as error:
            problem = error
            continue
        moved = tuple(Stretch(s.start + first, s.stop + first, s.turns) for s in stretches)
        found.append((mended, moved))
    if not found:
        raise problem or InputError("the recording holds no marks")
    if not all(mended.zero_known for mended, _ in found):
        # each segment may have begun at another mark, so only one of them has one angle 0
        return [max(found, key=lambda part: sum(s.stop - s.start for s in part[1]))]
    return found


def _orders_below_nyquist(recording: Recording, speed: float) -> tuple[int, ...]:
    frequency = speed / (2 * np.pi)
    orders = tuple(order for order in ORDERS if order * frequency < 0.45 * recording.sample_rate)
    if not orders:
        raise InputError(
            f"{recording.sample_rate:.0f} samples a second are too few for {60 * frequency:.0f} rpm",
            todo=f"use a rate of {4 * frequency:.0f} or more, or a lower speed",
        )
    return orders


def _turn_speeds(mended: MendedMarks) -> Floats:
    """Speed in rad/s between marks a turn apart (or the nearest that came)."""
    gone = np.diff(mended.turns)
    sound = np.ones(gone.size, dtype=bool)
    sound[mended.breaks - 1] = False
    return np.asarray(2 * np.pi * gone[sound] / np.diff(mended.times)[sound])


def _channel(recording: Recording, fit: OrderFit, index: int, speed: float) -> ChannelResult:
    channel = recording.channels[index]
    vectors = tuple(
        OrderVector(
            value=complex(fit.vectors[index, k]),
            covariance=fit.covariance(index, order),
            channel=channel.name,
            unit=channel.unit,
            order=order,
            speed=speed,
            revolutions=float(fit.revolutions),
        )
        for k, order in enumerate(fit.orders)
    )
    amplitude = Amplitude(vectors[0].amplitude, vectors[0].sd_amplitude)
    return ChannelResult(channel.name, channel.unit, amplitude, float(fit.overall[index]), vectors)


def _coarseness(recording: Recording, speed: float) -> float:
    """Give the part of a turn in which an edge sampled as 0 and 1 lies; 0 when it is known sharply."""
    told = [finding for finding in recording.findings if finding.code == "mark_resolution"]
    return float(told[0].figure("resolution_us")) * 1e-6 * speed / (2 * np.pi) if told else 0.0


def _mark_findings(parts: list[MendedMarks], coarse: float) -> list[Finding]:
    findings = []
    if coarse > 0.02:
        # an even spread of the angle over a part p of a turn leaves sin(pi p)/(pi p) of 1x
        low = 100 * (1 - float(np.sinc(coarse)))
        findings.append(
            Finding.of("mark_resolution_coarse", "warning", step_deg=360 * coarse, low_percent=low)
        )
    total = sum(mended.times.size for mended in parts)
    for code, count in (
        ("marks_missed", sum(mended.missed for mended in parts)),
        ("marks_doubled", sum(mended.doubled for mended in parts)),
        ("marks_not_countable", sum(mended.breaks.size for mended in parts)),
    ):
        if count:
            severity: Severity = "info" if count <= 0.05 * total else "warning"
            findings.append(Finding.of(code, severity, count=count, of=total))
    if max(mended.trouble for mended in parts) > 0.2:
        findings.append(Finding.of("marks_unreliable", "error", percent=100 * max(m.trouble for m in parts)))
    jitter = max(mended.jitter for mended in parts)
    if jitter > max(2 / 360, coarse):
        findings.append(Finding.of("marks_jitter", "warning", jitter_deg=360 * jitter))
    if not all(mended.zero_known for mended in parts):
        findings.append(Finding.of("zero_mark_unknown", "error"))
    return findings


def _steadiness(slowest: float, fastest: float, mean: float, coarse: float) -> list[Finding]:
    # an edge known to a part of a turn only makes every turn seem longer or shorter by up to as much
    spread = (fastest - slowest) / mean - 2 * coarse
    return [Finding.of("speed_unsteady", "warning", spread_percent=100 * spread)] if spread > 0.06 else []


def _noise_findings(recording: Recording, fit: OrderFit) -> list[Finding]:
    findings = []
    if fit.revolutions < 50:
        findings.append(Finding.of("few_revolutions", "warning", revolutions=fit.revolutions))
    worst = int(np.argmax(fit.excess[:, 0]))
    if fit.excess[worst, 0] > 5:
        name = recording.channels[worst].name
        findings.append(Finding.of("noise_near_1x", "info", channel=name, ratio=float(fit.excess[worst, 0])))
    return findings


def _without_marks(recording: Recording, near: float | None) -> Measurement:
    line = find_line(
        uniform_samples(recording), recording.sample_rate, near=None if near is None else near / (2 * np.pi)
    )
    return Measurement(
        source=recording.source,
        sample_rate=recording.sample_rate,
        duration=recording.duration,
        revolutions=line.frequency * recording.duration,
        speed=2 * np.pi * line.frequency,
        slowest=2 * np.pi * line.slowest,
        fastest=2 * np.pi * line.fastest,
        channels=tuple(
            ChannelResult(channel.name, channel.unit, Amplitude(amplitude, sd), overall)
            for channel, amplitude, sd, overall in zip(
                recording.channels, line.amplitudes, line.sd_amplitudes, line.overall, strict=True
            )
        ),
        findings=(
            *recording.findings,
            *_line_findings(line),
            *(ambiguous_speed(recording, line.frequency) if near is None else ()),
            *shared_checks(recording),
            *speed_checks(recording, line.frequency),
        ),
    )


def uniform_samples(recording: Recording) -> Floats:
    """Put the samples on a uniform grid: a spectrum needs one, and gaps are bridged by straight lines.

    Parameters
    ----------
    recording : Recording
        The samples.

    Returns
    -------
    array, shape (channels, n)
        At `Recording.sample_rate` from the first time on.
    """
    times, step = recording.times, 1 / recording.sample_rate
    grid = np.arange(times[0], times[-1], step)
    straight = np.array([np.interp(grid, times, row) for row in recording.samples])
    steps = np.diff(times)
    if np.std(steps[steps < _GAP * step]) < _EVEN * step:
        return straight
    # between uneven samples a straight line cuts the tops off a sine, by 3 % with ten samples a turn
    wide = (steps > _GAP * step)[np.clip(np.searchsorted(times, grid, side="right") - 1, 0, steps.size - 1)]
    return np.where(wide, straight, CubicSpline(times, recording.samples, axis=1)(grid))


def _line_findings(line: Line) -> list[Finding]:
    findings = [Finding.of("speed_from_spectrum", "info", speed_rpm=60 * line.frequency)]
    if line.multiple > 1:
        findings = [
            Finding.of("speed_from_multiple", "info", order=line.multiple, speed_rpm=60 * line.frequency)
        ]
    if line.rivals:
        others = ", ".join(f"{60 * f:.0f}" for f in line.rivals[:4])
        findings.append(
            Finding.of("speed_ambiguous", "warning", speed_rpm=60 * line.frequency, others_rpm=others)
        )
    return findings

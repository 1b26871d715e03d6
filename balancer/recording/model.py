"""The recording: samples with their true times, marks, and where all of it came from."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.findings import Finding

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Channel:
    """One measured quantity.

    Parameters
    ----------
    name : str
        Such as ``x``.
    unit : str
        ``m/s^2`` for every acceleration: readers convert.
    """

    name: str
    unit: str


@dataclass(frozen=True)
class SensorFacts:
    """What is known of the sensor; empty or None where nothing is known.

    Parameters
    ----------
    name, board : str
        As the device says them.
    full_scale : float, optional
        Largest reading in m/s^2.
    resolution : float, optional
        One count in m/s^2.
    lowpass : float, optional
        Bandwidth in Hz.
    nominal_rate : float, optional
        Sample rate in Hz that the device announces.
    mark_edge : str
        ``rising`` or ``falling``, empty when unknown.
    check : str
        How the lines of the stream were protected: ``crc16``, ``xor``, ``none``; empty for other files.
    """

    name: str = ""
    board: str = ""
    full_scale: float | None = None
    resolution: float | None = None
    lowpass: float | None = None
    nominal_rate: float | None = None
    mark_edge: str = ""
    check: str = ""


@dataclass(frozen=True)
class Gap:
    """A stretch of time in which samples are missing.

    Parameters
    ----------
    start, end : float
        Times in s of the last sample before and the first one after it.
    lost : int
        Number of samples missing, -1 when it cannot be known.
    reason : str
        ``index`` (numbers skipped), ``silent`` (time skipped, numbers not), ``status`` or ``overrun`` (the
        device said so), ``packet`` (a packet is missing, but no sample is) or ``restart`` (the device began
        anew).
    """

    start: float
    end: float
    lost: int
    reason: str


@dataclass(frozen=True)
class Understood:
    """What a reader took a foreign file for, to be shown before anything is computed from it.

    Parameters
    ----------
    form : str
        The format in words.
    columns : tuple of (str, str)
        Each column's title and what it was taken for.
    stamps : str
        What the time stamps are: ``even``, ``rounded``, ``sensor`` (uneven, kept), ``arrival`` (replaced by a
        fitted uniform rate), ``unclear`` (uneven, kept) or ``counted`` (there are none).
    rate : float
        Samples a second, fitted.
    jitter : float
        Standard deviation in s of the stamps about the fitted rate.
    start : float
        The first stamp in s on its own clock: the zero of `Recording.times`.
    """

    form: str
    columns: tuple[tuple[str, str], ...]
    stamps: str
    rate: float
    jitter: float = 0.0
    start: float = 0.0


@dataclass(frozen=True, eq=False)
class Recording:
    """Samples of one or more channels with their times, and the times of the tachometer marks.

    Two recordings are the same when their `digest` is.

    Parameters
    ----------
    times : array, shape (n,)
        Of the samples in s, strictly rising.
    samples : array, shape (channels, n)
        In the unit of each channel, finite.
    channels : tuple of Channel
        One for each row of `samples`.
    marks : array, shape (m,), optional
        Times of the raw marks in s on the clock of `times`, rising; None when there was no pick-up.
    marks_per_rev : int
        Marks on the rotor.
    sensor : SensorFacts
        What is known of the sensor.
    gaps : tuple of Gap
        Where samples are missing.
    segment_starts : tuple of int
        Index of the first sample after each restart of the device: times across it are not related.
    source : str
        The file's name as the person gave it, or what made the recording.
    findings : tuple of Finding
        What the reader noticed.
    understood : Understood, optional
        What a foreign file was taken for; no part of the digest.

    Raises
    ------
    InputError
        If there are fewer than two samples, shapes do not fit, times do not rise or a number is not finite.
    """

    times: Floats
    samples: Floats
    channels: tuple[Channel, ...]
    marks: Floats | None = None
    marks_per_rev: int = 1
    sensor: SensorFacts = SensorFacts()
    gaps: tuple[Gap, ...] = ()
    segment_starts: tuple[int, ...] = ()
    source: str = ""
    findings: tuple[Finding, ...] = ()
    understood: Understood | None = None

    def __post_init__(self) -> None:
        self._check_samples()
        if self.marks_per_rev < 1:
            raise InputError("marks_per_rev must be 1 or more")
        if self.marks is not None and not np.all(np.isfinite(self.marks)):
            raise InputError("a mark time is not a finite number", todo="record again")
        for array in (self.times, self.samples, self.marks):
            if array is not None:
                array.flags.writeable = False

    def _check_samples(self) -> None:
        shape = (len(self.channels), self.times.size)
        if self.samples.shape != shape:
            raise InputError(
                f"samples of shape {self.samples.shape} do not fit channels and times of {shape}"
            )
        if self.times.size < 2:
            raise InputError("the recording holds fewer than two samples", todo="record for some seconds")
        if not (
            np.isfinite(self.times[0]) and np.isfinite(self.times[-1]) and np.all(np.diff(self.times) > 0)
        ):
            raise InputError("the sample times do not rise throughout", todo="check the time column")
        if not np.all(np.isfinite(self.samples)):
            raise InputError("a sample is not a finite number", todo="record again")

    @property
    def duration(self) -> float:
        """Time from the first to the last sample in s."""
        return float(self.times[-1] - self.times[0])

    @property
    def sample_rate(self) -> float:
        """Typical rate in Hz: from the median step, so that gaps do not lower it."""
        return float(1.0 / np.median(np.diff(self.times)))

    def until(self, end: float) -> Recording:
        """Give what came up to a time in s, two samples at the least."""
        count = max(int(np.searchsorted(self.times, end)), 2)
        return replace(
            self,
            times=self.times[:count].copy(),
            samples=self.samples[:, :count].copy(),
            marks=None if self.marks is None else self.marks[self.marks <= end].copy(),
            gaps=tuple(gap for gap in self.gaps if gap.end <= end),
            segment_starts=tuple(start for start in self.segment_starts if start < count),
        )

    @cached_property
    def digest(self) -> str:
        """SHA-256 over channels, marks a turn, times, samples and marks, as a hex string."""
        state = hashlib.sha256(repr((self.channels, self.marks_per_rev, self.segment_starts)).encode())
        for array in (self.times, self.samples, self.marks):
            state.update(b"none" if array is None else np.ascontiguousarray(array, "<f8").tobytes())
        return state.hexdigest()

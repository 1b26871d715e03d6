"""What a running rotor shows now: overall level, the cloud of 1x vectors, the spectrum, one folded turn.

The thread that follows a recording only hands its blocks over. All working out happens when a picture is
asked for: each turn is put on even steps of the shaft angle once (`live.turning`), and cloud, spectrum by
order and folded signal come from these turns. What is kept are the last seconds, whatever happens.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.decimate import min_max
from balancer.core.vectors import Covariance
from balancer.live.running import STALE
from balancer.live.segment import DecodedBlock
from balancer.live.turning import Turner, Turns
from balancer.recording.hello import Hello

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

SPAN = 5.0
"""Seconds that the cloud looks back."""

SPECTRUM_SPAN = 2.5
"""Seconds that the spectrum looks back."""

LEVEL_SPAN = 1.0
"""Seconds over which the overall level and the folded turn are taken."""

CLOUD_BLOCK = 0.25
"""Seconds, at least, whose whole turns make one vector of the cloud."""

RENEWED = 0.25
"""Seconds between two spectra."""

COLUMNS = 200
"""Columns of a curve: at most two points each."""

SAME_SPEED = 0.03
"""Vectors count as of the present speed when theirs is off by no more than this share."""

HIGHEST_ORDER = 10.0
HIGHEST_HZ = 600.0

_NOW = 0.5  # s of the vector shown as the present one
_TRACE = 0.25  # s of the signal over the time
_MOST_SAMPLES = 1 << 18  # of each axis, whatever the rate
_PIECE_TURNS = 32  # of a piece of the spectrum by order
_PIECE_SECONDS = 1.0  # of a piece of the spectrum by frequency
_USABLE = 0.45  # of the sample rate: beyond it the sensor's filter takes everything


@dataclass(frozen=True, eq=False)
class Curve:
    """Points of a line, thinned for drawing; at most 400."""

    along: Floats
    values: Floats


@dataclass(frozen=True, eq=False)
class Spectra:
    """Amplitude spectra.

    Parameters
    ----------
    by : {"order", "Hz"}
        What they go along: multiples of the shaft speed, or the frequency where that is not known.
    curves : tuple of Curve
        One for each axis: peak amplitude in m/s^2 of a sine that would stand there.
    highest : tuple of (float, float)
        For each axis where the highest line stands and its amplitude.
    seconds : float
        Over which they are taken.
    """

    by: str
    curves: tuple[Curve, ...]
    highest: tuple[tuple[float, float], ...]
    seconds: float


@dataclass(frozen=True, eq=False)
class Cloud:
    """1x vectors of the last seconds.

    Parameters
    ----------
    vectors : array of complex, shape (axes, n)
        A exp(j lag), peak in m/s^2, the oldest first.
    ages : array, shape (n,)
        Seconds from each to the newest sample.
    same : array of bool, shape (n,)
        Which belong to about the present speed.
    mean : array of complex, shape (axes,)
        Of those.
    sd_amplitude, sd_lag : array, shape (axes,)
        Standard deviation among them in m/s^2, along the mean vector and (in rad) across it; NaN with fewer
        than three.
    """

    vectors: Complexes
    ages: Floats
    same: npt.NDArray[np.bool_]
    mean: Complexes
    sd_amplitude: Floats
    sd_lag: Floats

    def covariance(self, axis: int) -> Covariance | None:
        """Give that of single vectors of an axis at the present speed; None with fewer than three."""
        chosen = self.vectors[axis, self.same]
        return Covariance.of_matrix(np.cov(chosen.real, chosen.imag)) if chosen.size > 2 else None


@dataclass(frozen=True, eq=False)
class FoldedTurn:
    """The turns of the last second laid over each other.

    Parameters
    ----------
    mean, scatter : array, shape (axes, steps)
        Over the turns in m/s^2, the constant part of each axis taken out; scatter is a standard deviation.
    turns : int
        How many.
    """

    mean: Floats
    scatter: Floats
    turns: int


@dataclass(frozen=True, eq=False)
class Frame:
    """All that a picture needs at one moment.

    Parameters
    ----------
    number, slow_number : int
        Rise with every frame that has new samples, and with every new spectrum and cloud.
    axes : tuple of str
        Their names.
    time : float
        Of the newest sample in s.
    speed : float or None
        In rad/s; None when no marks come.
    rms : array, shape (axes,)
        Root mean square of all but the constant part over the last `LEVEL_SPAN`, in m/s^2.
    now : array of complex, shape (axes,), or None
        The 1x vector of the last half second.
    cloud : Cloud or None
    spectra : Spectra or None
    folded : FoldedTurn or None
    trace : tuple of Curve
        The signal of the last quarter second over the time, where there is no folded turn; s before the
        newest sample, m/s^2.
    """

    number: int
    slow_number: int
    axes: tuple[str, ...]
    time: float
    speed: float | None
    rms: Floats
    now: Complexes | None
    cloud: Cloud | None
    spectra: Spectra | None
    folded: FoldedTurn | None
    trace: tuple[Curve, ...]


class Scope:
    """Takes the blocks of a stream in one thread and gives frames in others."""

    def __init__(self) -> None:
        self._handing = threading.Lock()
        self._waiting: deque[DecodedBlock] = deque()
        self._waiting_samples = 0
        self._working = threading.Lock()
        self._last: _Last | None = None
        self._number = self._slow_number = 0
        self._frame: Frame | None = None

    def add(self, block: DecodedBlock) -> None:
        """Take what the decoder gave; cheap."""
        with self._handing:
            self._waiting.append(block)
            self._waiting_samples += block.times.size
            most = min(2 * SPAN * block.hello.rate_hz, _MOST_SAMPLES)
            while len(self._waiting) > 1 and self._waiting_samples > most:
                self._waiting_samples -= self._waiting.popleft().times.size

    def clear(self) -> None:
        """Forget everything: a new source."""
        with self._working, self._handing:
            self._waiting.clear()
            self._waiting_samples = 0
            self._last = self._frame = None

    def frame(self) -> Frame | None:
        """Give what there is to see now; None before the first samples.

        Returns
        -------
        Frame or None
            The same object as before while nothing new came.
        """
        with self._working:
            with self._handing:
                blocks, self._waiting = list(self._waiting), deque()
                self._waiting_samples = 0
            for run in _runs(blocks):
                if self._last is None or self._last.segment != run[0].segment:
                    self._last = _Last(run[0].segment, run[0].hello)
                self._last.take(run)
            if blocks and self._last is not None and self._last.times.size:
                self._number += 1
                self._frame = self._make(self._last)
            return self._frame

    def _make(self, last: _Last) -> Frame:
        before = self._frame
        turning = last.speed is not None
        kept = None if before is None or (before.speed is not None) != turning else before.spectra
        due = last.due()
        spectra = last.spectra() if due or kept is None else kept
        if due or spectra is not kept:
            self._slow_number += 1
        return Frame(
            number=self._number,
            slow_number=self._slow_number,
            axes=last.hello.axes,
            time=float(last.times[-1]),
            speed=last.speed,
            rms=last.rms(),
            now=last.now(),
            cloud=last.cloud(),
            spectra=spectra,
            folded=last.folded(),
            trace=() if turning else last.trace(),
        )


class _Last:
    """The last seconds of one segment."""

    def __init__(self, segment: int, hello: Hello) -> None:
        self.segment, self.hello = segment, hello
        self.times = np.zeros(0)
        self._samples = np.zeros((len(hello.axes), 0))
        self._turner = Turner(hello)
        self._turns: deque[Turns] = deque()
        self._loose: list[Turns] = []  # not yet enough for a vector of the cloud
        self._cloud: deque[tuple[float, float, Complexes]] = deque()  # end in s, speed in rad/s, vectors
        self._renewed = -np.inf
        self.speed: float | None = None

    def take(self, blocks: list[DecodedBlock]) -> None:
        """Add what came and let go of what is old."""
        times = np.concatenate([block.times for block in blocks])
        samples = np.concatenate([block.samples for block in blocks], axis=1)
        marks = np.concatenate([block.marks for block in blocks])
        self.times = np.concatenate((self.times, times))
        self._samples = np.concatenate((self._samples, samples), axis=1)
        turns = self._turner.add(times, samples, marks)
        if not self.times.size:
            return
        start = self.times[-1] - SPAN
        if turns is not None:
            self._turns.append(turns)
            self._add_to_cloud(turns)
        self._turner.forget(start)
        while self._turns and self._turns[0].ends[-1] < start:
            self._turns.popleft()
        while self._cloud and self._cloud[0][0] < start:
            self._cloud.popleft()
        first = max(int(np.searchsorted(self.times, start)), self.times.size - _MOST_SAMPLES)
        self.times, self._samples = self.times[first:].copy(), self._samples[:, first:].copy()
        self.speed = self._speed()

    def _add_to_cloud(self, turns: Turns) -> None:
        if self._loose and turns.starts[0] - self._loose[-1].ends[-1] > CLOUD_BLOCK:
            self._loose.clear()
        self._loose.append(turns)
        while (block := _cut(self._loose)) is not None:
            speed = 2 * np.pi / float(np.mean(block.ends - block.starts))
            self._cloud.append((float(block.ends[-1]), speed, block.vectors().mean(axis=0)))

    def _speed(self) -> float | None:
        """Give that of the last tenth of a second or so in rad/s; None when no turns come."""
        if not self._turns or self.times[-1] - self._turns[-1].ends[-1] > STALE:
            return None
        lasted = self._recent(0.1)
        return float(2 * np.pi / np.mean(lasted.ends - lasted.starts))

    def due(self) -> bool:
        """Tell whether it is time for another spectrum."""
        if self.times[-1] - self._renewed < RENEWED:
            return False
        self._renewed = float(self.times[-1])
        return True

    def rms(self) -> Floats:
        """Give the overall level of each axis."""
        first = int(np.searchsorted(self.times, self.times[-1] - LEVEL_SPAN))
        return np.asarray(self._samples[:, first:].std(axis=1))

    def now(self) -> Complexes | None:
        """Give the 1x vectors of the last half second."""
        return None if self.speed is None else np.asarray(self._recent(_NOW).vectors().mean(axis=0))

    def cloud(self) -> Cloud | None:
        """Give the vectors of the last seconds."""
        speed = self.speed
        if speed is None or not self._cloud:
            return None
        ends, speeds, rows = zip(*self._cloud, strict=True)
        vectors = np.array(rows).T
        same = np.abs(np.array(speeds) / speed - 1) <= SAME_SPEED
        return _cloud(vectors, self.times[-1] - np.array(ends), same)

    def folded(self) -> FoldedTurn | None:
        """Lay the turns of the last second over each other."""
        if self.speed is None:
            return None
        values = self._recent(LEVEL_SPAN).values
        values = values - values.mean(axis=(0, 2))[np.newaxis, :, np.newaxis]
        scatter = values.std(axis=0, ddof=min(1, values.shape[0] - 1))
        return FoldedTurn(values.mean(axis=0), scatter, values.shape[0])

    def spectra(self) -> Spectra | None:
        """Work the spectra out: by order where the speed is known."""
        speed = self.speed
        if speed is None:
            rate = (self.times.size - 1) / max(self.times[-1] - self.times[0], 1e-9)
            length = int(_PIECE_SECONDS * rate)
            if self.times.size < length:
                return None
            first = int(np.searchsorted(self.times, self.times[-1] - SPECTRUM_SPAN))
            seconds = float(self.times[-1] - self.times[first])
            top = min(HIGHEST_HZ, _USABLE * rate)
            return _spectra(self._samples[:, first:], rate, length, top, ("Hz", seconds))
        turns = self._recent(SPECTRUM_SPAN)
        count, axes, steps = turns.values.shape
        if count < _PIECE_TURNS:
            return None
        signal = turns.values.transpose(1, 0, 2).reshape(axes, -1)
        top = min(HIGHEST_ORDER, _USABLE * self.hello.rate_hz * 2 * np.pi / speed)
        seconds = float(turns.ends[-1] - turns.starts[0])
        return _spectra(signal, steps, _PIECE_TURNS * steps, top, ("order", seconds))

    def trace(self) -> tuple[Curve, ...]:
        """Give the signal of the last quarter second."""
        first = int(np.searchsorted(self.times, self.times[-1] - _TRACE))
        times, samples = self.times[first:] - self.times[-1], self._samples[:, first:]
        return tuple(Curve(*min_max(times, row - row.mean(), COLUMNS)) for row in samples)

    def _recent(self, seconds: float) -> Turns:
        """Give the turns that ended in the last seconds before the newest one, that one at the least."""
        start, kept = self._turns[-1].ends[-1] - seconds, []
        for turns in reversed(self._turns):
            chosen = turns.ends > start
            if not chosen.any():
                break
            kept.append(Turns(turns.values[chosen], turns.starts[chosen], turns.ends[chosen]))
        return _joined(kept[::-1])


def _runs(blocks: Iterable[DecodedBlock]) -> list[list[DecodedBlock]]:
    """Put neighbours of one segment together."""
    runs: list[list[DecodedBlock]] = []
    for block in blocks:
        if runs and runs[-1][0].segment == block.segment:
            runs[-1].append(block)
        else:
            runs.append([block])
    return runs


def _joined(parts: list[Turns]) -> Turns:
    if len(parts) == 1:
        return parts[0]
    columns = ([getattr(part, name) for part in parts] for name in ("values", "starts", "ends"))
    return Turns(*(np.concatenate(column) for column in columns))


def _cut(loose: list[Turns]) -> Turns | None:
    """Take the first turns that together last long enough out of the list."""
    if not loose:
        return None
    turns = _joined(loose)
    enough = np.flatnonzero(turns.ends - turns.starts[0] >= CLOUD_BLOCK)
    if not enough.size:
        return None
    stop = int(enough[0]) + 1
    rest = Turns(turns.values[stop:], turns.starts[stop:], turns.ends[stop:])
    loose[:] = [rest] if rest.starts.size else []
    return Turns(turns.values[:stop], turns.starts[:stop], turns.ends[:stop])


def _cloud(vectors: Complexes, ages: Floats, same: npt.NDArray[np.bool_]) -> Cloud:
    chosen = vectors[:, same] if same.any() else vectors[:, -1:]
    mean = chosen.mean(axis=1)
    if chosen.shape[1] < 3:
        unknown = np.full(mean.size, np.nan)
        return Cloud(vectors, ages, same, mean, unknown, unknown)
    # seen along the mean vector: what lies along it is amplitude, what lies across it is phase
    size = np.maximum(np.abs(mean), 1e-300)
    off = (chosen - mean[:, np.newaxis]) * np.conj(mean / size)[:, np.newaxis]
    return Cloud(vectors, ages, same, mean, off.real.std(axis=1, ddof=1), off.imag.std(axis=1, ddof=1) / size)


def _spectra(samples: Floats, rate: float, length: int, top: float, told: tuple[str, float]) -> Spectra:
    """Average amplitude spectra over half-overlapping pieces with a flat-top window.

    A sine between two lines of the spectrum shows its amplitude to 0.1 %: the scallop loss of the window is
    0.01 dB or less (G. Heinzel, A. Ruediger, R. Schilling, "Spectrum and spectral density estimation by the
    DFT", 2002, section D, for flat-top windows of this kind). The averaging is Welch's.
    """
    from scipy.signal import welch  # noqa: PLC0415  half a second, needed where a spectrum is shown only

    centred = samples - samples.mean(axis=1, keepdims=True)
    along, power = welch(centred, rate, "flattop", nperseg=length, detrend=False, scaling="spectrum", axis=1)
    shown = along <= top
    along, values = along[shown], np.sqrt(2 * power[:, shown])
    best = values.argmax(axis=1)
    return Spectra(
        by=told[0],
        curves=tuple(Curve(*min_max(along, row, COLUMNS)) for row in values),
        highest=tuple((float(along[k]), float(values[row, k])) for row, k in enumerate(best)),
        seconds=told[1],
    )

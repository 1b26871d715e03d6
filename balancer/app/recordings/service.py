"""What the page of recordings shows, as values: bytes and answers in, findings and thinned curves out."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from balancer.app.plain import Refusal, in_page_words
from balancer.core.angular import fold, points_a_turn, whole_turns
from balancer.core.averaged_spectrum import averaged_spectrum
from balancer.core.decay import find_taps
from balancer.core.decimate import min_max
from balancer.errors import BalancerError, InputError
from balancer.findings import Finding
from balancer.procedure.check import FEWEST_MARKS, Checked, check_running, check_still
from balancer.procedure.measure import Measurement, angle_parts, uniform_samples
from balancer.procedure.run_up import LEAST_SPAN
from balancer.procedure.signal import shared_checks
from balancer.procedure.symptoms import Symptoms, symptoms
from balancer.procedure.symptoms.coast import find_cut
from balancer.recording.files import read_bytes
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Recording
from balancer.wording import understood_lines

Floats = npt.NDArray[np.float64]
Kind = Literal["running", "taps", "still"]

FILE_MB = 50
"""Most that one file may have: the server takes no more either."""

COLUMNS = 600
"""Columns of a chart: two points of each reach the browser at most."""

_PIECE = 2.0  # s of the spectrum's pieces: half a hertz from line to line
_TURNS = 32  # of a piece of the order spectrum
_FEWEST = 16  # samples: of fewer no noise and no line can be told
_BEFORE = 0.05  # s before the throttle is cut where the steady part ends
_QUESTIONS = ("time_unit", "unit", "rate", "stamps", "wav_scale", "mark_channel")
_OF_ONE_SPEED = frozenset({"speed_unsteady", "noise_near_1x"})  # a sweep is meant to change its speed
_STAMPS_IN_DOUBT = frozenset({"stamps_unclear", "stamps_of_arrival", "stamps_uneven", "phase_refused"})


@dataclass(frozen=True)
class Upload:
    """A file as handed in.

    Parameters
    ----------
    name : str
        As the person calls it: shown, never used as a path.
    data : bytes
        All of it.
    """

    name: str
    data: bytes

    def __repr__(self) -> str:
        """Leave the bytes out."""
        return f"Upload({self.name!r}, {len(self.data)} bytes)"


def digest_of(file: Upload) -> str:
    """Give a key for the widgets and results of a file: of its content and its name."""
    return hashlib.blake2b(file.data, digest_size=12, person=b"recording").hexdigest() + " " + file.name


@dataclass(frozen=True, eq=False)
class Reading:
    """What came of reading a file.

    Parameters
    ----------
    outcome : Recording or Refusal
        What it holds, or why it cannot be used.
    questions : tuple of str
        Fields of `Hints` that the person can answer to get further.
    hints : Hints
        What was said so far.
    """

    outcome: Recording | Refusal
    questions: tuple[str, ...] = ()
    hints: Hints = NOTHING


@dataclass(frozen=True, eq=False)
class Curve:
    """A line of a chart, thinned.

    Parameters
    ----------
    along, values : array, shape (m,)
        At most two points for each of `COLUMNS`.
    """

    along: Floats
    values: Floats


@dataclass(frozen=True, eq=False)
class Folded:
    """The signal over the shaft angle.

    Parameters
    ----------
    angles : array, shape (points,)
        In rad from the mark, against the rotation: the spot that passes the pick-up.
    mean, scatter : array, shape (channels, points)
        Over the turns.
    turns : int
        How many.
    """

    angles: Floats
    mean: Floats
    scatter: Floats
    turns: int


@dataclass(frozen=True, eq=False)
class Overview:
    """What a recording shows.

    Parameters
    ----------
    kind : {"running", "taps", "still"}
        What it was read as.
    understood : tuple of str
        What the file was taken for.
    channels : tuple of str
        Their names.
    unit : str
        Of all of them.
    measurement : Measurement, optional
        Of the steady part; None when nothing turned that could be measured.
    density : tuple of float
        Noise floor of each channel of a sensor at rest in (m/s^2)/sqrt(Hz), else empty.
    findings : tuple of Finding
        What was noticed.
    sweep : bool
        Whether the speed sweeps somewhere.
    steady : bool
        Whether it is held somewhere: only then 1x is a single vector.
    cut : float, optional
        Time in s at which the throttle was cut.
    signal, spectrum, orders : tuple of Curve
        One for each channel: over the time in s, the frequency in Hz, the order; `orders` may be empty.
    orders_by_angle : bool
        Whether the orders go by the shaft angle, not by the mean speed.
    folded : Folded, optional
        With marks and a held speed only.
    """

    kind: Kind
    understood: tuple[str, ...]
    channels: tuple[str, ...]
    unit: str
    measurement: Measurement | None
    density: tuple[float, ...]
    findings: tuple[Finding, ...]
    sweep: bool
    steady: bool
    cut: float | None
    signal: tuple[Curve, ...]
    spectrum: tuple[Curve, ...]
    orders: tuple[Curve, ...]
    orders_by_angle: bool
    folded: Folded | None

    @property
    def strongest(self) -> int:
        """The channel that shakes most, at once per turn where that is known."""
        if self.measurement is not None:
            sizes = [channel.amplitude.value for channel in self.measurement.channels]
        else:
            sizes = [float(np.ptp(curve.values)) for curve in self.signal]
        return sizes.index(max(sizes))

    def share(self, channel: int) -> float | None:
        """Give the part of a channel's vibration power that 1x carries; None where it is not known."""
        if self.measurement is None or not self.steady:
            return None
        one = self.measurement.channels[channel]
        return min(one.amplitude.value**2 / 2 / one.overall**2, 1.0) if one.overall > 0 else None


def read_upload(file: Upload, hints: Hints, marks: Upload | None = None) -> Reading:
    """Read a file that was handed in.

    Parameters
    ----------
    file : Upload
        The recording.
    hints : Hints
        What the person says about it.
    marks : Upload, optional
        A second file with the mark times.

    Returns
    -------
    Reading
        The recording or a refusal, with the questions that are open.
    """
    try:
        times = None if marks is None else (marks.name, marks.data)
        recording = read_bytes(file.data, file.name, hints, times)
    except BalancerError as error:
        asked = set(re.findall(r"--[a-z-]+", f"{error.what} {error.todo}"))
        open_ = tuple(q for q in _QUESTIONS if f"--{q.replace('_', '-')}" in asked)
        return Reading(Refusal(in_page_words(str(error))), open_, hints)
    if recording.times.size < _FEWEST:
        few = InputError(f"{recording.times.size} samples tell nothing", todo="record for some seconds")
        return Reading(Refusal(str(few.at(file.name))), (), hints)
    doubt = {finding.code for finding in recording.findings} & _STAMPS_IN_DOUBT
    return Reading(recording, ("stamps",) if doubt else (), hints)


def overview(recording: Recording, kind: Kind | None = None, near: float | None = None) -> Overview:
    """Look at a recording.

    Parameters
    ----------
    recording : Recording
        Any.
    kind : {"running", "taps", "still"}, optional
        What the person says it is; found out if left out.
    near : float, optional
        Expected speed in rad/s, for one without marks.

    Returns
    -------
    Overview
        All that the page shows at once.
    """
    found = kind or _kind(recording)
    cut = find_cut(recording) if found == "running" else None
    held = recording if cut is None else recording.until(cut.at - _BEFORE)
    checked = _checked(held, found, near)
    measured = checked.measurement
    if kind is None and found == "running" and measured is None and not _has_marks(recording):
        found, checked = "still", check_still(recording)
    swept = measured is not None and measured.has_phase and measured.fastest > LEAST_SPAN * measured.slowest
    turned = _turned(held) if measured is not None and measured.has_phase else None
    return Overview(
        kind=found,
        understood=tuple(understood_lines(recording)),
        channels=tuple(channel.name for channel in recording.channels),
        unit=recording.channels[0].unit,
        measurement=measured,
        density=checked.density,
        findings=tuple(f for f in checked.findings if not (swept and f.code in _OF_ONE_SPEED)),
        sweep=swept or cut is not None,
        steady=measured is not None and not swept,
        cut=None if cut is None else cut.at,
        signal=_curves(recording.times, recording.samples),
        spectrum=_spectrum(held),
        orders=_orders(turned, measured, held),
        orders_by_angle=turned is not None,
        folded=None if turned is None or swept else _folded(turned),
    )


def _checked(recording: Recording, kind: Kind, near: float | None) -> Checked:
    if kind == "running":
        return check_running(recording, near=near)
    if kind == "still":
        return check_still(recording)
    noticed = (*recording.findings, *shared_checks(recording))
    return Checked(recording.source, False, (), None, noticed)


def unbalance_or_not(
    recording: Recording, blades: int | None, magnets: int | None, axial: str | None
) -> Symptoms | Refusal:
    """Ask what speaks for unbalance and what against it.

    Parameters
    ----------
    recording : Recording
        Of a running rotor.
    blades, magnets, axial
        As in `balancer.procedure.symptoms.symptoms`.

    Returns
    -------
    Symptoms or Refusal
        The answer, or why there is none.
    """
    try:
        return symptoms(recording, blades=blades, magnets=magnets, axial=axial)
    except InputError as error:
        return Refusal(in_page_words(str(error)))


def _has_marks(recording: Recording) -> bool:
    return recording.marks is not None and recording.marks.size >= FEWEST_MARKS


def _kind(recording: Recording) -> Kind:
    """Tell taps from a running rotor: without marks, a tap is a jump far above all that was before."""
    if _has_marks(recording):
        return "running"
    return "taps" if find_taps(uniform_samples(recording), recording.sample_rate) else "running"


def _curves(along: Floats, rows: Floats) -> tuple[Curve, ...]:
    return tuple(Curve(*min_max(along, row, COLUMNS)) for row in rows)


def _spectrum(recording: Recording) -> tuple[Curve, ...]:
    rate = recording.sample_rate
    found = averaged_spectrum(uniform_samples(recording), rate, round(_PIECE * rate))
    return _curves(found.along[1:], found.amplitudes[:, 1:])  # the first is the constant part


def _turned(recording: Recording) -> Floats | None:
    """Give whole turns, shape (channels, turns, points), with what lies above the samples' reach left out."""
    if recording.marks is None:
        return None
    stretches = [s for _, found in angle_parts(recording, recording.marks) for s in found]
    try:
        return whole_turns(recording.times, recording.samples, stretches, points_a_turn(stretches))
    except InputError:
        return None


def _orders(turned: Floats | None, measured: Measurement | None, held: Recording) -> tuple[Curve, ...]:
    if measured is None:
        return ()
    shaft = measured.speed / (2 * np.pi)
    if turned is None:
        return tuple(Curve(curve.along / shaft, curve.values) for curve in _spectrum(held))
    points = turned.shape[2]
    flat = turned.reshape(turned.shape[0], -1)
    found = averaged_spectrum(flat, float(points), _TURNS * points)
    # beyond half the sample rate at the slowest speed there is nothing true
    true = found.along <= held.sample_rate / 2 / (measured.slowest / (2 * np.pi))
    true[0] = False
    return _curves(found.along[true], found.amplitudes[:, true])


def _folded(turned: Floats) -> Folded:
    mean, scatter = fold(turned)
    angles = 2 * np.pi * np.arange(turned.shape[2]) / turned.shape[2]
    return Folded(angles, mean, scatter, turned.shape[1])


def numbered(names: Sequence[str]) -> list[str]:
    """Tell files of the same name apart.

    Examples
    --------
    >>> numbered(["a.csv", "b.csv", "a.csv"])
    ['a.csv', 'b.csv', 'a.csv (2)']
    """
    seen: dict[str, int] = {}
    told = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        told.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return told

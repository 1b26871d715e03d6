"""Sound files (WAV): the sensor on one channel, the mark pulse perhaps on another, the scale given."""

from __future__ import annotations

import io
import math
import warnings

import numpy as np
import numpy.typing as npt
from scipy.io import wavfile

from balancer.core.spectrum import find_line
from balancer.errors import InputError
from balancer.recording.csv_columns import marks_of_levels
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.model import Channel, Recording, SensorFacts, Understood

NAME = "WAV file with the sensor on one channel"

Floats = npt.NDArray[np.float64]

_SOME_AT_LEAST = 64
_NAMES = "xyz"


def detect(head: bytes, name: str) -> bool:
    """Tell whether a file is a WAV file.

    Parameters
    ----------
    head : bytes
        Its beginning.
    name : str
        Its name: not needed.

    Returns
    -------
    bool
        True if it begins as one does.
    """
    return head[:4] in {b"RIFF", b"RIFX", b"RF64"} and head[8:12] == b"WAVE"


def read(data: bytes, name: str, hints: Hints = NOTHING) -> Recording:
    """Read a WAV file of 8 to 32 bit integers or of floats.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages and for `Recording.source`.
    hints : Hints
        The acceleration at full scale and the channel of the mark: a sound file holds neither.

    Returns
    -------
    Recording
        Samples in m/s^2.

    Raises
    ------
    InputError
        If the file is damaged, or a fact is missing that only the person knows.
    """
    try:
        rate, levels, form = _load(data)
        _check_hints(levels.shape[0], hints)
    except InputError as error:
        raise error.at(name) from None
    mark = (hints.mark_channel or 0) - 1
    sensors = [k for k in range(levels.shape[0]) if k != mark]
    times = np.arange(levels.shape[1]) / rate
    findings, marks = [], None
    if mark >= 0:
        marks, found = marks_of_levels(times, levels[mark])
        findings.append(found)
    scale = hints.wav_scale or math.nan
    names = [_NAMES[k] if k < len(_NAMES) else f"c{k + 1}" for k in range(len(sensors))]
    taken = dict(
        zip(sensors, (f"channel {one}, {scale:g} m/s^2 at full scale" for one in names), strict=True)
    )
    return Recording(
        times,
        levels[sensors] * scale,
        tuple(Channel(one, "m/s^2") for one in names),
        marks=marks,
        sensor=SensorFacts(
            full_scale=scale, nominal_rate=float(rate), mark_edge="rising" if mark >= 0 else ""
        ),
        source=name,
        findings=tuple(findings),
        understood=Understood(
            form=form,
            columns=tuple((f"channel {k + 1}", taken.get(k, "mark")) for k in range(levels.shape[0])),
            stamps="counted",
            rate=float(rate),
        ),
    )


def scale_of_calibration(data: bytes, name: str, rms: float, channel: int = 1) -> float:
    """Find the full scale of a sound set-up from a recording of a known vibration.

    Parameters
    ----------
    data : bytes
        A WAV file of the sensor on a calibrator, made with the same gain.
    name : str
        Its name, for messages.
    rms : float
        Root mean square of the known vibration in m/s^2; a hand-held calibrator says it on its label.
    channel : int
        Channel of the sensor, from 1.

    Returns
    -------
    float
        Acceleration in m/s^2 at full scale.

    Raises
    ------
    InputError
        If the file cannot be read, is overdriven, or no line of 20 to 300 Hz stands out in it.
    """
    try:
        rate, levels, _ = _load(data)
        if channel > levels.shape[0]:
            raise InputError(f"there is no channel {channel}", todo=f"name one of {levels.shape[0]}")
        tone = levels[channel - 1]
        if np.count_nonzero(np.abs(tone) >= 0.999) > 1:
            raise InputError("the calibration is overdriven", todo="lower the gain, for the runs as well")
        line = find_line(tone[np.newaxis], rate)
    except InputError as error:
        raise error.at(name) from None
    return rms * math.sqrt(2) / line.amplitudes[0]


def _load(data: bytes) -> tuple[int, Floats, str]:
    """Give rate, levels of shape (channels, n) with full scale 1, and the form in words."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # chunks that are no sound (names, dates) and are left out
            rate, values = wavfile.read(io.BytesIO(data))
    except Exception as error:  # scipy has no one class for what can be wrong
        raise InputError(
            f"this WAV file cannot be read ({error})", todo="export it again as plain PCM"
        ) from None
    levels = np.atleast_2d(values.T).astype(np.float64)
    if rate <= 0 or levels.shape[1] < _SOME_AT_LEAST:
        raise InputError("this WAV file holds next to no sound", todo="record for some seconds")
    kind = values.dtype
    if kind == np.uint8:
        levels = (levels - 128) / 128
    elif kind.kind == "i":
        levels /= -float(np.iinfo(kind).min)
    if not np.all(np.isfinite(levels)):
        raise InputError("a sample is not a finite number", todo="record again")
    bits = int.from_bytes(data[34:36], "big" if data[:4] == b"RIFX" else "little")
    word = "float" if kind.kind == "f" else "bit integers"
    return int(rate), levels, f"WAV file, {levels.shape[0]} channels of {bits} {word}"


def _check_hints(channels: int, hints: Hints) -> None:
    if hints.mark_channel is None and channels > 1:
        raise InputError(
            f"there are {channels} channels, and the file does not say which holds the mark",
            todo="give --mark-channel with its number from 1, or 0 when there is none",
        )
    if hints.mark_channel and not (hints.mark_channel <= channels and channels > 1):
        raise InputError(
            f"channel {hints.mark_channel} cannot be the mark, there are {channels} channels",
            todo="name one of them beside the sensor's",
        )
    if hints.wav_scale is None:
        raise InputError(
            "a sound file does not say how many m/s^2 its full scale is",
            todo="give --wav-scale, or a recording of a known vibration with --calibration and "
            "--calibration-rms",
        )

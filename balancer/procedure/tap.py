"""A tap test: natural frequency and damping from a recording in which nothing turns."""

from __future__ import annotations

from balancer.core.decay import Decay, free_decay
from balancer.errors import InputError
from balancer.procedure.check import FEWEST_MARKS
from balancer.procedure.measure import uniform_samples
from balancer.procedure.signal import clipped
from balancer.recording.model import Recording


def read_taps(recording: Recording) -> Decay:
    """Find what rings after taps.

    Parameters
    ----------
    recording : Recording
        Some seconds with the sensor on what is tapped, nothing turning, and a second or so after each tap.

    Returns
    -------
    Decay
        Natural frequencies and damping ratios.

    Raises
    ------
    InputError
        If something turned, the sensor clipped, there is no tap or nothing rings; it names the recording.
    """
    try:
        _refuse(recording)
        return free_decay(uniform_samples(recording), recording.sample_rate)
    except InputError as error:
        raise error.at(recording.source or None) from None


def _refuse(recording: Recording) -> None:
    if recording.marks is not None and recording.marks.size >= FEWEST_MARKS:
        raise InputError(
            "the rotor turned during this recording", todo="record the taps with everything at rest"
        )
    if clipped(recording):
        raise InputError(
            "the sensor was at its full scale, so the decay is cut off",
            todo="tap more softly and record again",
        )

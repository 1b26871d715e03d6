"""What a recording shows, in the unit that the person chose; knows no Streamlit."""

from __future__ import annotations

from dataclasses import replace

from balancer.app.recordings.service import Curve, Overview
from balancer.app.recordings.slow_readings import Sweep
from balancer.app.units_shown import Vibration
from balancer.pictures import sweep_picture
from balancer.procedure.measure import ChannelResult
from balancer.procedure.run_up import RunUp


def shown_in(seen: Overview, unit: Vibration) -> Overview:
    """Turn all accelerations of an overview into a unit; findings and the noise density stay as they are.

    Parameters
    ----------
    seen : Overview
        In the unit of the recording.
    unit : Vibration
        Of recordings in m/s^2; those in another unit stay in that.

    Returns
    -------
    Overview
        With the same shares, angles, speeds and frequencies.
    """
    unit = unit.instead_of(seen.unit)
    by, measured, turn = unit.factor, seen.measurement, seen.folded
    if measured is not None:
        channels = tuple(_channel(one, unit) for one in measured.channels)
        measured = replace(measured, channels=channels)
    if turn is not None:
        turn = replace(turn, mean=by * turn.mean, scatter=by * turn.scatter)
    return replace(
        seen,
        unit=unit.word,
        measurement=measured,
        signal=_curves(seen.signal, by),
        spectrum=_curves(seen.spectrum, by),
        orders=_curves(seen.orders, by),
        folded=turn,
    )


def sweep_in(found: Sweep, unit: Vibration) -> Sweep:
    """Turn the amplitudes of a sweep into a unit."""
    unit = unit.instead_of(found.unit)
    return replace(found, amplitudes=unit.factor * found.amplitudes, unit=unit.word)


def sweep_drawn(read: RunUp, unit: Vibration) -> str:
    """Draw a sweep in a unit; takes milliseconds."""
    unit = unit.instead_of(read.track.unit)
    return sweep_picture(read, unit=unit.word, scale=unit.factor)


def _channel(one: ChannelResult, unit: Vibration) -> ChannelResult:
    by = unit.factor
    vectors = tuple(
        replace(vector, value=by * vector.value, covariance=vector.covariance.times(by), unit=unit.word)
        for vector in one.vectors
    )
    size = one.amplitude.times(by)
    return replace(one, unit=unit.word, amplitude=size, overall=by * one.overall, vectors=vectors)


def _curves(curves: tuple[Curve, ...], by: float) -> tuple[Curve, ...]:
    return tuple(Curve(curve.along, by * curve.values) for curve in curves)

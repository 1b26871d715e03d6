"""Recordings to look at without a bench: made on the simulated one, of an invented build."""

from __future__ import annotations

from dataclasses import replace

from balancer.recording.stream_writer import make_stream_text
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import rad_s_from_rpm

STEADY, RUN_UP = "steady", "run-up"
_SLOWEST, _FASTEST = rad_s_from_rpm(900.0), rad_s_from_rpm(6600.0)
_SWEEP = 20.0  # s: slow enough for the stand's resonances to show their whole shape


def example_stream(which: str) -> tuple[str, bytes]:
    """Make a stream file.

    Parameters
    ----------
    which : {"steady", "run-up"}
        A held speed with the throttle cut at the end, or a slow run-up through the stand's resonances.

    Returns
    -------
    name : str
        A file name that says that it is an example.
    data : bytes
        What a board would have sent.
    """
    bench = coastal_propeller(1)
    if which == STEADY:
        motion = Motion.coast(COASTAL_SPEED, cut=7.0, end=11.0, wander=bench.wander)
        recording = bench.record(speed=motion, duration=10.0, seed=1)
    else:
        ramp = Motion.ramp(_SLOWEST, _FASTEST, 0.5, 0.5 + _SWEEP)
        motion = replace(ramp, wander=bench.wander, correlation_time=bench.wander_time)
        recording = bench.record(speed=motion, duration=_SWEEP + 1, seed=1)
    return f"example, {which}.stream.csv", make_stream_text(recording)

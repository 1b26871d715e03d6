"""The simulated bench as a live source: it turns without end, and masses and speed change while it does."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.interpolate import CubicSpline

from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.live.source import PAUSE, ClosingSource
from balancer.recording.model import Floats, Recording
from balancer.recording.stream_device import StreamDevice
from balancer.simulator.bench import Bench
from balancer.simulator.motion import ShaftPath
from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

PIECE = 0.25
"""Seconds simulated at once: a change shows after this time at the latest."""

SLOWEST, FASTEST = rad_s_from_rpm(300.0), rad_s_from_rpm(30000.0)
"""Speeds in rad/s between which the simulated motor can run."""

_KNOT = 0.05  # s between the speeds that the spline goes through
_THROTTLE = 0.3  # s, time constant of the motor
_MARGIN = 8  # knots by which the spline reaches over what is used


class _Throttle:
    """The speed over time: the motor follows what is asked with a lag, and wanders."""

    def __init__(self, bench: Bench, speed: float, rng: np.random.Generator, past: float) -> None:
        self.asked = speed
        self._bench, self._rng, self._mean, self._stray = bench, rng, speed, 0.0
        self._knots: list[float] = []
        self._before = math.ceil(past / _KNOT) + _MARGIN
        for _ in range(self._before):
            self._next()

    def _next(self) -> None:
        self._mean += (self.asked - self._mean) * (1 - math.exp(-_KNOT / _THROTTLE))
        kept = math.exp(-_KNOT / self._bench.wander_time)
        self._stray = kept * self._stray + math.sqrt(1 - kept**2) * float(self._rng.standard_normal())
        self._knots.append(self._mean * (1 + self._bench.wander * self._stray))

    def path(self, angle: float, duration: float) -> ShaftPath:
        """Give the shaft's path from long before now (time 0) to `duration`; now it is at `angle`, in rad."""
        needed = self._before + math.ceil(duration / _KNOT) + _MARGIN
        while len(self._knots) < needed:
            self._next()
        times = (np.arange(needed) - self._before) * _KNOT
        return ShaftPath.of_speed(CubicSpline(times, self._knots[:needed]), angle)

    def move_on(self, knots: int) -> None:
        """Let so many knots pass."""
        del self._knots[:knots]


@dataclass(frozen=True)
class _Piece:
    """A piece of the stream, and the time in s from the beginning at which it has been sent."""

    until: float
    data: bytes


class SimulatedSource(ClosingSource):
    """A board on the simulated bench.

    Parameters
    ----------
    bench : Bench
        The bench with its rotor.
    speed : float
        In rad/s, to begin with.
    seed : int, optional
        Makes the run repeatable.
    pace : float, optional
        How many times faster than real time; infinite for at once.
    form : {"binary", "text"}, optional
        Of the stream.
    """

    def __init__(
        self,
        bench: Bench,
        *,
        speed: float,
        seed: int = 0,
        pace: float = 1.0,
        form: Literal["binary", "text"] = "binary",
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        super().__init__("simulated")
        if bench.moving:
            raise InputError("a live bench knows no unbalance that moves", todo="make a recording of it")
        self._bench, self._pace, self._now, self._sleep = bench, pace, now, sleep
        self._masses: tuple[Mass, ...] = ()
        self._rng = np.random.default_rng(seed)
        self._angle = bench.pickup.start_angle(self._rng)
        self._throttle = _Throttle(bench, _checked(speed), self._rng, bench.run_in() + 0.3)
        self._device = StreamDevice(form, sid=seed + 1)
        self._made, self._queue = 0.0, list[_Piece]()
        self._begun: float | None = None

    def set_speed(self, speed: float) -> None:
        """Ask for another speed (rad/s); the motor follows within a second."""
        self._throttle.asked = _checked(speed)

    def set_masses(self, masses: Iterable[Mass]) -> None:
        """Fit these masses and no others, as if they had always been there."""
        self._masses = tuple(masses)

    def command(self, data: bytes) -> None:
        """Take a line: ``?`` asks for the hello, a JSON object sets ``speed_rpm`` or ``masses``.

        Parameters
        ----------
        data : bytes
            Such as ``{"masses": [{"mass_g": 0.03, "radius_mm": 60, "angle_deg": 90}]}``.

        Raises
        ------
        InputError
            If it is not understood.
        """
        text = data.decode("utf-8", "replace").strip()
        if text == "?":
            self._device.ask_hello()
            return
        try:
            said = json.loads(text)
            unknown = set(said) - {"speed_rpm", "masses"}
            masses = [_mass(one) for one in said.get("masses", [])]
            speed = rad_s_from_rpm(float(said["speed_rpm"])) if "speed_rpm" in said else None
        except (ValueError, TypeError, KeyError, AttributeError):
            raise _not_understood(text) from None
        if unknown:
            raise _not_understood(text)
        if speed is not None:
            self.set_speed(speed)
        if "masses" in said:
            self.set_masses(masses)

    def read(self) -> bytes:
        """Give what the board would have sent by now."""
        if self.state != "open":
            return b""
        if self._begun is None:
            self._begun = self._now()
        if math.isinf(self._pace):
            self._simulate()
            due, self._queue = self._queue, []
            return b"".join(piece.data for piece in due)
        elapsed = (self._now() - self._begun) * self._pace
        while self._made <= elapsed:
            self._simulate()
        count = sum(piece.until <= elapsed for piece in self._queue)
        due, self._queue = self._queue[:count], self._queue[count:]
        if not due:
            self._sleep(PAUSE)
        return b"".join(piece.data for piece in due)

    def _simulate(self) -> None:
        """Let the bench run on for a piece."""
        rate = self._bench.sensor.true_rate
        knots = round(PIECE / _KNOT)
        count = round(PIECE * rate)
        path = self._throttle.path(self._angle, count / rate)
        recording = self._bench.record_path(
            path, duration=count / rate, seed=int(self._rng.integers(1 << 31)), masses=self._masses
        )
        self._angle = float(path.angle(count / rate))
        self._throttle.move_on(knots)
        self._queue += [_Piece(until, data) for until, data in self._sent(recording, count)]
        self._made += count / rate

    def _sent(self, recording: Recording, count: int) -> list[tuple[float, bytes]]:
        """Let the device send a piece; its last sample is the first of the next one."""
        rate = self._bench.sensor.true_rate
        stretch = 1 + self._bench.clock_error
        index = np.rint(recording.times / stretch * rate).astype(np.int64)
        kept = index < count
        marks: Floats = recording.marks if recording.marks is not None else np.zeros(0)
        first = round(self._made * rate)
        sent = self._device.send(
            recording,
            index=index[kept] + first,
            times=recording.times[kept] + self._made * stretch,
            samples=recording.samples[:, kept],
            marks=marks + self._made * stretch,
        )
        return [(at / stretch, data) for at, data in sent]


def _checked(speed: float) -> float:
    if not SLOWEST <= speed <= FASTEST:
        raise InputError("the simulated motor runs at 300 to 30,000 rpm", todo="ask for a speed in between")
    return speed


def _mass(said: dict[str, float]) -> Mass:
    return Mass(
        kg_from_g(float(said["mass_g"])),
        m_from_mm(float(said["radius_mm"])),
        math.radians(float(said["angle_deg"])),
    )


def _not_understood(text: str) -> InputError:
    return InputError(
        f"the simulated bench does not understand {text[:80]!r}",
        todo='send {"speed_rpm": 5200} or {"masses": [{"mass_g": 0.03, "radius_mm": 60, "angle_deg": 90}]}',
    )

"""The simulated bench: rotor, stand, sensor and pick-up put together, making recordings."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from balancer.core.masses import Mass, total_unbalance
from balancer.recording.model import Channel, Floats, Recording
from balancer.simulator.checks import check
from balancer.simulator.forces import Drive, Line, Moving, OrderForce
from balancer.simulator.integration import System, integrate
from balancer.simulator.motion import Motion, ShaftPath
from balancer.simulator.pickup import Pickup
from balancer.simulator.rotor import Rotor
from balancer.simulator.sensor import Sensor, gaps_of
from balancer.simulator.stand import AXES, Stand
from balancer.simulator.truth import Truth


@dataclass(frozen=True)
class Bench:
    """A bench with a rotor on it; the defaults leave out every disturbance.

    Not modelled: gyroscopic moments and couple unbalance (the rotor acts in one plane), a stand that is not
    linear, and the motor's reaction torque.

    Parameters
    ----------
    rotor : Rotor
        The motor bell and the propeller.
    stand : Stand
        The fixture, with this rotor on it and no masses fitted.
    sensor : Sensor, optional
        The accelerometer.
    pickup : Pickup, optional
        The pick-up.
    air : tuple of OrderForce, optional
        Forces of the blades.
    electric : tuple of OrderForce, optional
        Forces of magnets and windings: gone with the power off, as is the rotor's magnet pull.
    lines : tuple of Line, optional
        Vibration that is no multiple of the shaft speed.
    turbulence : float, optional
        Density of a white random force on each mode in N/sqrt(Hz); the stand's resonances colour it.
    wander : float, optional
        Root mean square of the speed's random deviation, as a fraction, when `record` is given a number.
    wander_time : float, optional
        Its correlation time in s.
    clock_error : float, optional
        Fraction by which the board's clock runs fast: times of samples and marks alike.
    moving : tuple of (float, complex), optional
        Unbalance beyond the rotor's that comes and goes: corner points of time in s from the first sample,
        and kg m; between them it changes smoothly without overshoot, outside it stays. What the change
        itself pushes with is left out: a share of 1/(w t) for a change that takes t seconds. `truth` does not
        hold it.

    Raises
    ------
    InputError
        If a number is impossible.
    """

    rotor: Rotor
    stand: Stand
    sensor: Sensor = field(default_factory=Sensor)
    pickup: Pickup = field(default_factory=Pickup)
    air: tuple[OrderForce, ...] = ()
    electric: tuple[OrderForce, ...] = ()
    lines: tuple[Line, ...] = ()
    turbulence: float = 0.0
    wander: float = 0.0
    wander_time: float = 0.5
    clock_error: float = 0.0
    moving: tuple[tuple[float, complex], ...] = ()

    def __post_init__(self) -> None:
        check(
            "bench",
            (0 <= self.turbulence < math.inf, "turbulence must not be negative"),
            (abs(self.clock_error) < 0.5, "clock_error must be a fraction below 0.5"),
            (len(self.moving) != 1, "moving must have two corner points or more"),
            (all(b > a for (a, _), (b, _) in pairwise(self.moving)), "the times of moving must rise"),
        )

    def record(
        self,
        *,
        speed: float | Motion,
        duration: float,
        seed: int,
        masses: Iterable[Mass] = (),
        powered: bool = True,
    ) -> Recording:
        """Run the bench.

        Parameters
        ----------
        speed : float or Motion
            Mean speed in rad/s, or how the speed goes.
        duration : float
            In s.
        seed : int
            Makes the run repeatable. Runs with the same seed share their noise and their wander; give each
            run its own.
        masses : iterable of Mass, optional
            What is fitted (or removed) during the run.
        powered : bool, optional
            False when the motor turns without current.

        Returns
        -------
        Recording
            Times in s from the first sample, channels x, y and z in m/s^2, the marks as the pick-up saw them.

        Raises
        ------
        InputError
            If the run is shorter than two samples or a number is impossible.
        """
        rate = self.sensor.true_rate
        check(
            "run",
            (1 / rate <= duration < math.inf, "duration must be finite and hold at least two samples"),
            (seed >= 0, "seed must not be negative"),
        )
        masses = tuple(masses)
        count, run_in = self._extent(duration, masses)
        rng = np.random.default_rng(np.random.SeedSequence(seed).spawn(1)[0])
        path = self._motion(speed).path(
            -run_in / rate - 0.1, (count - 1) / rate + 0.1, self.pickup.start_angle(rng), rng
        )
        return self.record_path(path, duration=duration, seed=seed, masses=masses, powered=powered)

    def _extent(self, duration: float, masses: tuple[Mass, ...]) -> tuple[int, int]:
        """Give the number of samples, and of those before the first that let the start be forgotten."""
        rate = self.sensor.true_rate
        system = System.of(self._loaded(masses), self.sensor.pole)
        return math.floor(duration * rate * (1 + 1e-12)) + 1, math.ceil(system.run_in * rate)

    def run_in(self, masses: Iterable[Mass] = ()) -> float:
        """Give the time in s before the first sample that a path for `record_path` must cover."""
        return self._extent(0.0, tuple(masses))[1] / self.sensor.true_rate + 0.1

    def record_path(
        self,
        path: ShaftPath,
        *,
        duration: float,
        seed: int,
        masses: Iterable[Mass] = (),
        powered: bool = True,
    ) -> Recording:
        """Run the bench with a shaft whose path is given.

        Parameters
        ----------
        path : ShaftPath
            Known from `run_in` before the first sample, which is at time 0, to the last.
        duration, seed, masses, powered
            As in `record`.

        Returns
        -------
        Recording
            As from `record`.
        """
        rate = self.sensor.true_rate
        masses = tuple(masses)
        count, run_in = self._extent(duration, masses)
        _, drive_rng, noise_rng, drop_rng, mark_rng = (
            np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(5)
        )
        stand = self._loaded(masses)
        system = System.of(stand, self.sensor.pole)
        times = np.arange(-run_in, count) / rate
        push = _Push(path, self._drive(masses, powered), stand, self.rotor.sense, self._extra())
        samples = self._sensed(system, push, times, drive_rng)[:, run_in:]
        samples = self.sensor.read(samples, noise_rng)
        keep = self.sensor.kept(count, drop_rng)
        board = times[run_in:] * (1 + self.clock_error)
        return Recording(
            times=board[keep],
            samples=samples[:, keep],
            channels=tuple(Channel(axis, "m/s^2") for axis in AXES),
            marks=self.pickup.see(path, float(times[-1]), mark_rng) * (1 + self.clock_error),
            marks_per_rev=len(self.pickup.places),
            sensor=self.sensor.facts(self.pickup.edge),
            gaps=gaps_of(board, keep),
            source="simulated bench",
        )

    def truth(self, *, speed: float, masses: Iterable[Mass] = (), powered: bool = True) -> Truth:
        """Say what a run at a steady speed should find.

        Parameters
        ----------
        speed : float
            In rad/s.
        masses, powered : optional
            As in `record`.

        Returns
        -------
        Truth
            Unbalance, influence coefficients and vectors from the closed form.

        Raises
        ------
        InputError
            If the speed is not above 0.
        """
        check("run", (0 < speed < math.inf, "speed must be above 0"))
        masses = tuple(masses)
        stand = self._loaded(masses)
        sensed = self.sensor.gain(speed)
        drive = self._drive(masses, powered)
        return Truth(
            speed=speed,
            bell=self.rotor.bell,
            propeller=self.rotor.unbalance - self.rotor.bell,
            masses=masses,
            pull=drive.pull,
            rotor_mass=self.rotor.mass,
            channels=AXES,
            influence=tuple(sensed * stand.response(speed, axis, self.rotor.sense) for axis in AXES),
        )

    def _loaded(self, masses: tuple[Mass, ...]) -> Stand:
        return self.stand.loaded(sum(mass.mass for mass in masses))

    def _motion(self, speed: float | Motion) -> Motion:
        return speed if isinstance(speed, Motion) else Motion.steady(speed, self.wander, self.wander_time)

    def _drive(self, masses: tuple[Mass, ...], powered: bool) -> Drive:
        return Drive(
            unbalance=self.rotor.unbalance + total_unbalance(masses),
            pull=self.rotor.magnet_pull if powered else 0j,
            orders=self.air + (self.electric if powered else ()),
            electric=len(self.electric) if powered else 0,
        )

    def _extra(self) -> Moving | None:
        return Moving(self.moving) if self.moving else None

    def _sensed(self, system: System, push: _Push, times: Floats, rng: np.random.Generator) -> Floats:
        """Give what comes out of the sensor's low-pass at the times (n,), shape (3, n) in m/s^2."""
        noise = np.zeros((3, times.size))
        if self.turbulence > 0:
            # a one-sided density d, held over each step, has the variance d^2 rate / 2
            noise = self.turbulence * math.sqrt(self.sensor.true_rate / 2) * rng.standard_normal(noise.shape)
        stray = self.sensor.jitter * rng.standard_normal(times.size) if self.sensor.jitter > 0 else None
        shaken = integrate(system, push, times, push.fastest, noise=noise, stray=stray)
        return shaken + self._lines_at(times if stray is None else times + stray)

    def _lines_at(self, times: Floats) -> Floats:
        """Give the lines behind the sensor's low-pass at the times (n,), shape (3, n) in m/s^2."""
        total = np.zeros((3, times.size))
        for line in self.lines:
            w = 2 * math.pi * line.frequency
            gain = self.sensor.gain(w)
            wave = abs(gain) * np.cos(w * times - line.lag - cmath.phase(gain))
            total += np.array(line.amplitudes)[:, None] * wave
        return total


class _Push:
    """The forces on the modes of a stand during one run, as a function of the time."""

    def __init__(
        self, path: ShaftPath, drive: Drive, stand: Stand, sense: int, moving: Moving | None
    ) -> None:
        self._path, self._drive, self._moving = path, drive, moving
        self._shares = drive.shares(stand, sense)
        self._moved = replace(drive, unbalance=1.0 + 0j).shares(stand, sense)[:, :2]
        self.fastest = drive.highest_order * path.top_speed

    def __call__(self, times: Floats) -> Floats:
        path = self._path
        series = self._drive.series(path.angle(times), path.speed(times), path.acceleration(times))
        if path.power_off < math.inf:
            series[self._drive.powered] *= times < path.power_off
        total = self._shares @ series
        if self._moving is not None:
            total += self._moved @ self._moving.turned(times, series[:2])
        return np.asarray(total)

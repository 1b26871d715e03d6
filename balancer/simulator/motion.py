"""How the shaft turns: mean speed, ramps and a slow random wander, as a smooth angle over time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline, PchipInterpolator, PPoly

from balancer.errors import InputError
from balancer.simulator.checks import check

Floats = npt.NDArray[np.float64]

_KNOTS = 8  # per correlation time of the wander
_KNOTS_RAMP = 32  # per piece of the profile
_COAST_STEP = 0.05  # of the halving time: a cubic between such points is true to 1e-5
_REACH = 3  # half width of the smoothing kernel in correlation times: exp(-9) is left out


@dataclass(frozen=True, eq=False)
class ShaftPath:
    """One run of the shaft: angle, speed and acceleration as piecewise polynomials of the time in s.

    The speed is a cubic spline and the angle its exact integral, so all three belong together to the
    rounding of a float.

    Parameters
    ----------
    angle, speed, acceleration : PPoly
        In rad, rad/s and rad/s^2.
    power_off : float, optional
        Time in s from which the motor turns without current.
    """

    angle: PPoly
    speed: PPoly
    acceleration: PPoly
    power_off: float = math.inf

    @classmethod
    def of_speed(cls, speed: CubicSpline, start_angle: float) -> ShaftPath:
        """Integrate a speed; the angle at time 0 is `start_angle` in rad."""
        angle = speed.antiderivative()
        angle.c[-1] += start_angle - angle(0.0)
        return cls(angle, speed, speed.derivative())

    @property
    def top_speed(self) -> float:
        """Highest speed in rad/s at the spline's knots."""
        return float(np.max(self.speed.c[-1]))

    def passages(self, place: float, start: float, end: float) -> Floats:
        """Find when a spot on the rotor passes the pick-up.

        Parameters
        ----------
        place : float
            Rotor angle of the spot in rad.
        start, end : float
            Times in s between which to look.

        Returns
        -------
        array
            The times in s, rising, to the rounding of a float.
        """
        first, last = ((float(self.angle(t)) - place) / (2 * math.pi) for t in (start, end))
        targets = 2 * math.pi * np.arange(math.ceil(first), math.floor(last) + 1) + place
        # Newton from a straight-line guess between close points: the speed hardly changes between them
        coarse = np.linspace(start, end, 8 * self.angle.x.size)
        times = np.interp(targets, self.angle(coarse), coarse)
        for _ in range(4):
            times = times - (self.angle(times) - targets) / self.speed(times)
        return np.asarray(times)


@dataclass(frozen=True)
class Motion:
    """The speed asked for, and how much the motor strays from it.

    Parameters
    ----------
    profile : tuple of (float, float)
        Corner points: time in s from the first sample, and speed in rad/s. Between them the speed changes
        smoothly and without overshoot, outside it stays.
    wander : float, optional
        Root mean square of the random deviation, as a fraction of the speed.
    correlation_time : float, optional
        Time in s after which the wander is correlated by exp(-1/2) only.
    power_off : float, optional
        Time in s from which the motor turns without current.

    Raises
    ------
    InputError
        If the profile does not rise in time or a number is impossible.
    """

    profile: tuple[tuple[float, float], ...]
    wander: float = 0.0
    correlation_time: float = 0.5
    power_off: float = math.inf

    def __post_init__(self) -> None:
        times = [time for time, _ in self.profile]
        check(
            "motion",
            (len(self.profile) > 0, "the profile must have a point"),
            (all(math.isfinite(time) for time in times), "the profile's times must be finite"),
            (all(b > a for a, b in pairwise(times)), "the profile's times must rise"),
            (all(0 < speed < math.inf for _, speed in self.profile), "the speed must be above 0"),
            (0 <= self.wander < 0.2, "wander must be a fraction from 0 to 0.2"),
            (0 < self.correlation_time < math.inf, "correlation_time must be above 0"),
            (not math.isnan(self.power_off), "power_off must be a time"),
        )

    @classmethod
    def steady(cls, speed: float, wander: float = 0.0, correlation_time: float = 0.5) -> Motion:
        """Hold one speed (rad/s)."""
        return cls(((0.0, speed),), wander, correlation_time)

    @classmethod
    def ramp(cls, first: float, last: float, start: float, end: float) -> Motion:
        """Hold the speed `first` until the time `start`, then change it to `last` until `end` (rad/s, s)."""
        lead = max(end - start, 1.0)  # two level points on each side keep the ends of the ramp smooth
        return cls(((start - lead, first), (start, first), (end, last), (end + lead, last)))

    @classmethod
    def coast(
        cls, speed: float, *, cut: float, end: float, halving: float = 1.0, wander: float = 0.0
    ) -> Motion:
        """Hold a speed, cut the current, and let the air slow the propeller down.

        A drag that grows with the speed squared makes it w = w0 / (1 + t / T): w' = -w^2 / (w0 T).

        Parameters
        ----------
        speed : float
            In rad/s, until the cut.
        cut, end : float
            Time in s of the cut, and until which the speed falls.
        halving : float, optional
            Time T in s after which half of the speed is left.
        wander : float, optional
            As in the class.

        Returns
        -------
        Motion
            With `power_off` at the cut.

        Raises
        ------
        InputError
            If the end is not after the cut or the halving time not above 0.
        """
        check(
            "coast-down",
            (math.isfinite(cut) and cut < end < math.inf, "the end must be after the cut"),
            (0 < halving < math.inf, "the halving time must be above 0"),
        )
        times = np.linspace(0.0, end - cut, math.ceil((end - cut) / (_COAST_STEP * halving)) + 2)
        falling = [(cut + float(t), speed / (1 + float(t) / halving)) for t in times]
        return cls(((cut - 1.0, speed), *falling), wander, power_off=cut)

    def path(self, start: float, end: float, start_angle: float, rng: np.random.Generator) -> ShaftPath:
        """Draw one run.

        Parameters
        ----------
        start, end : float
            Times in s that the run must cover.
        start_angle : float
            Shaft angle in rad at time 0.
        rng : numpy.random.Generator
            Source of the wander.

        Returns
        -------
        ShaftPath
            The shaft's angle over time.

        Raises
        ------
        InputError
            If the wander is so strong that the shaft would stop.
        """
        knots = self._knots(start, end)
        speed = self._profile_at(knots) * (1 + self._wander_at(knots, rng))
        if np.min(speed) <= 0:
            raise InputError("the simulated shaft would stop", todo="ask for less wander")
        path = ShaftPath.of_speed(CubicSpline(knots, speed), start_angle)
        return replace(path, power_off=self.power_off)

    def _knots(self, start: float, end: float) -> Floats:
        spacing = [(end - start) / _KNOTS]
        if self.wander > 0:
            spacing.append(self.correlation_time / _KNOTS)
        spacing += [float(step) / _KNOTS_RAMP for step in np.diff([time for time, _ in self.profile])]
        return np.linspace(start, end, math.ceil((end - start) / min(spacing)) + 1)

    def _profile_at(self, knots: Floats) -> Floats:
        times, speeds = np.array(self.profile).T
        if times.size == 1:
            return np.full(knots.size, speeds[0])
        inside = np.clip(knots, times[0], times[-1])
        return np.asarray(PchipInterpolator(times, speeds)(inside))

    def _wander_at(self, knots: Floats, rng: np.random.Generator) -> Floats:
        if self.wander == 0:
            return np.zeros(knots.size)
        # white noise through a Gaussian of width T has the autocorrelation exp(-(lag/T)^2 / 2)
        spacing = (knots[1] - knots[0]) / self.correlation_time
        half = math.ceil(_REACH / spacing)
        kernel = np.exp(-((np.arange(-half, half + 1) * spacing) ** 2))
        noise = rng.standard_normal(knots.size + 2 * half)
        return self.wander * np.convolve(noise, kernel / np.linalg.norm(kernel), "valid")

"""Closed-form runs for tests: a shaft whose speed wanders, its marks, and samples of known orders."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.recording.model import Channel, Recording

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class WanderingShaft:
    """A shaft that turns ``frequency * t`` plus a sum of slow sines: position and marks are exact."""

    frequency: float
    depths: tuple[float, ...] = ()
    rates: tuple[float, ...] = ()
    phases: tuple[float, ...] = ()
    ramp: float = 0.0

    @classmethod
    def of(
        cls, rng: np.random.Generator, rpm: float, *, wander: float = 0.005, fastest: float = 2.0
    ) -> WanderingShaft:
        """Let the speed wander by `wander` (rms, of the mean) with periods of 1/`fastest` s and longer."""
        rates = rng.uniform(0.1, fastest, 6)
        speeds = rng.normal(size=6)
        speeds *= wander * rpm / 60 * math.sqrt(2) / np.linalg.norm(speeds)
        depths = speeds / (2 * np.pi * rates)
        return cls(rpm / 60, tuple(depths), tuple(rates), tuple(rng.uniform(0, 2 * np.pi, 6)))

    def turns(self, times: Floats) -> Floats:
        """Position in revolutions."""
        turned = self.frequency * times + self.ramp * times**2 / 2
        for depth, rate, phase in zip(self.depths, self.rates, self.phases, strict=True):
            turned = turned + depth * np.sin(2 * np.pi * rate * times + phase)
        return turned

    def speed(self, times: Floats) -> Floats:
        """Speed in revolutions a second."""
        speed = self.frequency + self.ramp * times
        for depth, rate, phase in zip(self.depths, self.rates, self.phases, strict=True):
            speed = speed + 2 * np.pi * rate * depth * np.cos(2 * np.pi * rate * times + phase)
        return speed

    def marks(self, duration: float, places: Sequence[float] = (0.0,)) -> Floats:
        """Times at which the position is a whole number plus one of `places`, by Newton's method."""
        first, last = self.turns(np.array([0.0, duration]))
        whole = np.arange(math.ceil(first), math.floor(last) + 1)
        wanted = np.sort((whole[:, np.newaxis] + np.array(places)).ravel())
        grid = np.linspace(0, duration, 4096)
        times = np.interp(wanted, self.turns(grid), grid)
        for _ in range(6):
            times = times - (self.turns(times) - wanted) / self.speed(times)
        return np.asarray(times[(times >= 0) & (times <= duration)])


def orders_signal(turns: Floats, vectors: Mapping[int, Complexes]) -> Floats:
    """Sum of A cos(k turns - lag) for V_k = A exp(j lag), shape (channels, n)."""
    total = 0.0
    for order, values in vectors.items():
        turning = np.exp(-2j * np.pi * order * turns)
        total = total + (np.atleast_1d(values)[:, np.newaxis] * turning).real
    return np.asarray(total)


def damaged_marks(
    rng: np.random.Generator, marks: Floats, *, doubled: float = 0.01, missed: float = 0.01
) -> tuple[Floats, int, int]:
    """Add second edges 2 to 10 % of a turn late and leave marks out; give the counts, too.

    The first and the last two marks and the neighbours of a missed one stay, so that the counts are exact.
    """
    inner = np.arange(2, marks.size - 2)
    chosen = rng.permutation(inner[:: 2 + inner[0] % 2])
    gone = chosen[: round(missed * marks.size)]
    twice = chosen[gone.size : gone.size + round(doubled * marks.size)]
    spacing = float(np.median(np.diff(marks)))
    second = marks[twice] + spacing * rng.uniform(0.02, 0.10, twice.size)
    return np.sort(np.concatenate((np.delete(marks, gone), second))), gone.size, twice.size


def recording(
    shaft: WanderingShaft,
    vectors: Mapping[int, Complexes],
    *,
    duration: float = 10.0,
    rate: float = 1600.0,
    noise: Callable[[int, int], Floats] | None = None,
    offset: float = 0.0,
    marks: Floats | None = None,
    times: Floats | None = None,
    pickup: bool = True,
) -> Recording:
    """Make a recording; `noise` gives an array of shape (channels, n). Marks are exact unless given, and
    missing without a pick-up."""
    when = np.arange(round(duration * rate)) / rate if times is None else times
    samples = orders_signal(shaft.turns(when), vectors) + offset
    if noise is not None:
        samples = samples + noise(*samples.shape)
    return Recording(
        times=when,
        samples=samples,
        channels=tuple(Channel(f"c{i}", "m/s^2") for i in range(samples.shape[0])),
        marks=(shaft.marks(duration) if marks is None else marks) if pickup else None,
        source="made for a test",
    )

"""The simulated bench to train on: parts of an invented build, each number another hidden unbalance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

from balancer.core.masses import Mass, total_unbalance
from balancer.core.pieces import Stock
from balancer.core.places import Places
from balancer.errors import InputError
from balancer.procedure.job import Job, Stand
from balancer.procedure.part import Part
from balancer.procedure.story import COASTAL_PLACES
from balancer.recording.model import Recording
from balancer.simulator.bench import Bench
from balancer.simulator.presets import (
    COASTAL_RIM,
    COASTAL_SPEED,
    COASTAL_TIP,
    LARGEST,
    coastal_part,
)

FORM = "balancer simulated part 1"
"""What the first key of the file beside a job on the simulated bench says."""

_SPIN = 8.0  # s
_REST = 4.0  # s
_RUNS = 100  # of one part, before its noise meets that of the next part


@dataclass(frozen=True)
class SimulatedPart:
    """A part on the simulated bench.

    Parameters
    ----------
    kind : {"propeller", "bell"}
        A propeller on its motor, or the bare bell of a motor.
    number : int
        Which of them, 0 to 9999.

    Raises
    ------
    InputError
        If there is no such part.
    """

    kind: Literal["propeller", "bell"] = "propeller"
    number: int = 1

    def __post_init__(self) -> None:
        whole = isinstance(self.number, int) and 0 <= self.number <= LARGEST
        if self.kind not in ("propeller", "bell") or not whole:
            raise InputError(
                f"there is no simulated {self.kind} {self.number}",
                todo=f"choose a propeller or a bell from 0 to {LARGEST}",
            )

    @classmethod
    def of_data(cls, data: dict[str, Any]) -> SimulatedPart:
        """Read one back from what `data` gave."""
        try:
            return cls(**data)
        except TypeError:
            raise InputError("this names no simulated part", todo="begin another job") from None

    @property
    def data(self) -> dict[str, Any]:
        """As plain data for a file."""
        return {"kind": self.kind, "number": self.number}

    @cached_property
    def bench(self) -> Bench:
        """The bench with the part on it, and all that it hides."""
        return coastal_part(self.kind, self.number)

    @property
    def part(self) -> Part:
        """The part, as a person could see it."""
        rotor = self.bench.rotor
        places = COASTAL_PLACES if self.kind == "propeller" else Places.of_bell(COASTAL_RIM)
        return Part(self.kind, rotor.mass, places, name=f"{self.number} (invented)", hand=rotor.hand)

    @property
    def tip(self) -> float | None:
        """Radius of the propeller in m."""
        return COASTAL_TIP if self.kind == "propeller" else None

    def job(self, stock: Stock) -> Job:
        """Begin a job on it."""
        stand = Stand("simulated bench", self.bench.stand.moving_mass)
        return Job(self.part, stock, speed=COASTAL_SPEED, stand=stand, below="unbalanced")

    def at_rest(self) -> Recording:
        """Record the sensor alone, nothing turning."""
        bench = self.bench
        still = replace(bench.rotor, bell=0j, propeller=0j, magnet_pull=0j)
        quiet = replace(bench, rotor=still, air=(), electric=(), turbulence=0.0)
        recording = quiet.record(speed=COASTAL_SPEED, duration=_REST, seed=self._seed(0), powered=False)
        return replace(recording, marks=None)

    def spin(self, job: Job) -> Recording:
        """Record a run with what is on the rotor now; every run has noise of its own."""
        seed = self._seed(len(job.runs) + 1)
        return self.bench.record(speed=COASTAL_SPEED, duration=_SPIN, masses=job.masses, seed=seed)

    @property
    def hidden(self) -> complex:
        """The unbalance that the part really has, in kg m."""
        return self.bench.rotor.unbalance

    def left(self, masses: tuple[Mass, ...]) -> complex:
        """Give the unbalance that really is left with some masses on, in kg m."""
        return self.hidden + total_unbalance(masses)

    def _seed(self, run: int) -> int:
        return self.number * _RUNS + run

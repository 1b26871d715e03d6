"""A balancing job: a part on a stand at a speed, with its runs. Values only; `next_step` reads them.

Every change gives a new `Job`, so a job can be left and taken up again at any point, and nothing that was
measured is ever lost: a run that should not count is set aside with a reason, not removed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from balancer.core.masses import Mass, total_unbalance
from balancer.core.pieces import Piece, Placement, Stock, cutting_error
from balancer.core.runs import Run
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.coefficients import SetUp
from balancer.procedure.part import Part

Below = Literal["balanced", "unbalanced", "accepted"]


@dataclass(frozen=True)
class Stand:
    """The bench fixture of a job.

    Parameters
    ----------
    name : str
        As the person calls it.
    moving_mass : float or None
        All that shakes with the sensor (motor, rotor, holder, sensor) in kg; None when not known.
    """

    name: str = ""
    moving_mass: float | None = None

    def __post_init__(self) -> None:
        if self.moving_mass is not None and not 0 < self.moving_mass < math.inf:
            raise InputError("the moving mass of the stand must be above 0", todo="weigh it or leave it out")


@dataclass(frozen=True)
class Limits:
    """What a piece on the rotor may do at most.

    Parameters
    ----------
    force : float or None
        Centrifugal force of a trial piece in N; None for the usual limit.
    vibration : float or None
        1x amplitude in m/s^2 that no trial may be able to exceed; None for the usual limit.
    """

    force: float | None = None
    vibration: float | None = None

    def __post_init__(self) -> None:
        for name, value in (("force", self.force), ("vibration", self.vibration)):
            if value is not None and not 0 < value < math.inf:
                raise InputError(f"the {name} limit must be above 0", todo="leave it out for the usual one")


@dataclass(frozen=True)
class SensorCheck:
    """The check of stand and sensor at rest.

    Parameters
    ----------
    findings : tuple of Finding
        What `check_still` noticed.
    skipped : bool
        True when the person went on without it.
    """

    findings: tuple[Finding, ...] = ()
    skipped: bool = False

    @property
    def passed(self) -> bool:
        """Whether nothing forbids going on."""
        return self.skipped or all(finding.severity != "error" for finding in self.findings)


@dataclass(frozen=True)
class JobRun:
    """One run of a job.

    Parameters
    ----------
    run : Run
        Readings, speed, purpose and what was fitted.
    source : str
        Name of its recording, or ``typed``.
    findings : tuple of Finding
        What was noticed when it was measured.
    signs : tuple of Finding
        What in it speaks for something else than unbalance.
    set_aside : str
        Why it does not count; empty when it does.
    fit_error : float
        Standard uncertainty in kg m of what the masses that were fitted really make: strips are cut by hand.
    """

    run: Run
    source: str = "typed"
    findings: tuple[Finding, ...] = ()
    signs: tuple[Finding, ...] = ()
    set_aside: str = ""
    fit_error: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.fit_error < math.inf:
            raise InputError("the uncertainty of what was fitted must be 0 or more")

    @property
    def usable(self) -> bool:
        """Whether the measurement itself may be used."""
        return all(finding.severity != "error" for finding in self.findings)


@dataclass(frozen=True)
class Job:
    """A part on a stand at a speed, with its runs.

    Parameters
    ----------
    part : Part
        What is balanced.
    stock : Stock
        The tape, drops or washers at hand.
    speed : float or None
        Speed of the runs in rad/s; None for that of the first run.
    stand : Stand
        The fixture.
    limits : Limits
        What a piece may do at most.
    below : {"balanced", "unbalanced", "accepted"}
        Of a propeller: whether the bare bell below it was balanced first, or the person goes on without.
    acknowledged : bool
        Whether the cautions were acknowledged.
    check : SensorCheck or None
        The check of stand and sensor, None until it was made.
    set_up : SetUp or None
        Stand and sensor as the first recording told them.
    known : tuple of UncertainComplex or None
        Stored influence coefficient of each channel in reading per kg m, if it is trusted to stand in for a
        trial run.
    hint : tuple of UncertainComplex or None
        Likewise, if it is only trusted to size a trial.
    fitted : tuple of Piece
        What is on the rotor now beyond the rotor as found.
    runs : tuple of JobRun
        In the order in which they were made.
    """

    part: Part
    stock: Stock
    speed: float | None = None
    stand: Stand = Stand()
    limits: Limits = Limits()
    below: Below = "balanced"
    acknowledged: bool = False
    check: SensorCheck | None = None
    set_up: SetUp | None = None
    known: tuple[UncertainComplex, ...] | None = None
    hint: tuple[UncertainComplex, ...] | None = None
    fitted: tuple[Piece, ...] = ()
    runs: tuple[JobRun, ...] = ()

    @property
    def masses(self) -> tuple[Mass, ...]:
        """What is on the rotor now, as masses."""
        return tuple(piece.mass for piece in self.fitted)

    @property
    def fit_error(self) -> float:
        """Standard uncertainty in kg m of what is on: strips cut by hand, laid by eye."""
        return cutting_error(Placement(self.fitted, 0j))

    def with_run(self, run: JobRun) -> Job:
        """Add a run.

        Parameters
        ----------
        run : JobRun
            The run.

        Returns
        -------
        Job
            The job with it.

        Raises
        ------
        InputError
            If it does not hold the same channels as the runs before.
        """
        if self.runs and len(run.run.readings) != len(self.runs[0].run.readings):
            raise InputError(
                f"this run has {len(run.run.readings)} channels, the runs before have "
                f"{len(self.runs[0].run.readings)}",
                todo="record every run of a job with the same set-up",
            )
        return replace(self, runs=(*self.runs, run))

    def with_fitted(self, pieces: Sequence[Piece]) -> Job:
        """Say what is on the rotor now."""
        return replace(self, fitted=tuple(pieces))

    def set_aside(self, number: int, reason: str) -> Job:
        """Let a run not count.

        Parameters
        ----------
        number : int
            Of the run, counted from 1.
        reason : str
            Why; not empty.

        Returns
        -------
        Job
            The job, in which the run is kept but not used.

        Raises
        ------
        InputError
            If there is no such run, it is set aside already, or the reason is empty.
        """
        if not reason.strip():
            raise InputError("a run is set aside for a reason", todo="say in a few words why")
        if self._numbered(number).set_aside:
            raise InputError(f"run {number} is set aside already", todo="choose another run")
        return self._with_reason(number, reason.strip())

    def taken_back(self, number: int) -> Job:
        """Let a run count that was set aside.

        Parameters
        ----------
        number : int
            Of the run, counted from 1.

        Returns
        -------
        Job
            The job, in which the run counts again.

        Raises
        ------
        InputError
            If there is no such run, or it counts.
        """
        if not self._numbered(number).set_aside:
            raise InputError(f"run {number} is not set aside", todo="choose another run")
        return self._with_reason(number, "")

    def _numbered(self, number: int) -> JobRun:
        if not 1 <= number <= len(self.runs):
            known = f"there are {len(self.runs)} runs" if self.runs else "there are no runs yet"
            raise InputError(f"there is no run {number}: {known}", todo="look at the list of runs")
        return self.runs[number - 1]

    def _with_reason(self, number: int, reason: str) -> Job:
        changed = replace(self._numbered(number), set_aside=reason)
        return replace(self, runs=(*self.runs[: number - 1], changed, *self.runs[number:]))


def same_masses(one: Sequence[Mass], other: Sequence[Mass]) -> bool:
    """Say whether two sets of masses do the same to the rotor, to a thousandth of the larger."""
    size = max((abs(mass.unbalance) for mass in (*one, *other)), default=0.0)
    return abs(total_unbalance(one) - total_unbalance(other)) <= 1e-3 * size

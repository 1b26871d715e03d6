"""What a report says: a part's card and a machine's sheet as frozen value objects. Values are SI."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from balancer.core.due import Due
from balancer.core.pieces import Piece
from balancer.core.residual import Point
from balancer.core.stopping import Verdict
from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding
from balancer.history.records.event import Event
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import PartRecord
from balancer.procedure.part import Hand

State = Literal["no_runs", "unsolved", "unchecked", "trial_on", "known"]


@dataclass(frozen=True)
class Left:
    """An unbalance as a job found or left it.

    Parameters
    ----------
    verdict : Verdict
        Its size, its 95 % bound and the permissible residual unbalance.
    grade, claim_grade : float
        Balance quality grade in m/s that the size and the bound amount to.
    vector : UncertainComplex
        In kg m; its angle means something only `with_phase`.
    with_phase : bool
        Whether the runs had a phase.
    """

    verdict: Verdict
    grade: float
    claim_grade: float
    vector: UncertainComplex
    with_phase: bool


@dataclass(frozen=True)
class OnceVector:
    """The 1x vector of runs with the same masses on, on the axis that shook most.

    Parameters
    ----------
    purpose : str
        ``as-is``, ``trial``, ``check`` or another purpose of a run.
    runs : tuple of int
        Numbers of the runs of which it is the mean.
    value : UncertainComplex
        In the unit of the readings, at the speed of the job.
    """

    purpose: str
    runs: tuple[int, ...]
    value: UncertainComplex


@dataclass(frozen=True)
class Polar:
    """What the polar picture of a job shows.

    Parameters
    ----------
    channel, unit : str
        Of the readings; empty where not known.
    vectors : tuple of OnceVector
        As found first.
    permissible : float or None
        1x amplitude of the permissible residual unbalance.
    """

    channel: str
    unit: str
    vectors: tuple[OnceVector, ...]
    permissible: float | None


@dataclass(frozen=True)
class Outcome:
    """What a job amounted to.

    Parameters
    ----------
    id : str
        Of the job.
    when : datetime
        Of its last run, or of its start where there is none.
    stand : str
        Name of the stand; empty if not said.
    state : {"no_runs", "unsolved", "unchecked", "trial_on", "known"}
        Whether it is known what was left: no run counts, the runs do not suffice, no run was made with what
        was on at the end, that was a trial piece that is not good enough, or it is known.
    problem : str
        Why runs that should suffice cannot be solved; else empty.
    stored : bool
        Whether a stored influence coefficient of the stand told it.
    hand : {"ccw", "cw"}
        How the part turned.
    mass, grade : float
        Rotor mass in kg and grade asked for in m/s, as the job took them.
    speed, permissible : float or None
        In rad/s, and permissible residual unbalance in kg m at that speed.
    found, left : Left or None
        Before and after; the same where nothing was put on.
    pieces : tuple of Piece
        What was put on in this job and was on at its end.
    polar : Polar or None
        None without phase.
    runs, set_aside : int
        How many runs there are, and how many of them do not count.
    findings : tuple of Finding
        What makes the answer less sure.
    """

    id: str
    when: datetime
    stand: str
    state: State
    problem: str
    stored: bool
    hand: Hand
    mass: float
    grade: float
    speed: float | None
    permissible: float | None
    found: Left | None
    left: Left | None
    pieces: tuple[Piece, ...]
    polar: Polar | None
    runs: int
    set_aside: int
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Determination:
    """A point of a part's trend.

    Parameters
    ----------
    left : bool
        Whether it is what a job left; else what it found.
    point : Point
        Date, stand, size and bounds in kg m.
    """

    left: bool
    point: Point


@dataclass(frozen=True)
class TrendData:
    """A part's unbalance over time, like with like.

    Parameters
    ----------
    points : tuple of Determination
        By date.
    lines : tuple of (float, float)
        Grades in m/s with the unbalance in kg m that each allows.
    asked, mass, speed : float
        The grade asked for in m/s, rotor mass in kg and speed in rad/s for which the lines hold: those of the
        latest job.
    findings : tuple of Finding
        What to say about it.
    """

    points: tuple[Determination, ...]
    lines: tuple[tuple[float, float], ...]
    asked: float
    mass: float
    speed: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class PartCard:
    """All that a part's card says.

    Parameters
    ----------
    part : PartRecord
        The part, with what is on it now.
    machine : str
        Name of the machine that it is fitted to; empty for none.
    arm : Arm or None
        Its arm.
    hand : {"ccw", "cw"} or None
        How it turns: its own hand, that of its latest job, or that of its arm; None when not known.
    events : tuple of Event
        The latest first.
    outcomes : tuple of Outcome
        Its jobs, the latest first.
    earlier_jobs : int
        How many older jobs are not among `outcomes`.
    loose_runs : int
        How many runs there are outside any job.
    due : Due
        Whether it is to be checked.
    trend : TrendData or None
        None while nothing is known in g mm.
    made : datetime
        When the report was made, in the time zone of all its dates.
    """

    part: PartRecord
    machine: str
    arm: Arm | None
    hand: Hand | None
    events: tuple[Event, ...]
    outcomes: tuple[Outcome, ...]
    earlier_jobs: int
    loose_runs: int
    due: Due
    trend: TrendData | None
    made: datetime

    @property
    def latest(self) -> Outcome | None:
        """The latest job of which it is known what it left."""
        return next((one for one in self.outcomes if one.left is not None), None)

    @property
    def balanced(self) -> datetime | None:
        """When it was last balanced, as its events say."""
        return next((event.at for event in self.events if event.kind == "balanced"), None)

    @property
    def wrong_hand(self) -> bool:
        """Whether a propeller is said to be on an arm that turns the other way."""
        own = self.part.kind == "propeller" and self.arm is not None
        return own and self.arm is not None and self.hand != self.arm.hand


@dataclass(frozen=True)
class ArmSheet:
    """An arm with the cards of what is on it: bell, adapter, propeller."""

    arm: Arm
    cards: tuple[PartCard, ...]


@dataclass(frozen=True)
class MachineSheet:
    """All that a machine's sheet says.

    Parameters
    ----------
    machine : Machine
        The machine.
    arms : tuple of ArmSheet
        In the order of their numbers.
    made : datetime
        When the report was made, in the time zone of all its dates.
    """

    machine: Machine
    arms: tuple[ArmSheet, ...]
    made: datetime

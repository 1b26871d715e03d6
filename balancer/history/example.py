"""An example history: a year in the life of an invented six-arm coastal-survey craft, two crashes included.

Nothing in it was measured on a real bench: every run is a recording of the simulated one, measured and solved
as any other, by a hand that follows `next_step`. The build, its dates and its mishaps are made up.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial

import numpy as np

from balancer.core.masses import Mass
from balancer.core.pieces import CUT, LAID, Piece, Stock
from balancer.core.places import Places, Ring
from balancer.core.tape import usual_tape
from balancer.errors import OperationError
from balancer.history.events import add_event
from balancer.history.jobs import Taken
from balancer.history.keeping import keep_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part, find_part, move_part
from balancer.history.records.event import Event, EventKind
from balancer.history.records.kept import new_id
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import RETIRED, BellSizes, Location, PartRecord, PropellerSizes
from balancer.history.records.stand import StandRecord
from balancer.history.removal import files_in_rows
from balancer.history.runs import keep_recording
from balancer.history.stands import add_stand, averages_of
from balancer.history.store import Store
from balancer.procedure import job as bench_job
from balancer.procedure.blind import follow
from balancer.procedure.job import Job
from balancer.procedure.job_runs import with_recording
from balancer.procedure.part import Hand
from balancer.recording.files import read_bytes
from balancer.recording.stream_writer import make_stream_packets
from balancer.simulator.bench import Bench
from balancer.simulator.presets import (
    COASTAL_RIM,
    COASTAL_SPEED,
    COASTAL_TIP,
    coastal_bell,
    coastal_propeller,
)
from balancer.units import kgm_from_gmm

MACHINE = "Sandpiper (example)"
STAND = "bench (example)"
DAYS = 365
"""How long the story goes on."""

_ARMS = 6
_BELL_MASS, _INVENTED = 0.025, "invented, for the example"
_BLADE = Places.of_propeller(2, 0.040, 0.080, usual=0.060, ring=Ring("hub", 0.014))
_RIM = Places.of_bell(COASTAL_RIM)
SECONDS = 4.0
"""Length of each recording."""

_CAREFUL = 0.5  # of the usual errors of cutting and laying tape


@dataclass
class _Year:
    """The craft as it truly is, which nobody at the bench knows, and its history."""

    store: Store
    start: datetime
    rng: np.random.Generator
    progress: Callable[[str], None]
    machine: str
    stand: str
    truth: dict[str, complex] = field(default_factory=dict)
    missed: dict[tuple[str, complex], complex] = field(default_factory=dict)
    spun: int = 0
    seconds: float = SECONDS

    def at(self, day: int, hour: float = 10.0) -> datetime:
        return self.start + timedelta(days=day, hours=hour)

    def part(self, label: str) -> PartRecord:
        found = find_part(self.store, label)
        assert found is not None
        return found

    def happens(self, day: int, label: str, kind: EventKind, words: str) -> None:
        when = self.at(day, 9.0)
        part = self.part(label)
        add_event(self.store, Event(id=new_id(), edited=when, part=part.id, kind=kind, at=when, words=words))

    def moves(self, day: int, label: str, where: Location, words: str) -> None:
        move_part(self.store, self.part(label), where, self.at(day, 9.5), words)

    def bend(self, label: str, gmm: float) -> None:
        """Change a part by so many g mm in some direction."""
        self.truth[label] += _vector(self.rng, gmm, gmm)

    def now(self, part: PartRecord) -> complex:
        """Give the true unbalance of a part with what is on it."""
        return self.truth[part.label] + sum((piece.unbalance + self.off(piece) for piece in part.pieces), 0j)

    def off(self, piece: Piece) -> complex:
        """Give by how much a piece misses what was meant: cut and laid once, by hand."""
        meant = piece.unbalance
        key = (piece.where, complex(round(meant.real, 10), round(meant.imag, 10)))
        if key not in self.missed:
            length, angle, along = _CAREFUL * self.rng.standard_normal(3)
            share = 0.0 if piece.strip is None else CUT / piece.strip.length * length
            share += CUT / piece.radius * along if piece.along_blade else 0.0
            turn = 0.0 if piece.along_blade else LAID * angle
            self.missed[key] = meant * ((1 + share) * cmath.exp(1j * turn) - 1)
        return self.missed[key]

    def balance(self, day: int, label: str, bell: str = "", *, measure_only: bool = False) -> None:
        """Follow a job to its end, or make its first run only, and keep it."""
        self.progress(f"day {day}: {label} on the stand")
        part = self.part(label)
        below = self.part(bell) if bell else None
        taken: list[Taken] = []
        bench = self._bench(part, below)
        spin = partial(self._spin, bench, day, taken)
        stored = averages_of(self.store, self.stand)
        job = self._job(part, below, bench.stand.moving_mass)
        if measure_only:
            job = spin(replace(job, acknowledged=True), "as-is")
        else:
            job, _ = follow(job, spin, stored=stored, today=self.at(day).date())
        keep_job(self.store, part, job, taken, self.at(day, 10.0 + 0.2 * len(taken)), bell=below)

    def _job(self, part: PartRecord, below: PartRecord | None, moving_mass: float) -> Job:
        on_bench = part.on_bench(self._hand(part))
        if below is not None:
            on_bench = replace(on_bench, mass=on_bench.mass + _BELL_MASS)
        stand = bench_job.Stand(STAND, moving_mass)
        stock = Stock(usual_tape("aluminium", 0.010 if below else 0.005))
        return Job(on_bench, stock, speed=COASTAL_SPEED, stand=stand)

    def _hand(self, part: PartRecord) -> Hand:
        if isinstance(part.sizes, PropellerSizes):
            return part.sizes.hand
        return _hand_of(int(part.label[1:]))

    def _bench(self, part: PartRecord, below: PartRecord | None) -> Bench:
        hand = self._hand(part)
        if below is None:
            bench = coastal_bell(1)
            return replace(bench, rotor=replace(bench.rotor, bell=self.now(part), hand=hand))
        bench = coastal_propeller(1)
        assert part.mass is not None
        rotor = replace(
            bench.rotor,
            bell=self.now(below),
            propeller=self.now(part),
            propeller_mass=part.mass,
            hand=hand,
        )
        return replace(bench, rotor=rotor)

    def _spin(self, bench: Bench, day: int, taken: list[Taken], job: Job, purpose: str) -> Job:
        self.spun += 1
        # hands on a throttle do not meet the same speed twice
        speed = COASTAL_SPEED * (1 + 0.002 * float(self.rng.standard_normal()))
        missed = sum((self.off(piece) for piece in job.fitted), 0j)
        masses = (*job.masses, Mass(abs(missed), 1.0, cmath.phase(missed)))
        made = bench.record(speed=speed, duration=self.seconds, seed=self.spun, masses=masses)
        content = make_stream_packets(made)
        name = f"{job.part.name}-day-{day}-run-{len(job.runs) + 1}.stream"
        recording = read_bytes(content, name)
        grown, _ = with_recording(job, purpose, recording, name)
        kept = keep_recording(self.store, content, recording, name=name, near=job.speed)
        taken.append(Taken(self.at(day, 10.0 + 0.2 * len(taken)), recording.channels, kept))
        return grown


def fill_example(
    store: Store,
    today: date,
    *,
    seed: int = 1,
    seconds: float = SECONDS,
    progress: Callable[[str], None] = lambda _: None,
) -> dict[str, complex]:
    """Fill an empty history with the example.

    Parameters
    ----------
    store : Store
        The history.
    today : datetime.date
        The last day of the story.
    seed : int
        Chooses the parts and the noise: the same gives the same, but for the ids.
    seconds : float
        Length of each recording.
    progress : callable, optional
        Is told what happens next.

    Returns
    -------
    dict
        By label: the unbalance in kg m that each part in use truly has at the end, with what is on it.

    Raises
    ------
    OperationError
        If something is in the history already.
    """
    check_empty(store)
    start = datetime.combine(today - timedelta(days=DAYS), time(0), UTC)
    year = _begin(store, start, seed, progress)
    year.seconds = seconds
    _first_weeks(year)
    _first_crash(year)
    _half_year(year)
    _second_crash(year)
    for number in (1, 2):
        year.balance(350, f"P{number}", f"M{number}")
    return {label: year.now(part) for label in year.truth if (part := find_part(store, label))}


def check_empty(store: Store) -> None:
    """Refuse a history with something in it: an example belongs beside nothing that was measured."""
    tables = ("machines", "stands", "parts", "jobs", "runs", "events")
    if any(store.row(f"SELECT 1 FROM {table}") for table in tables) or files_in_rows(store):
        raise OperationError(
            "there is something in this history already, and an example does not belong beside it",
            todo="name a new folder",
            file=store.home,
        )


def _hand_of(number: int) -> Hand:
    return "ccw" if number % 2 else "cw"


def _vector(rng: np.random.Generator, least: float, most: float) -> complex:
    return kgm_from_gmm(rng.uniform(least, most)) * cmath.exp(1j * rng.uniform(0, math.tau))


def _begin(store: Store, start: datetime, seed: int, progress: Callable[[str], None]) -> _Year:
    """Put machine, stand and parts into the history."""
    arms = tuple(Arm(number, _hand_of(number)) for number in range(1, _ARMS + 1))
    machine = Machine(
        id=new_id(), edited=start, name=MACHINE, arms=arms, words=f"coastal survey, 12-inch; {_INVENTED}"
    )
    stand = StandRecord(
        id=new_id(),
        edited=start,
        name=STAND,
        place="under the motor, y up",
        moving_mass=coastal_propeller(1).stand.moving_mass,
        words=_INVENTED,
    )
    year = _Year(store, start, np.random.default_rng([seed, 12]), progress, machine.id, stand.id)
    with store.transaction():
        add_machine(store, machine)
        add_stand(store, stand)
        for part in (*_bells(year), *_propellers(year)):
            add_part(store, part)
            year.happens(0, part.label, "made", "")
    return year


def _bells(year: _Year) -> Iterable[PartRecord]:
    for number in range(1, _ARMS + 1):
        label = f"M{number}"
        year.truth[label] = _vector(year.rng, 0.6, 1.6)
        yield PartRecord(
            id=new_id(),
            edited=year.start,
            label=label,
            kind="bell",
            mass=_BELL_MASS,
            sizes=BellSizes(COASTAL_RIM, "28 mm stator", 14),
            words=_INVENTED,
            where=Location("fitted", year.machine, number),
            places=_RIM,
        )


def _propellers(year: _Year) -> Iterable[PartRecord]:
    # P7 and P9 turn as arms 3 and 5 do, P8 as arm 2
    for number in range(1, _ARMS + 4):
        label = f"P{number}"
        year.truth[label] = _vector(year.rng, 0.9, 2.4)
        yield PartRecord(
            id=new_id(),
            edited=year.start,
            label=label,
            kind="propeller",
            mass=round(year.rng.uniform(0.0150, 0.0170), 4),
            sizes=PropellerSizes(2 * COASTAL_TIP, 2, _hand_of(number), 0.1143, "glass-filled nylon"),
            words=_INVENTED,
            where=Location("fitted", year.machine, number) if number <= _ARMS else Location(),
            places=_BLADE,
        )


def _first_weeks(year: _Year) -> None:
    for number in range(1, _ARMS + 1):
        year.balance(number, f"M{number}")
    for number in range(1, _ARMS + 1):
        year.balance(6 + number, f"P{number}", f"M{number}")
    for number, bell in ((7, 1), (8, 2), (9, 3)):
        year.balance(14, f"P{number}", f"M{bell}", measure_only=True)


def _first_crash(year: _Year) -> None:
    """Let a gust throw arm 3 against a post: its propeller breaks, its bell gets a knock."""
    year.happens(121, "P3", "crashed", "gust at the cliff: a blade broke on a fence post")
    year.happens(121, "M3", "crashed", "same gust; the bell took a knock")
    year.bend("M3", 0.7)
    year.moves(121, "P3", RETIRED, "broken, thrown away")
    year.moves(123, "P7", year.part("M3").where, "in place of P3")
    year.balance(123, "M3")
    year.balance(124, "P7", "M3")


def _half_year(year: _Year) -> None:
    year.bend("P5", 0.12)
    for number, label in ((1, "P1"), (2, "P2"), (3, "P7"), (4, "P4"), (5, "P5"), (6, "P6")):
        year.balance(181, label, f"M{number}")


def _second_crash(year: _Year) -> None:
    """Let it tip over on landing: the propeller of arm 5 breaks, that of arm 6 scrapes the ground."""
    year.happens(262, "P5", "crashed", "tipped over on landing; a tip broke off")
    year.happens(262, "P6", "crashed", "tipped over on landing; scraped along the ground")
    year.happens(262, "M5", "crashed", "tipped over on landing")
    year.bend("P6", 0.9)
    year.moves(262, "P5", RETIRED, "a tip is missing")
    year.moves(264, "P9", year.part("M5").where, "in place of P5")
    year.balance(264, "M5")
    year.balance(264, "P9", "M5")
    year.balance(265, "P6", "M6")
    year.happens(340, "P4", "crashed", "touched a branch; not looked at yet")

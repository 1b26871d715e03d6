"""Records of an invented six-arm coastal-survey craft with 12-inch propellers."""

import uuid
from datetime import UTC, datetime, timedelta

from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Places, Ring
from balancer.core.runs import Run
from balancer.core.tape import usual_tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.findings import Finding
from balancer.history.records.event import Event
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import BellSizes, PartRecord, PropellerSizes
from balancer.history.records.run import JobRecord, RunRecord
from balancer.history.records.stand import StandRecord
from balancer.procedure.job import Job, JobRun, Stand
from balancer.recording.model import Channel

START = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
CHANNELS = (Channel("x", "m/s^2"), Channel("y", "m/s^2"))
PLACES = Places.of_propeller(2, 0.04, 0.14, sanded_from=0.11, ring=Ring("hub", 0.012))
BELL_PLACES = Places.of_bell(0.016)


def later(**much):
    return START + timedelta(**much)


def ident(*seed):
    """The same id for the same seed, so that tests can be repeated."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, repr(seed)))


def machine(name="Tern", **more):
    arms = tuple(Arm(number, "ccw" if number % 2 else "cw") for number in range(1, 7))
    return Machine(**dict(id=ident("machine", name), edited=START, name=name, arms=arms) | more)


def part(label="P1", **more):
    sizes = PropellerSizes(0.3048, 2, "ccw", 0.1143, "carbon")
    given = dict(
        id=ident("part", label), edited=START, label=label, kind="propeller", mass=0.016, sizes=sizes
    )
    return PartRecord(**given | dict(places=PLACES, words="from the first bag") | more)


def bell(label="M1", **more):
    given = dict(id=ident("part", label), edited=START, label=label, kind="bell", mass=0.045)
    return PartRecord(**given | dict(sizes=BellSizes(0.016, "2814", 14), places=BELL_PLACES) | more)


def stand(name="bench", **more):
    given = dict(id=ident("stand", name), edited=START, name=name, place="under the motor", moving_mass=0.42)
    return StandRecord(**given | more)


def job(of, on=None, seed=1, **more):
    frame = Job(of.on_bench(), Stock(usual_tape("polyimide", 0.005)), speed=544.5, stand=Stand("bench", 0.42))
    given = dict(id=ident("job", of.label, seed), edited=START, part=of.id, started=START, frame=frame)
    return JobRecord(**given | dict(stand=None if on is None else on.id) | more)


def item(value=1.5 + 0.5j, masses=(), purpose="as-is", **more):
    readings = tuple(UncertainComplex(value * turn, Covariance(4e-4, 3e-4, 1e-4)) for turn in (1, 0.4 - 0.2j))
    noticed = (Finding.of("few_revolutions", "warning", revolutions=41.5),)
    return JobRun(Run(readings, tuple(masses), purpose, 544.5), **dict(findings=noticed) | more)


def run(of, seed=1, **more):
    given = dict(id=ident("run", of.label, seed), edited=START, part=of.id, at=START, item=item())
    return RunRecord(**given | dict(channels=CHANNELS, software="0.1.0") | more)


def event(of, kind, at=START, seed=1, **more):
    given = dict(id=ident("event", of.label, kind, seed, at), edited=START, part=of.id, kind=kind, at=at)
    return Event(**given | more)


def tape_piece():
    return Piece.of_mass(Mass(12e-6, 0.1, 1.2), "blade 1")

"""Parts with a story: jobs followed on simulated benches and kept in a store, in an invented scenario."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache

from balancer.core.pieces import Piece
from balancer.core.places import Places, Ring
from balancer.history.events import add_event
from balancer.history.jobs import Taken, add_job, get_job, save_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part, get_part, put_pieces
from balancer.history.records.part import Location
from balancer.history.records.run import JobRecord
from balancer.history.stands import add_stand
from balancer.procedure.job import Job, Stand
from balancer.procedure.part import Part
from balancer.recording.model import Channel
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell, coastal_propeller
from tests.history import makers
from tests.procedure.hand import Hand, job_for

AXES = tuple(Channel(name, "m/s^2") for name in "xyz")
BENCH = makers.stand("kitchen table")
PLACES = Places.of_propeller(2, 0.04, 0.14, ring=Ring("bell rim", 0.018))
NOW = makers.later(days=300)


@cache
def propeller_job(part, seed, *, with_phase=True, grade=6.3e-3):
    """Follow `next_step` on the simulated bench to the end; gives the job."""
    bench = coastal_propeller(seed)
    job = job_for(bench, COASTAL_SPEED, grade=grade)
    on_bench = Part("propeller", part.mass, part.places, part.label, bench.rotor.hand, grade)
    job = replace(job, part=on_bench, stand=Stand("", 0.26))
    return Hand(bench, COASTAL_SPEED, seed, with_phase=with_phase).follow(job)[0]


@cache
def bell_job(part, seed):
    bench = coastal_bell(seed)
    job = job_for(bench, COASTAL_SPEED)
    on_bench = Part("bell", part.mass, part.places, part.label, bench.rotor.hand)
    return Hand(bench, COASTAL_SPEED, seed).follow(replace(job, part=on_bench))[0]


def keep(store, part, job: Job, days, seed=1, stand=BENCH, record_pieces=True):
    """Keep a job that was followed, with the event, and what it left on the part."""
    start = makers.later(days=days)
    record = JobRecord(
        id=makers.ident("job", part.label, seed),
        edited=start,
        part=part.id,
        started=start,
        frame=replace(job, runs=()),
        stand=None if stand is None else stand.id,
    )
    add_job(store, record)
    taken = [Taken(start + timedelta(minutes=5 * n), AXES) for n in range(len(job.runs))]
    save_job(store, get_job(store, record.id), job, start + timedelta(hours=1), taken)
    if record_pieces:
        now = get_part(store, part.id)
        put_pieces(store, now, (*now.pieces, *job.fitted), start + timedelta(hours=1))
    kind = "balanced" if job.fitted else "checked"
    add_event(store, makers.event(part, kind, start, seed, job=record.id, words="Dünner Streifen genügte."))
    return record


def propeller(label, arm=None, machine=None, seed=1, **more):
    hand = coastal_propeller(seed).rotor.hand
    sizes = replace(makers.part().sizes, hand=hand)
    where = Location("fitted", machine.id, arm) if machine else Location()
    return makers.part(label, **dict(sizes=sizes, where=where, words="", places=PLACES, mass=0.041) | more)


def bell(label, arm=None, machine=None, **more):
    where = Location("fitted", machine.id, arm) if machine else Location()
    return makers.bell(label, where=where, mass=0.025, **more)


def build(store):
    """Keep a six-arm craft: arm 1 balanced twice with a crash between, arm 2 once, 3 never, others bare."""
    tern = makers.machine(words="Coastal survey craft, invented.")
    add_stand(store, BENCH)
    add_stand(store, makers.stand("garage", place='on the "beam" <left>'))
    add_machine(store, tern)
    first, second = propeller("P1", 1, tern, seed=4, grade=2.5e-3), propeller("P2", 2, tern, seed=6)
    for part in (first, second, propeller("P3", 3, tern, seed=4)):
        add_part(store, part)
    motors = [bell(f"M{n}", n, tern) for n in (1, 2)]
    for part in motors:
        add_part(store, part)
    keep(store, motors[0], bell_job(motors[0], 2), 1)
    keep(store, motors[1], bell_job(motors[1], 3), 2)
    keep(store, first, propeller_job(first, 4, grade=2.5e-3), 3)
    add_event(store, makers.event(first, "crashed", makers.later(days=120), words="Into the <dunes> & sand."))
    add_event(store, makers.event(first, "repaired", makers.later(days=121), words="cleaned"))
    again = propeller_job(first, 8, grade=2.5e-3)
    keep(store, first, again, 124, seed=2, stand=makers.stand("garage"))
    keep(store, second, propeller_job(second, 6), 5)
    add_event(store, makers.event(second, "crashed", makers.later(days=250)))
    return tern


def without_phase(store, label="P9"):
    part = propeller(label, seed=4)
    add_part(store, part)
    keep(store, part, propeller_job(part, 4, with_phase=False), 3, stand=None)
    return part


HOSTILE = (
    "<b>&\"'x",
    "מדחף 7",
    "🚁🛠️ \u202eabc",
    "=cmd|' /C'",
    "@SUM(A1)",
    "W" * 12,
)
"""Labels that somebody might write; the last as wide as any can be."""

WORDS = "<script>alert(1)</script>\n\"quoted\" & 'single' – שלום עולם – 🪁\n" + "long" * 60

MACHINE = 'מכונת <b>"Tern"</b> 🚁 & Söhne ' + "x" * 20


def hostile(store):
    """Keep a machine whose every name tries to be something else; the first two parts were balanced."""
    machine = makers.machine(MACHINE, words=WORDS)
    add_machine(store, machine)
    stand = makers.stand('עמדה <i>"1"</i>')
    add_stand(store, stand)
    for n, (label, seed) in enumerate(zip(HOSTILE, (4, 6, 8, 7, 4, 6), strict=True)):
        hand = coastal_propeller(seed).rotor.hand
        sizes = replace(makers.part().sizes, hand=hand, material=WORDS[:60])
        arm = dict(arm=n + 1, machine=machine) if n < 4 else {}
        part = propeller(label, **arm, words=WORDS, sizes=sizes)
        add_part(store, part)
        if n < 2:
            keep(store, part, propeller_job(part, seed), 2, stand=stand, record_pieces=n == 0)
            add_event(store, makers.event(part, "crashed", makers.later(days=200), words=WORDS))


def pieces_of(item):
    """What was on in a run, as pieces."""
    return tuple(Piece.of_mass(mass, "blade 1") for mass in item.run.masses)

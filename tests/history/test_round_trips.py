"""Every record comes back from its row and from plain data as it was, to the rounding of its units."""

import json
import math
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.core.masses import Mass
from balancer.core.pieces import Piece
from balancer.core.places import Places, Ring, Slot, Spots
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import Strip, Tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.findings import Finding
from balancer.history.events import add_event
from balancer.history.jobs import add_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part
from balancer.history.records.event import Event
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import BellSizes, Location, PartRecord, PropellerSizes
from balancer.history.records.run import JobRecord, RecordingRef, RunRecord
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.run_rows import insert_run, run_values
from balancer.history.stands import add_coefficient, add_stand
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS, EVENTS, JOBS, MACHINES, PARTS, RUNS, STANDS
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from balancer.procedure.job import JobRun, SensorCheck
from balancer.recording.hints import Hints
from balancer.recording.model import Channel
from tests.history import makers

IDS = st.uuids(version=4).map(str)
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
TIMES = st.datetimes(datetime(1990, 1, 1), datetime(2200, 1, 1), timezones=st.one_of(st.just(UTC), ZONES))
DIGESTS = st.binary(min_size=32, max_size=32).map(bytes.hex)
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=30)
NAMES = WORDS.map(str.strip).filter(bool)
SIZES = st.floats(1e-6, 1e3)
NUMBERS = st.floats(-1e6, 1e6)
ANGLES = st.floats(-7, 7)
HANDS = st.sampled_from(["ccw", "cw"])
MASSES = st.builds(Mass, st.floats(-1e-2, 1e-2), SIZES, ANGLES)
TAPES = st.builds(Tape, WORDS, SIZES, SIZES, st.booleans())
STRIPS = st.builds(Strip, TAPES, SIZES, st.integers(1, 6))
PIECES = st.builds(
    Piece,
    WORDS,
    st.sampled_from(["tape", "drop", "washer", "removed", "mass"]),
    SIZES,
    SIZES,
    ANGLES,
    st.none() | STRIPS,
    st.booleans(),
    st.integers(1, 2),
)
FINDINGS = st.builds(
    Finding.of,
    st.just("few_revolutions"),
    st.sampled_from(["info", "warning", "error"]),
    revolutions=st.floats(allow_nan=False, allow_infinity=False),
    count=st.integers(-(10**15), 10**15),
    text=WORDS,
)
UNITS = st.sampled_from(["m/s^2", "mm/s"])
KEPT = dict(id=IDS, edited=TIMES, removed=st.none() | TIMES)


@st.composite
def covariances(draw):
    re, im, share = draw(st.floats(0, 1e3)), draw(st.floats(0, 1e3)), draw(st.floats(-1, 1))
    return Covariance(re, im, share * math.sqrt(re) * math.sqrt(im))


VECTORS = st.builds(UncertainComplex, st.builds(complex, NUMBERS, NUMBERS), covariances())
AMPLITUDES = st.builds(Amplitude, st.floats(0, 1e6), st.floats(0, 1e6))
RINGS = st.builds(
    Ring,
    WORDS,
    SIZES,
    st.lists(st.builds(Slot, ANGLES, st.floats(0, math.tau)), max_size=3).map(tuple),
    st.booleans(),
)
SPOTS = st.builds(Spots, WORDS, SIZES, st.lists(ANGLES, min_size=1, max_size=4).map(tuple), st.booleans())


@st.composite
def propeller_places(draw, blades):
    inner, wide, usual = draw(st.floats(0.005, 0.1)), draw(st.floats(1.01, 5)), draw(st.floats(0, 1))
    outer = inner * wide
    middle = draw(st.sampled_from([None, inner, outer, inner + usual * (outer - inner)]))
    return Places.of_propeller(
        blades,
        inner,
        outer,
        usual=None if middle is None else min(max(middle, inner), outer),
        first=draw(ANGLES),
        sanded_from=draw(st.sampled_from([None, 0.8 * outer])),
        ring=draw(st.none() | RINGS),
    )


def places_now(kind="propeller"):
    turns = st.none() | st.floats(0, math.tau) if kind == "propeller" else st.none()
    on_arm = st.builds(Location, st.just("fitted"), st.just(makers.machine().id), st.integers(1, 99), turns)
    return st.sampled_from([Location(), Location("retired")]) | on_arm


@st.composite
def parts(draw):
    blades = draw(st.integers(2, 6))
    propeller = st.builds(PropellerSizes, SIZES, st.just(blades), HANDS, st.none() | SIZES, WORDS)
    bell = st.builds(BellSizes, st.none() | SIZES, WORDS, st.none() | st.integers(2, 60))
    places = {
        "propeller": propeller_places(blades),
        "bell": st.builds(Places, rings=st.lists(RINGS, min_size=1, max_size=2).map(tuple)),
        "adapter": st.builds(Places, spots=st.lists(SPOTS, min_size=1, max_size=2).map(tuple)),
    }
    kind = draw(st.sampled_from(["propeller", "bell", "adapter"]))
    return draw(
        st.builds(
            PartRecord,
            **KEPT,
            label=NAMES.map(lambda name: name[:12].strip()).filter(bool),
            kind=st.just(kind),
            mass=st.none() | SIZES,
            sizes={"propeller": propeller, "bell": bell, "adapter": st.none()}[kind],
            words=WORDS,
            where=places_now(kind),
            places=st.none() | places[kind],
            pieces=st.lists(PIECES, max_size=3).map(tuple),
            grade=st.floats(1e-4, 1),
        )
    )


@st.composite
def runs(draw):
    readings = draw(st.lists(VECTORS, min_size=1, max_size=4) | st.lists(AMPLITUDES, min_size=1, max_size=4))
    run = Run(
        tuple(readings),
        tuple(draw(st.lists(MASSES, max_size=3))),
        draw(st.sampled_from(["", "as-is", "trial", "check"])),
        draw(st.none() | st.floats(1, 2000)),
    )
    noticed = st.lists(FINDINGS, max_size=2).map(tuple)
    hints = Hints(time_unit="ms", stamps="arrival", rate=draw(SIZES), mark_channel=draw(st.integers(0, 4)))
    ref = st.builds(
        RecordingRef, DIGESTS, WORDS, DIGESTS, st.just(hints), st.just("") | DIGESTS, WORDS, st.none() | SIZES
    )
    return RunRecord(
        id=draw(IDS),
        edited=draw(TIMES),
        removed=draw(st.none() | TIMES),
        part=makers.part().id,
        at=draw(TIMES),
        item=JobRun(run, draw(WORDS), draw(noticed), draw(noticed), draw(WORDS)),
        channels=tuple(
            Channel(f"x{k}", draw(st.sampled_from(["m/s^2", "mm/s"]))) for k in range(len(readings))
        ),
        recording=draw(st.none() | ref),
        software=draw(WORDS),
    )


@st.composite
def set_ups(draw, name):
    return SetUp(
        stand=name,
        channels=("x", "y"),
        sensor=draw(WORDS),
        rate=draw(st.none() | SIZES),
        lowpass=draw(st.none() | SIZES),
        hand=draw(HANDS),
        moving_mass=draw(st.none() | SIZES),
    )


@st.composite
def stands(draw):
    name = draw(NAMES)
    return StandRecord(
        id=draw(IDS),
        edited=draw(TIMES),
        removed=draw(st.none() | TIMES),
        name=name,
        place=draw(WORDS),
        moving_mass=draw(st.none() | SIZES),
        set_up=draw(st.none() | set_ups(name)),
        words=draw(WORDS),
    )


@st.composite
def coefficients(draw):
    found = StoredCoefficient(
        draw(set_ups("bench")),
        draw(st.floats(1, 2000)),
        tuple(replace(draw(VECTORS), value=complex(1, draw(NUMBERS))) for _ in range(2)),
        draw(st.none() | st.dates(date(1990, 1, 1), date(2200, 1, 1))),
        draw(st.integers(1, 50)),
        draw(st.booleans()),
        draw(st.integers(1, 9)),
        draw(st.none() | st.floats(0, 2)),
    )
    return CoefficientRecord(id=draw(IDS), edited=draw(TIMES), stand=makers.stand().id, coefficient=found)


MACHINE_RECORDS = st.builds(
    Machine,
    **KEPT,
    name=NAMES,
    arms=st.lists(HANDS, min_size=1, max_size=8).map(
        lambda hands: tuple(Arm(number, hand) for number, hand in enumerate(hands, 1))
    ),
    words=WORDS,
)
EVENT_RECORDS = st.builds(
    Event,
    **KEPT,
    part=st.just(makers.part().id),
    kind=st.sampled_from(["made", "balanced", "checked", "crashed", "repaired", "moved", "retired"]),
    at=TIMES,
    words=WORDS,
    where=st.none() | places_now(),
)


@st.composite
def jobs(draw):
    frame = replace(
        makers.job(makers.part()).frame,
        fitted=tuple(draw(st.lists(PIECES, max_size=2))),
        known=draw(st.none() | st.tuples(VECTORS, VECTORS)),
        check=draw(st.none() | st.builds(SensorCheck, st.lists(FINDINGS, max_size=2).map(tuple))),
        speed=draw(st.none() | st.floats(1, 2000)),
    )
    return JobRecord(
        id=draw(IDS), edited=draw(TIMES), part=makers.part().id, started=draw(TIMES), frame=frame
    )


def alike(one, other):
    """Equal, numbers to the rounding of a conversion to another unit and back."""
    if is_dataclass(one):
        return type(one) is type(other) and all(
            alike(getattr(one, field.name), getattr(other, field.name)) for field in fields(one)
        )
    if isinstance(one, tuple):
        return type(other) is tuple and len(one) == len(other) and all(map(alike, one, other))
    if isinstance(one, complex):
        return abs(one - other) <= 1e-12 * abs(one)
    if type(one) is float:
        return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-300)
    return type(one) is type(other) and one == other


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """One store for all examples: a record of its own id each."""
    with Store.open(tmp_path_factory.mktemp("shared")) as store:
        add_part(store, makers.part())
        add_machine(store, makers.machine())
        add_stand(store, makers.stand())
        yield store


def through_rows(store, table, record):
    """In and out again, and nothing left behind for the next example."""
    try:
        with store.transaction():
            insert_run(store, RUNS.data(record)) if table is RUNS else table.insert(
                store, table.row(table.data(record)) | ({"sort_key": ""} if table is PARTS else {})
            )
            rows = store.rows(f"SELECT * FROM {table.name} WHERE id = ?", (record.id,))
            found = run_values(store, rows)[0] if table is RUNS else table.value(dict(rows[0]))
            assert alike(record, found)
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass


def through_json(table, record):
    text = json.dumps(table.data(record), allow_nan=False)
    assert alike(record, table.record.take(json.loads(text), ""))


@pytest.mark.parametrize(
    ("table", "records"),
    [
        (MACHINES, MACHINE_RECORDS),
        (PARTS, parts()),
        (STANDS, stands()),
        (COEFFICIENTS, coefficients()),
        (JOBS, jobs()),
        (RUNS, runs()),
        (EVENTS, EVENT_RECORDS),
    ],
    ids=lambda value: getattr(value, "name", ""),
)
@settings(max_examples=40)
@given(data=st.data())
def test_every_record_comes_back(shared, table, records, data):
    record = data.draw(records)
    through_rows(shared, table, record)
    through_json(table, record)


def test_numbers_of_numpy_are_stored_as_numbers(store):
    """sqlite3 stores numpy.int64 silently as bytes and refuses complex numbers."""
    part = makers.part(sizes=PropellerSizes(np.float64(0.3048), np.int64(2), "ccw"), mass=np.float64(0.016))
    add_part(store, part)
    noticed = (Finding.of("few_revolutions", "warning", revolutions=np.float32(2.5), count=np.int64(3)),)
    item = makers.item(value=np.complex128(1 + 2j), findings=noticed)
    record = makers.run(part, item=item, number=np.int64(0))
    with store.transaction():
        insert_run(store, RUNS.data(replace(record, item=replace(item, findings=()))))
    kinds = store.row("SELECT typeof(re), typeof(im), typeof(position) FROM readings")
    assert tuple(kinds) == ("real", "real", "integer")
    assert tuple(store.row("SELECT typeof(number), typeof(speed_rpm) FROM runs")) == ("integer", "real")
    assert tuple(store.row("SELECT typeof(mass_g), typeof(grade_mm_s) FROM parts")) == ("real", "real")


def test_what_could_not_be_read_again_is_not_written(store):
    add_part(store, makers.part())
    odd = replace(makers.item().run, readings=(UncertainComplex(complex(math.inf, 0), Covariance(0, 0)),) * 2)
    with pytest.raises(Exception, match="must be a finite number"), store.transaction():
        insert_run(store, RUNS.data(makers.run(makers.part(), item=JobRun(odd))))


def test_half_a_character_in_a_file_name_or_a_channel_is_kept_as_far_as_it_can_be(store):
    add_part(store, makers.part())
    channels = (Channel("x\udcff", "m/s^2"), Channel("y", "m/s^2"))
    odd = makers.run(makers.part(), item=makers.item(source="run\udcff.csv"), channels=channels)
    with store.transaction():
        insert_run(store, RUNS.data(odd))
    kept = run_values(store, store.rows("SELECT * FROM runs"))[0]
    assert (kept.item.source, kept.channels[0].name) == ("run\udcff.csv", "x?")


def test_the_same_moment_in_another_zone_sorts_as_time_does(store):
    add_part(store, makers.part())
    east = datetime(2026, 3, 2, 1, 0, tzinfo=timezone(timedelta(hours=10)))
    for seed, at in enumerate((makers.START, east)):
        add_event(store, makers.event(makers.part(), "checked", at, seed))
    kept = store.row("SELECT max(at) AS last FROM events")
    assert kept["last"] == "2026-03-01T15:00:00.000000Z"


def test_jobs_and_coefficients_refuse_unknown_owners(store):
    with pytest.raises(Exception, match="there is no part with the id"):
        add_job(store, makers.job(makers.part()))
    found = StoredCoefficient(
        SetUp("bench", ("x",)), 500.0, (UncertainComplex(1 + 0j, Covariance(0, 0)),), None, 2
    )
    record = CoefficientRecord(
        id=makers.ident(1), edited=makers.START, stand=makers.ident(2), coefficient=found
    )
    with pytest.raises(Exception, match="there is no stand with the id"):
        add_coefficient(store, record)

from datetime import timedelta

import pytest

from balancer.errors import InputError
from balancer.history.events import add_event
from balancer.history.jobs import add_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part, move_part
from balancer.history.queries import PartFilter, count_parts, list_parts, part_page
from balancer.history.records.part import RETIRED, Location
from balancer.history.removal import remove
from balancer.history.runs import add_run
from tests.history import makers

MACHINE = makers.machine()
MONTHS = makers.later(days=300) - timedelta(days=90)


@pytest.fixture
def bag(store):
    """Six parts: two fitted, one retired, some of them due."""
    add_machine(store, MACHINE)
    add_part(store, makers.part("P10", where=Location("fitted", MACHINE.id, 1)))
    add_part(store, makers.part("P9", where=Location("fitted", MACHINE.id, 3)))
    for label in ("p2", "P1"):
        add_part(store, makers.part(label))
    add_part(store, makers.bell("M1"))
    add_part(store, makers.part("P0"))
    move_part(store, makers.part("P0"), RETIRED, makers.later(days=1))
    for label, kind, day in [
        ("P10", "balanced", 290),
        ("P9", "balanced", 280),
        ("P9", "crashed", 290),
        ("p2", "checked", 100),
        ("P1", "crashed", 200),
        ("P1", "checked", 299),
    ]:
        add_event(store, makers.event(makers.part(label), kind, makers.later(days=day)))
    return store


def labels(store, **only):
    found = [part.label for part in list_parts(store, PartFilter(**only))]
    assert count_parts(store, PartFilter(**only)) == len(found)
    return found


def test_parts_are_listed_in_natural_order(bag):
    assert labels(bag) == ["M1", "P0", "P1", "p2", "P9", "P10"]


@pytest.mark.parametrize(
    ("only", "expected"),
    [
        (dict(kind="bell"), ["M1"]),
        (dict(state="fitted"), ["P9", "P10"]),
        (dict(state="retired"), ["P0"]),
        (dict(machine=MACHINE.id), ["P9", "P10"]),
        (dict(kind="propeller", state="spare"), ["P1", "p2"]),
        (dict(due_before=MONTHS), ["M1", "p2", "P9"]),
        (dict(due_before=MONTHS, machine=MACHINE.id), ["P9"]),
        (dict(machine=makers.ident("another")), []),
    ],
)
def test_filters(bag, only, expected):
    assert labels(bag, **only) == expected


def test_why_a_part_is_due(bag):
    why = {part.label: part.due(MONTHS) for part in list_parts(bag)}
    assert why == {"M1": "never", "P0": None, "P1": None, "p2": "age", "P9": "disturbed", "P10": None}


def test_an_event_marked_as_removed_does_not_count(bag):
    crash = makers.event(makers.part("P9"), "crashed", makers.later(days=290))
    remove(bag, crash, makers.later(days=300))
    assert labels(bag, due_before=MONTHS) == ["M1", "p2"]


def test_a_listed_part_says_what_a_list_shows(bag):
    part = list_parts(bag, PartFilter(machine=MACHINE.id))[1]
    assert (part.label, part.machine, part.arm, part.hand) == ("P10", "Tern", 1, "ccw")
    assert (part.mass, part.diameter) == (pytest.approx(0.016), pytest.approx(0.3048))
    assert part.looked_at == makers.later(days=290)


def test_lists_come_in_pages(bag):
    assert [part.label for part in list_parts(bag, limit=2, offset=3)] == ["p2", "P9"]


def test_the_page_of_a_part(bag):
    part = makers.part("P9")
    job = makers.job(part)
    add_job(bag, job)
    for number in range(1, 8):
        add_run(bag, makers.run(part, number, job=job.id, number=number, at=makers.later(days=number)))
    page = part_page(bag, part.id, limit=5)
    assert (page.part.label, page.run_count) == ("P9", 7)
    assert [run.number for run in page.runs] == [7, 6, 5, 4, 3]
    assert [event.kind for event in page.events] == ["crashed", "balanced"]
    assert [one.id for one in page.jobs] == [job.id]


def test_there_is_no_page_of_an_unknown_part(bag):
    with pytest.raises(InputError, match="there is no part with the id"):
        part_page(bag, makers.ident("nobody"))


@pytest.mark.parametrize(
    "only", [PartFilter(), PartFilter(kind="bell"), PartFilter(due_before=MONTHS), PartFilter(state="spare")]
)
def test_a_list_sorts_nothing_and_looks_up_only_what_it_shows(bag, only):
    """Bounded cost by the plan, whatever the clock says: one pass through an index that holds the filter."""
    said = []
    bag._connection.set_trace_callback(said.append)
    list_parts(bag, only)
    bag._connection.set_trace_callback(None)
    plan = [row["detail"] for row in bag.rows(f"EXPLAIN QUERY PLAN {said[0]}")]
    assert any("USING INDEX parts_order" in line for line in plan)
    assert not any("TEMP B-TREE" in line for line in plan)

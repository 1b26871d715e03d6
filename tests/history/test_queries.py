import math
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.core.due import Rule, due
from balancer.errors import InputError
from balancer.history.events import add_event, update_event
from balancer.history.jobs import add_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part, find_part, move_part
from balancer.history.queries import PartFilter, count_parts, list_parts, months_before, part_page
from balancer.history.records.part import RETIRED, Location
from balancer.history.removal import remove
from balancer.history.runs import add_run
from balancer.history.store import Store
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


def test_a_part_moved_since_it_was_looked_at_is_due(bag):
    part = find_part(bag, "P10")
    moved = move_part(bag, part, replace(part.where, turned=math.pi), makers.later(days=291))
    assert labels(bag, due_before=MONTHS) == ["M1", "p2", "P9", "P10"]
    listed = next(one for one in list_parts(bag) if one.label == "P10")
    assert (listed.moved_at, listed.due(MONTHS)) == (makers.later(days=291), "moved")
    move_part(bag, moved, RETIRED, makers.later(days=292))
    assert labels(bag, due_before=MONTHS) == ["M1", "p2", "P9"]


def test_a_part_looked_at_since_it_was_moved_is_not_due(bag):
    move_part(bag, find_part(bag, "P1"), Location("fitted", MACHINE.id, 5), makers.later(days=298))
    assert "P1" not in labels(bag, due_before=MONTHS)
    # what a crash does is worse, and said first
    for kind, day in (("moved", 300), ("crashed", 301)):
        add_event(bag, makers.event(makers.part("P1"), kind, makers.later(days=day)))
    assert {part.label: part.due(MONTHS) for part in list_parts(bag)}["P1"] == "disturbed"


KINDS = ["made", "balanced", "checked", "crashed", "repaired", "moved", "carried"]
IN_A_LIST = {
    "crashed": "disturbed", "repaired": "disturbed", "moved": "moved", "never_checked": "never", "time": "age"
}  # fmt: skip


@settings(max_examples=60)
@given(
    events=st.lists(
        st.tuples(st.sampled_from(KINDS), st.integers(0, 500)), max_size=7, unique_by=lambda e: e[1]
    ),
    months=st.integers(1, 12),
)
def test_a_list_calls_due_what_the_report_does_and_for_the_same_reason(shared, events, months):
    """One rule: that of `core.due`, asked of days there, of times here, and of the index in SQL."""
    part, now = makers.part(), makers.later(days=500)
    story = [(kind, makers.later(days=day)) for kind, day in events]
    told = due([(kind, at.astimezone().date()) for kind, at in story], now.astimezone().date(), Rule(months))
    expected = IN_A_LIST[told.reasons[0][0]] if told.now else None
    before = months_before(now, months)
    with suppress(KeyboardInterrupt), shared.transaction():
        for seed, (kind, at) in enumerate(story):
            add_event(shared, makers.event(part, kind, at, seed))
        (listed,) = list_parts(shared)
        assert listed.due(before) == expected
        assert count_parts(shared, PartFilter(due_before=before)) == told.now
        raise KeyboardInterrupt  # nothing is left behind for the next example


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """A history of one part, for all examples."""
    with Store.open(tmp_path_factory.mktemp("shared")) as store:
        add_part(store, makers.part())
        yield store


@pytest.mark.parametrize(
    ("today", "months", "day"),
    [
        ("2026-06-15", 6, "2025-12-16"),  # as a check of 15 December falls due on 15 June
        ("2026-02-28", 6, "2025-09-01"),  # there is no 31 February: one of 29 to 31 August is due, too
        ("2026-03-31", 1, "2026-03-01"),
        ("2028-02-29", 12, "2027-03-01"),
    ],
)
def test_the_day_since_which_a_check_is_recent_enough(today, months, day):
    noon = datetime.fromisoformat(f"{today}T12:00").astimezone()
    assert months_before(noon, months) == datetime.fromisoformat(day).astimezone()


def test_dates_follow_when_an_event_goes_to_another_part(bag):
    crash = makers.event(makers.part("P9"), "crashed", makers.later(days=290))
    update_event(bag, replace(crash, part=makers.part("P10").id), makers.later(days=300))
    why = {part.label: part.disturbed_at for part in list_parts(bag)}
    assert (why["P9"], why["P10"]) == (None, makers.later(days=290))


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


def test_what_is_due_is_counted_from_the_index_alone(bag):
    said = []
    bag._connection.set_trace_callback(said.append)
    count_parts(bag, PartFilter(due_before=MONTHS))
    bag._connection.set_trace_callback(None)
    (plan,) = (row["detail"] for row in bag.rows(f"EXPLAIN QUERY PLAN {said[0]}"))
    assert "USING COVERING INDEX parts_order" in plan

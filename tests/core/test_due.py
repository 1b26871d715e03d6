"""What is due, and why: a table of stories."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.core.due import Rule, due, first_day_not_due
from balancer.errors import InputError

TODAY = dt.date(2026, 6, 15)


def on(text):
    return dt.date.fromisoformat(text)


def story(*lines):
    return [(kind, on(when)) for kind, when in (line.split() for line in lines)]


@pytest.mark.parametrize(
    ("events", "reasons"),
    [
        ((), ["never_checked"]),
        (("made 2026-01-01",), ["never_checked"]),
        (("balanced 2026-05-01",), []),
        (("balanced 2025-12-15",), ["time"]),
        (("balanced 2025-12-16",), []),
        (("balanced 2026-05-01", "crashed 2026-06-01"), ["crashed"]),
        (("balanced 2026-05-01", "crashed 2026-06-01", "checked 2026-06-02"), []),
        (("crashed 2026-06-01", "balanced 2026-06-01"), []),
        (("balanced 2026-06-01", "crashed 2026-06-01"), ["crashed"]),
        (("balanced 2026-05-01", "moved 2026-05-05", "repaired 2026-05-04"), ["repaired", "moved"]),
        (("checked 2025-01-01", "crashed 2025-02-01", "crashed 2025-03-01"), ["crashed", "time"]),
        (("crashed 2026-02-01",), ["crashed", "never_checked"]),
        (("balanced 2025-01-01", "retired 2025-02-01"), []),
        (("balanced 2025-01-01", "retired 2025-02-01", "moved 2026-02-01"), ["moved", "time"]),
        (("balanced 2027-01-01",), ["never_checked"]),
    ],
)
def test_reasons(events, reasons):
    found = due(story(*events), TODAY)
    assert [reason for reason, _ in found.reasons] == reasons
    assert found.now == bool(reasons)


def test_dates_of_the_reasons():
    found = due(story("checked 2025-08-31", "crashed 2026-02-01", "crashed 2026-03-01"), TODAY)
    assert found.reasons == (("crashed", on("2026-03-01")), ("time", on("2026-02-28")))  # no 31 February
    assert found.checked == on("2025-08-31")
    assert [finding.code for finding in found.findings] == ["due_after_crash", "due_by_time"]
    assert found.findings[0].figure("days") == 106


def test_next_by_time():
    found = due(story("balanced 2026-05-31"), TODAY, Rule(months=13))
    assert found.next == on("2027-06-30")
    assert due(story("balanced 2016-05-31"), TODAY, Rule(months=None)).next is None
    assert not due(story("balanced 2016-05-31"), TODAY, Rule(months=None)).now


@given(st.dates(dt.date(2020, 1, 1), dt.date(2032, 12, 31)), st.integers(1, 24), st.integers(-45, 45))
def test_a_check_before_the_first_day_is_due_by_time_and_none_after(today, months, around):
    """Day by day the same as asking for a part that was checked on that day."""
    first = first_day_not_due(today, months)
    day = min(first + dt.timedelta(days=around), today)
    told = due([("checked", day)], today, Rule(months))
    assert [reason for reason, _ in told.reasons] == (["time"] if day < first else [])


def test_moves_can_be_left_out():
    events = story("balanced 2026-05-01", "moved 2026-05-05")
    assert not due(events, TODAY, Rule(after_move=False)).now


def test_the_future_is_told_and_counts_for_nothing():
    found = due(story("balanced 2026-05-01", "crashed 2026-07-01"), TODAY)
    assert not found.now
    assert [finding.code for finding in found.findings] == ["event_in_future"]


@pytest.mark.parametrize("months", [0, 121])
def test_months_are_months(months):
    with pytest.raises(InputError, match="1 to 120 months"):
        Rule(months=months)

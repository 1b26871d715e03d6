"""What is due for a part, and why: after a crash, a repair or a move, after some months, or never checked.

The rule is `why_due` and `first_day_not_due`; a story is asked here, a list of parts in `history.queries`.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal, TypeVar

from balancer.errors import InputError
from balancer.findings import Finding

Reason = Literal["crashed", "repaired", "moved", "never_checked", "time"]

USUAL_MONTHS = 6
"""After so many months a part is due, unless the person chooses otherwise (no source)."""

CHECKS = frozenset({"balanced", "checked"})
"""Kinds of event after which a part is known to be good."""

_SINCE: tuple[Literal["crashed", "repaired", "moved"], ...] = ("crashed", "repaired", "moved")
"""Kinds of event after which a part is due, the gravest first."""

_Happened = TypeVar("_Happened", bound=str)


@dataclass(frozen=True)
class Rule:
    """When a part is to be checked again.

    Parameters
    ----------
    months : int or None
        After so many months at the latest; None: no date by itself.
    after_move : bool
        Whether a part that was moved to another arm or turned on its hub is to be checked.

    Raises
    ------
    InputError
        If the months are not 1 to 120.
    """

    months: int | None = USUAL_MONTHS
    after_move: bool = True

    def __post_init__(self) -> None:
        if self.months is not None and not 1 <= self.months <= 120:
            raise InputError(
                "a part falls due after 1 to 120 months", todo="give a number of months, or none"
            )


@dataclass(frozen=True)
class Due:
    """Whether a part is due.

    Parameters
    ----------
    reasons : tuple of (str, datetime.date or None)
        Why, the gravest first, each with the date on which it fell due; empty: nothing is due. None where the
        part was never checked.
    checked : datetime.date or None
        When it was last balanced or checked.
    next : datetime.date or None
        When it will be due by time alone; None where it is due already or never will be.
    findings : tuple of Finding
        The reasons in figures, for words, and events dated in the future, which count for nothing.
    """

    reasons: tuple[tuple[Reason, date | None], ...]
    checked: date | None
    next: date | None
    findings: tuple[Finding, ...]

    @property
    def now(self) -> bool:
        """Whether something is due."""
        return bool(self.reasons)


def due(events: Sequence[tuple[str, date]], today: date, rule: Rule | None = None) -> Due:
    """Say what is due for a part.

    Parameters
    ----------
    events : sequence of (str, datetime.date)
        Kind and date: ``balanced``, ``checked``, ``crashed``, ``repaired``, ``moved``, ``retired``; others
        count for nothing. In any order; of one day, in the order in which they happened.
    today : datetime.date
        The day.
    rule : Rule, optional
        Six months by default.

    Returns
    -------
    Due
        Nothing for a part that was retired and not taken into use again.
    """
    rule = rule or Rule()
    future = [when for _, when in events if when > today]
    story = sorted((event for event in events if event[1] <= today), key=lambda event: event[1])
    warnings = (Finding.of("event_in_future", "warning", count=len(future)),) if future else ()
    last = max((i for i, (kind, _) in enumerate(story) if kind in CHECKS), default=None)
    checked = None if last is None else story[last][1]
    if _retired(kind for kind, _ in story):
        return Due((), checked, None, warnings)
    latest = {kind: place for place, (kind, _) in enumerate(story)}
    happened = {kind: latest.get(kind) for kind in _SINCE if kind != "moved" or rule.after_move}
    limit = None if checked is None or rule.months is None else _months_later(checked, rule.months)
    days: Mapping[str, date | None] = {**dict(story), "never_checked": None, "time": limit}
    why = why_due(last, happened, old=limit is not None and limit <= today)
    reasons = tuple((reason, days[reason]) for reason in why)
    findings = (*(_finding(reason, when, today) for reason, when in reasons), *warnings)
    return Due(reasons, checked, None if reasons else limit, findings)


def why_due(
    checked: Any | None, happened: Mapping[_Happened, Any | None], *, old: bool
) -> tuple[_Happened | Literal["never_checked", "time"], ...]:
    """Say why a part in use is due, whatever tells what came after what: times, or places in a story.

    Parameters
    ----------
    checked : comparable or None
        When it was last balanced or checked; None for never.
    happened : mapping of str to comparable or None
        What makes a check due, the gravest first, and when it happened last; None for never.
    old : bool
        Whether it is so long since it was checked that time alone makes it due.

    Returns
    -------
    tuple of str
        What happened since, then ``never_checked`` or ``time``; empty if it is not due.
    """
    since = tuple(
        what for what, when in happened.items() if when is not None and (checked is None or when > checked)
    )
    if checked is None:
        return (*since, "never_checked")
    return (*since, "time") if old else since


def first_day_not_due(today: date, months: int) -> date:
    """Give the day from which on a check is recent enough; one on any day before is due by time.

    Examples
    --------
    >>> first_day_not_due(date(2026, 6, 15), 6), first_day_not_due(date(2026, 2, 28), 6)
    (datetime.date(2025, 12, 16), datetime.date(2025, 9, 1))
    """
    # the same count as for the day on which a check falls due, which is not the count backwards
    day = _months_later(today, -months)
    while _months_later(day, months) <= today:
        day += timedelta(days=1)
    return day


def _retired(kinds: Iterable[str]) -> bool:
    state = [kind for kind in kinds if kind in {"retired", "moved", *CHECKS}]
    return bool(state) and state[-1] == "retired"


def _finding(reason: Reason, when: date | None, today: date) -> Finding:
    days = 0 if when is None else (today - when).days
    if reason == "crashed":
        return Finding.of("due_after_crash", "warning", days=days)
    if reason == "repaired":
        return Finding.of("due_after_repair", "warning", days=days)
    if reason == "moved":
        return Finding.of("due_after_move", "info", days=days)
    if reason == "never_checked":
        return Finding.of("due_never_checked", "info")
    return Finding.of("due_by_time", "info", days=days)


def _months_later(start: date, months: int) -> date:
    """Count months on; what would be 31 June is 30 June."""
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))

"""A list of parts, one part and the machines as values ready to show, and their files; knows no Streamlit.

What takes more than some milliseconds is kept until anything in the history changes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from functools import lru_cache

from balancer.core.due import USUAL_MONTHS, Rule
from balancer.history.queries import ListedPart, PartFilter, count_parts, list_parts, months_before
from balancer.history.records.machine import Machine
from balancer.history.records.part import PartRecord
from balancer.history.store import Store
from balancer.history.story import Story, story_of
from balancer.report.card import PartCard
from balancer.report.drawings import Drawing
from balancer.report.files import Suffix, report_text
from balancer.report.gather import machine_sheet, part_card
from balancer.report.sections import part_drawing, unnamed_outcome
from balancer.wording import Direction

AT_ONCE, MORE = 50, 150
"""How many parts are listed at first, so that a click stays quick, and how many are added when asked for."""


@dataclass(frozen=True)
class Wish:
    """Which parts are asked for.

    Parameters
    ----------
    only : PartFilter
        Which; what is due is asked for by `due`.
    due : bool
        Only what is due.
    months : int
        How old a check may be.
    limit : int
        How many at most.
    """

    only: PartFilter = field(default_factory=PartFilter)
    due: bool = False
    months: int = USUAL_MONTHS
    limit: int = AT_ONCE


@dataclass(frozen=True)
class Listing:
    """A list of parts.

    Parameters
    ----------
    parts : tuple of ListedPart
        In natural order of their labels.
    found : int
        How many there are of that kind, listed or not.
    all, all_due : int
        How many parts there are, and how many of them are due.
    before : datetime
        What was last looked at before this time is due.
    """

    parts: tuple[ListedPart, ...]
    found: int
    all: int
    all_due: int
    before: datetime


@dataclass(frozen=True, eq=False)
class PartView:
    """One part with all that its page shows; `card` and `story` are of the same moment."""

    card: PartCard
    story: Story

    @property
    def part(self) -> PartRecord:
        """The part."""
        return self.card.part


def now() -> datetime:
    """Give the time, with its zone."""
    return datetime.now(UTC)


def listing(store: Store, wish: Wish, now: datetime) -> Listing:
    """List parts.

    Parameters
    ----------
    store : Store
        The history.
    wish : Wish
        Which.
    now : datetime
        With its time zone.

    Returns
    -------
    Listing
        All as it was at one moment.
    """
    before = months_before(now, wish.months)
    only = replace(wish.only, due_before=before if wish.due else None)
    with store.snapshot():
        return Listing(
            parts=list_parts(store, only, wish.limit),
            found=count_parts(store, only),
            all=count_parts(store),
            all_due=count_parts(store, PartFilter(due_before=before)),
            before=before,
        )


def part_view(store: Store, id: str, now: datetime, months: int = USUAL_MONTHS) -> PartView:
    """Give one part.

    Parameters
    ----------
    store : Store
        The history.
    id : str
        Of the part.
    now : datetime
        With its time zone.
    months : int
        How old a check may be.

    Returns
    -------
    PartView
        The part.

    Raises
    ------
    InputError
        If there is no such part.
    """
    return _part_view(store, store.changes(), id, now.astimezone().date(), months)


@lru_cache(maxsize=16)
def _part_view(store: Store, _seen: tuple[int, int], id: str, today: date, months: int) -> PartView:
    rule, now = Rule(months), datetime.now(UTC)
    with store.snapshot():
        return PartView(part_card(store, id, now, rule=rule), story_of(store, id, today, rule))


@lru_cache(maxsize=16)
def on_it(view: PartView, direction: Direction) -> Drawing:
    """Draw the part with what is on it; placing the words between many pieces takes some 40 ms."""
    return part_drawing(view.card, unnamed_outcome(view.card), direction)


def on_arms(store: Store, machine: Machine) -> Mapping[int, tuple[ListedPart, ...]]:
    """Give the parts on each arm of a machine, by the arm's number."""
    fitted = list_parts(store, PartFilter(state="fitted", machine=machine.id), limit=1000)
    return {arm.number: tuple(one for one in fitted if one.arm == arm.number) for arm in machine.arms}


# Files to take away: each is made when it is asked for


def part_report(store: Store, id: str, suffix: Suffix, direction: Direction) -> Callable[[], bytes]:
    """Give what makes the report on a part."""
    return lambda: report_text(part_card(store, id, now()), suffix, direction).encode()


def machine_report(store: Store, id: str, suffix: Suffix, direction: Direction) -> Callable[[], bytes]:
    """Give what makes the sheet of a machine."""
    return lambda: report_text(machine_sheet(store, id, now()), suffix, direction).encode()


def recording(store: Store, digest: str) -> Callable[[], bytes]:
    """Give what reads a stored recording."""
    return lambda: store.files.read(digest)


def photo(store: Store, digest: str) -> bytes | None:
    """Give a photo that a browser can show; None for another file, or one that cannot be read."""
    if not digest or not store.files.holds(digest):
        return None
    content = store.files.read(digest)
    webp = content[:4] == b"RIFF" and content[8:12] == b"WEBP"
    return content if webp or content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) else None

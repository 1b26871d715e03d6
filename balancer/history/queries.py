"""Lists of parts and the page of one part, each of bounded cost."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from types import MappingProxyType
from typing import Any, Literal

from balancer.core.due import first_day_not_due, why_due
from balancer.history.events import events_of
from balancer.history.jobs import jobs_of_part
from balancer.history.records.codecs import INSTANT, instant
from balancer.history.records.event import Event
from balancer.history.records.part import PartRecord, State
from balancer.history.records.run import JobRecord, RunRecord
from balancer.history.runs import runs_of_part
from balancer.history.store import Scalar, Store
from balancer.history.tables import PARTS
from balancer.procedure.part import Kind
from balancer.units import kg_from_g, m_from_mm

_EDITED = ("machines", "parts", "jobs", "runs", "events", "stands", "coefficients")

Due = Literal["never", "disturbed", "moved", "age"]

_WORDS: Mapping[str, Due] = MappingProxyType(
    {"disturbed": "disturbed", "moved": "moved", "never_checked": "never", "time": "age"}
)


@dataclass(frozen=True)
class PartFilter:
    """Which parts to list; None for no matter.

    Parameters
    ----------
    kind : {"propeller", "bell", "adapter"}, optional
        What they are.
    state : {"fitted", "spare", "retired"}, optional
        Where they are.
    machine : str, optional
        Id of the machine that they are fitted to.
    due_before : datetime, optional
        Only parts in use that are due: never looked at, disturbed or moved since, or last looked at before
        this time.
    text : str, optional
        What their labels hold, in any case of the letters A to Z.
    """

    kind: Kind | None = None
    state: State | None = None
    machine: str | None = None
    due_before: datetime | None = None
    text: str = ""


@dataclass(frozen=True)
class ListedPart:
    """A part in a list.

    Parameters
    ----------
    id, label : str
        Who it is.
    kind : {"propeller", "bell", "adapter"}
        What it is.
    mass, diameter : float or None
        In kg and m, where known.
    hand : str
        ``ccw`` or ``cw`` of a propeller, else empty.
    state : {"fitted", "spare", "retired"}
        Where it is.
    machine : str
        Name of the machine that it is fitted to, else empty.
    arm : int or None
        Number of the arm that it is fitted to.
    looked_at : datetime or None
        When it was last balanced or checked.
    disturbed_at : datetime or None
        When it last crashed or was repaired.
    moved_at : datetime or None
        When it was last moved to another place or turned on its hub.
    """

    id: str
    label: str
    kind: Kind
    mass: float | None
    diameter: float | None
    hand: str
    state: State
    machine: str
    arm: int | None
    looked_at: datetime | None
    disturbed_at: datetime | None
    moved_at: datetime | None

    def due(self, before: datetime) -> Due | None:
        """Say why it is due, the gravest reason only: None if it is not.

        Disturbed or moved since it was looked at, never looked at, or looked at before a time.
        """
        if self.state == "retired":
            return None
        happened = {"disturbed": self.disturbed_at, "moved": self.moved_at}
        old = self.looked_at is not None and self.looked_at < before
        return next((_WORDS[why] for why in why_due(self.looked_at, happened, old=old)), None)


@dataclass(frozen=True)
class PartPage:
    """One part with its story.

    Parameters
    ----------
    part : PartRecord
        The part, with the pieces that are on it now.
    events : tuple of Event
        The latest first.
    jobs : tuple of JobRecord
        The latest first, without their runs.
    runs : tuple of RunRecord
        The latest first.
    run_count : int
        How many runs there are in all.
    """

    part: PartRecord
    events: tuple[Event, ...]
    jobs: tuple[JobRecord, ...]
    runs: tuple[RunRecord, ...]
    run_count: int


def list_parts(
    store: Store, only: PartFilter = PartFilter(), limit: int = 200, offset: int = 0
) -> tuple[ListedPart, ...]:
    """List parts in natural order of their labels.

    Parameters
    ----------
    store : Store
        The history.
    only : PartFilter
        Which.
    limit, offset : int
        How many at most, and how many to leave out first.

    Returns
    -------
    tuple of ListedPart
        The parts.
    """
    where, values = _conditions(only)
    rows = store.rows(
        f"""
        SELECT p.id, label, kind, mass_g, sizes, state, m.name AS machine, arm,
            looked_at, disturbed_at, moved_at
        FROM parts AS p INDEXED BY parts_order LEFT JOIN machines AS m ON m.id = p.machine
        WHERE {where} ORDER BY sort_key, p.id LIMIT :limit OFFSET :offset
        """,
        {**values, "limit": limit, "offset": offset},
    )
    return tuple(_listed(dict(row)) for row in rows)


def count_parts(store: Store, only: PartFilter = PartFilter()) -> int:
    """Count the parts that `list_parts` would list without a limit."""
    where, values = _conditions(only)
    row = store.row(f"SELECT count(*) AS parts FROM parts AS p INDEXED BY parts_order WHERE {where}", values)
    assert row is not None
    return int(row["parts"])


def part_page(store: Store, id: str, limit: int = 25) -> PartPage:
    """Give one part with the latest of its story.

    Parameters
    ----------
    store : Store
        The history.
    id : str
        Of the part.
    limit : int
        How many events, jobs and runs at most; `events_of`, `jobs_of_part` and `runs_of_part` give more.

    Returns
    -------
    PartPage
        All as it was at one moment.

    Raises
    ------
    InputError
        If there is no such part.
    """
    with store.snapshot():
        count = store.row("SELECT count(*) AS runs FROM runs WHERE part = ? AND removed_at IS NULL", (id,))
        assert count is not None
        return PartPage(
            part=PARTS.get(store, id),
            events=events_of(store, id, limit),
            jobs=jobs_of_part(store, id, limit),
            runs=runs_of_part(store, id, limit),
            run_count=int(count["runs"]),
        )


def months_before(now: datetime, months: int) -> datetime:
    """Give the beginning of the first day, on this computer's clock, since which a check is recent enough."""
    day = first_day_not_due(now.astimezone().date(), months)
    return datetime.combine(day, time(0)).astimezone()


def _conditions(only: PartFilter) -> tuple[str, dict[str, Scalar]]:
    where = ["p.removed_at IS NULL"]
    values: dict[str, Scalar] = {}
    for name, value in (("kind", only.kind), ("state", only.state), ("machine", only.machine)):
        if value is not None:
            where.append(f"p.{name} = :{name}")
            values[name] = value
    if only.due_before is not None:
        # `core.due.why_due` asked of the index
        where.append(
            "p.state <> 'retired' AND (p.looked_at IS NULL OR p.looked_at < :due_before "
            "OR p.disturbed_at > p.looked_at OR p.moved_at > p.looked_at)"
        )
        values["due_before"] = instant(only.due_before)
    if only.text:
        where.append("label LIKE '%' || :text || '%' ESCAPE '\\'")
        values["text"] = re.sub(r"([%_\\])", r"\\\1", only.text)
    return " AND ".join(where), values


def _listed(row: dict[str, Any]) -> ListedPart:
    sizes = json.loads(row["sizes"] or "{}")
    mass, diameter = row["mass_g"], sizes.get("diameter_mm")
    return ListedPart(
        id=row["id"],
        label=row["label"],
        kind=row["kind"],
        mass=None if mass is None else kg_from_g(mass),
        diameter=None if diameter is None else m_from_mm(diameter),
        hand=sizes.get("hand", ""),
        state=row["state"],
        machine=row["machine"] or "",
        arm=row["arm"],
        looked_at=_time(row["looked_at"]),
        disturbed_at=_time(row["disturbed_at"]),
        moved_at=_time(row["moved_at"]),
    )


def _time(text: str | None) -> datetime | None:
    return None if text is None else INSTANT.take(text, "time")


def holds_part(store: Store, id: str) -> bool:
    """Say whether there is such a part, and it is not removed."""
    return store.row("SELECT 1 FROM parts WHERE id = ? AND removed_at IS NULL", (id,)) is not None


def part_label(store: Store, id: str) -> str:
    """Give the label of a part, removed or not; empty if there is none."""
    row = store.row("SELECT label FROM parts WHERE id = ?", (id,))
    return "" if row is None else str(row["label"])


def propellers_on(store: Store, machine: str) -> dict[int, str]:
    """Give the label of the propeller on each arm of a machine, by the arm's number."""
    rows = store.rows(
        "SELECT arm, label FROM parts WHERE machine = ? AND kind = 'propeller' AND state = 'fitted' "
        "AND removed_at IS NULL",
        (machine,),
    )
    return {int(row["arm"]): str(row["label"]) for row in rows}


def last_stand(store: Store) -> str:
    """Give the id of the stand of the latest job; empty if there is none."""
    row = store.row(
        "SELECT s.id FROM jobs AS j JOIN stands AS s ON s.id = j.stand "
        "WHERE j.removed_at IS NULL AND s.removed_at IS NULL ORDER BY j.started_at DESC LIMIT 1"
    )
    return "" if row is None else str(row["id"])


def digest_of(store: Store) -> str:
    """Give a digest of who was edited when: it changes with every edit, by whatever program."""
    seen = hashlib.blake2b(digest_size=12)
    with store.snapshot():
        for table in _EDITED:
            for row in store.rows(f"SELECT id, edited_at, removed_at FROM {table} ORDER BY id"):
                seen.update(f"{tuple(row)}".encode())
    return seen.hexdigest()

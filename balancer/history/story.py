"""The story of a part: what each job found and left, whether it changed, whether it drifts, what is due.

All unbalances are in kg m, made from vibration by an influence coefficient: by the one that the job found by
itself, else by one of its stand's that is trusted. Where there is none, only that is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from balancer.core.due import Due, Rule, due
from balancer.core.residual import Entry, Series, like_with_like
from balancer.core.trend import Trend, vector_trend
from balancer.core.vector_change import Change, compare
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.history.events import events_of
from balancer.history.jobs import jobs_of_part, whole_job
from balancer.history.queries import PartPage, part_page
from balancer.history.records.event import DISTURBED, Event
from balancer.history.records.run import JobRecord
from balancer.history.stands import averages_of, list_stands
from balancer.history.store import Store
from balancer.procedure.coefficients import StoredCoefficient
from balancer.procedure.job import Job
from balancer.procedure.job_coefficients import facts_of

_JOBS = 50  # of a part, the latest, that a story goes back


@dataclass(frozen=True)
class Determination:
    """What one job tells of a part.

    Parameters
    ----------
    record : JobRecord
        The job.
    when : datetime
        When it was started.
    stand : str
        Name of the stand; empty if it had none.
    bell : str
        Id of the bell that a propeller stood on; empty if that is not known.
    runs : int
        How many runs it has.
    found, left : UncertainComplex or None
        Unbalance in kg m as found (with what earlier jobs had put on) and with what was on at the end, from
        the mark of the bench; None where no influence coefficient tells it.
    stored : bool
        Whether a stored coefficient of the stand told it.
    good : bool
        Whether what was left was good enough.
    speed : float or None
        In rad/s.
    """

    record: JobRecord
    when: datetime
    stand: str
    bell: str
    runs: int
    found: UncertainComplex | None
    left: UncertainComplex | None
    stored: bool
    good: bool
    speed: float | None

    @property
    def mass(self) -> float:
        """Of all that turned, in kg."""
        return self.record.frame.part.mass

    @property
    def permissible(self) -> float | None:
        """In kg m; None without a speed."""
        return None if self.speed is None else self.record.frame.part.permissible(self.speed)


@dataclass(frozen=True)
class Story:
    """The story of a part.

    Parameters
    ----------
    page : PartPage
        The part with the latest events, jobs and runs.
    determinations : tuple of Determination
        What each job tells, the earliest first.
    series : Series or None
        The residuals like with like; None while there is none.
    change : Change or None
        The last job's part as found against what the job before had left; None where that cannot be said.
    trend : Trend or None
        Of the part without the pieces put on since its last crash or repair; None before three occasions.
    due : Due
        What is due.
    """

    page: PartPage
    determinations: tuple[Determination, ...]
    series: Series | None
    change: Change | None
    trend: Trend | None
    due: Due


def story_of(store: Store, part: str, today: date, rule: Rule | None = None, limit: int = 25) -> Story:
    """Tell the story of a part.

    Parameters
    ----------
    store : Store
        The history.
    part : str
        Its id.
    today : datetime.date
        For what is due.
    rule : Rule, optional
        When a part is due; six months by default.
    limit : int
        How many events, jobs and runs of its page at most.

    Returns
    -------
    Story
        All as it was at one moment.

    Raises
    ------
    InputError
        If there is no such part.
    """
    with store.snapshot():
        page = part_page(store, part, limit)
        found = determinations(store, part)
        events = tuple(reversed(events_of(store, part, limit=1000)))
    return Story(
        page=page,
        determinations=found,
        series=_series(found),
        change=_change(found, events),
        trend=_trend(found, events),
        due=due([(event.kind, event.at.astimezone().date()) for event in events], today, rule),
    )


class Teller:
    """Tells what jobs amount to, each once: solving one takes some 10 ms.

    Parameters
    ----------
    store : Store
        The history; what is told holds for the snapshot in which it was asked for.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self._names = {stand.id: stand.name for stand in list_stands(store)}
        self._stored: dict[str, tuple[StoredCoefficient, ...]] = {}
        self._told: dict[str, Determination] = {}

    def backwards(self, part: str) -> Iterator[Determination]:
        """Give what each job of a part tells, the latest first, worked out when it is asked for."""
        for record in jobs_of_part(self.store, part, _JOBS):
            if record.id not in self._told:
                self._told[record.id] = self._tell(record)
            yield self._told[record.id]

    def _tell(self, record: JobRecord) -> Determination:
        stand = record.stand or ""
        if stand in self._names and stand not in self._stored:
            self._stored[stand] = averages_of(self.store, stand)
        return _determination(
            record,
            whole_job(self.store, record.id),
            self._names.get(stand, record.frame.stand.name),
            bell_of(self.store, record.id),
            self._stored.get(stand, ()),
        )


def determinations(store: Store, part: str) -> tuple[Determination, ...]:
    """Give what each of the latest jobs of a part tells, the earliest first."""
    with store.snapshot():
        return tuple(reversed(list(Teller(store).backwards(part))))


def bell_of(store: Store, job: str) -> str:
    """Give the id of the bell that the part of a job stood on; empty if that is not known."""
    row = store.row(
        "SELECT part FROM events WHERE job = ? AND kind = 'carried' AND removed_at IS NULL ORDER BY at DESC",
        (job,),
    )
    return "" if row is None else str(row["part"])


def _determination(
    record: JobRecord, job: Job, stand: str, bell: str, stored: Sequence[StoredCoefficient]
) -> Determination:
    facts = facts_of(job, stored, record.started.date())
    known, speed = facts.solution is not None, facts.known_speed
    verdict = facts.verdict if known and speed is not None else None
    return Determination(
        record=record,
        when=record.started,
        stand=stand,
        bell=bell,
        runs=len(job.runs),
        found=facts.found if known else None,
        left=facts.residual if known else None,
        stored=facts.known is not None,
        good=verdict is not None and verdict.done,
        speed=speed,
    )


def _series(found: Sequence[Determination]) -> Series | None:
    told = [one for one in found if one.speed is not None]
    if not told:
        return None
    last = told[-1]
    assert last.speed is not None
    return like_with_like([_entry(one) for one in told], last.mass, last.speed)


def _entry(one: Determination) -> Entry:
    return Entry(one.when.date(), one.stand or "no stand named", one.left, one.bell)


def _change(found: Sequence[Determination], events: Sequence[Event]) -> Change | None:
    if len(found) < 2 or found[-1].found is None:
        return None
    earlier = _comparable(found, events)
    try:
        return compare(earlier, found[-1].found, matters=found[-1].permissible) if earlier else None
    except InputError:  # typed readings without an uncertainty
        return None


def _comparable(found: Sequence[Determination], events: Sequence[Event]) -> list[UncertainComplex]:
    """Give what the job before the last had left, and what was found alike before, with the same pieces."""
    disturbed = [event.at for event in events if event.kind in DISTURBED]
    alike: list[UncertainComplex] = []
    for number in range(len(found) - 2, -1, -1):
        one = found[number]
        if one.left is None or one.bell != found[-1].bell:
            break
        if alike and (
            found[number + 1].record.frame.fitted
            or any(one.when < at < found[number + 1].when for at in disturbed)
        ):
            break
        alike.insert(0, one.left)
    return alike


def _trend(found: Sequence[Determination], events: Sequence[Event]) -> Trend | None:
    """Fit the part without what was put on: tape is no drift."""
    disturbed = max((event.at for event in events if event.kind in DISTURBED), default=None)
    points: list[tuple[date, UncertainComplex]] = []
    put_on = 0j
    for one in found:
        if disturbed is not None and one.when < disturbed:
            continue
        put_on += sum((piece.unbalance for piece in one.record.frame.fitted), 0j)
        if one.left is not None and one.bell == found[-1].bell:
            points.append((one.when.date(), replace(one.left, value=one.left.value - put_on)))
    try:
        return vector_trend(points)
    except InputError:  # fewer than three occasions
        return None

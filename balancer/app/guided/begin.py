"""Beginning a job on a part of the person's own: what the history offers, and the job that comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from balancer.app import services
from balancer.app.guided.entries import NewPart, TypedPart, part_of_job
from balancer.app.guided.keeping import JobFolder
from balancer.app.guided.link import PATIENCE, Link, check_free, history, part_in_use
from balancer.app.typed import all_there, typed_kg
from balancer.core.due import USUAL_MONTHS
from balancer.core.pieces import Stock
from balancer.errors import InputError
from balancer.history.bench import bench_part, known_good, known_hand
from balancer.history.jobs import jobs_of_part
from balancer.history.machines import get_machine
from balancer.history.parts import add_part, update_part
from balancer.history.queries import (
    ListedPart,
    PartFilter,
    count_parts,
    last_stand,
    list_parts,
    months_before,
)
from balancer.history.records.kept import new_id
from balancer.history.records.part import PartRecord, PropellerSizes
from balancer.history.records.stand import StandRecord
from balancer.history.stands import find_stand, get_stand, list_stands
from balancer.history.store import Store
from balancer.procedure.job import Job, Stand
from balancer.procedure.part import Hand, Kind
from balancer.units import kg_from_g, rad_s_from_rpm, rpm_from_rad_s

MOST = 300
"""Parts that are offered to choose from."""

NEW, NONE = "", "-"
"""Instead of an id: a part or a stand that is not in the history, and none at all."""


@dataclass(frozen=True)
class Offer:
    """What the history offers for a job.

    Parameters
    ----------
    parts : tuple of ListedPart
        Those in use, those on a machine first.
    total : int
        How many there are in all.
    bells : tuple of ListedPart
        What a propeller may stand on.
    stands : tuple of StandRecord
        By name.
    last_stand : str
        Id of the stand of the latest job; `NEW` if there is none.
    before : datetime
        What was last looked at before this time is due.
    """

    parts: tuple[ListedPart, ...] = ()
    total: int = 0
    bells: tuple[ListedPart, ...] = ()
    stands: tuple[StandRecord, ...] = ()
    last_stand: str = NEW
    before: datetime = datetime(1970, 1, 1, tzinfo=UTC)


def offer(home: Path, kind: Kind | None = None) -> Offer:
    """Give what the history offers; nothing where none was begun.

    Parameters
    ----------
    home : Path
        Folder of the person's data.
    kind : {"propeller", "bell", "adapter"}, optional
        Parts of this kind only.

    Returns
    -------
    Offer
        All as it was at one moment.
    """
    store = history(home)
    if store is None:
        return Offer()
    with store.snapshot():
        parts = _in_use(store, kind)
        return Offer(
            parts,
            sum(count_parts(store, PartFilter(kind=kind, state=state)) for state in ("fitted", "spare")),
            tuple(one for one in parts if one.kind == "bell") if kind is None else _in_use(store, "bell"),
            list_stands(store),
            last_stand(store) or NEW,
            months_before(datetime.now(UTC), USUAL_MONTHS),
        )


def _in_use(store: Store, kind: Kind | None) -> tuple[ListedPart, ...]:
    fitted = list_parts(store, PartFilter(kind=kind, state="fitted"), limit=MOST)
    return (*fitted, *list_parts(store, PartFilter(kind=kind, state="spare"), limit=MOST - len(fitted)))


@dataclass(frozen=True)
class Chosen:
    """A part of the history, and what it tells for a job.

    Parameters
    ----------
    part : PartRecord
        The part.
    machine : str
        Name of the machine that it is fitted to; empty if none.
    hand : {"ccw", "cw"} or None
        How it turns; None where that is not known.
    bell : str
        Id of the bell on its arm, which a propeller is taken to stand on before the person says otherwise;
        `NONE` if there is none.
    rpm : float or None
        Speed of its last job.
    """

    part: PartRecord
    machine: str = ""
    hand: Hand | None = None
    bell: str = NONE
    rpm: float | None = None


def chosen(home: Path, id: str) -> Chosen:
    """Give a part of the history with what it tells for a job.

    Raises
    ------
    InputError
        If it is not in the history, or no longer in use.
    """
    store = history(home)
    if store is None:
        raise InputError("this part is not in the history", todo="choose another part")
    with store.snapshot():
        part = part_in_use(store, id)
        if part.where.state == "retired":
            raise InputError(f"part {part.label} is retired", todo="choose another part")
        jobs = jobs_of_part(store, part.id, limit=1)
        speed = jobs[0].frame.speed if jobs else None
        return Chosen(
            part,
            "" if part.where.machine is None else get_machine(store, part.where.machine).name,
            part.sizes.hand if isinstance(part.sizes, PropellerSizes) else known_hand(store, part),
            _bell_below(store, part),
            None if speed is None else rpm_from_rad_s(speed),
        )


def _bell_below(store: Store, part: PartRecord) -> str:
    where = part.where
    if part.kind != "propeller" or where.machine is None:
        return NONE
    bells = list_parts(store, PartFilter(kind="bell", state="fitted", machine=where.machine))
    return next((one.id for one in bells if one.arm == where.arm), NONE)


def total_known(kind: Kind, own: float | None, bell: float | None) -> bool:
    """Say whether the mass of all that turns follows from that of the part and of the bell below."""
    return own is not None and (kind != "propeller" or bell is not None)


@dataclass(frozen=True)
class OnStand:
    """On what a part is balanced.

    Parameters
    ----------
    bell : str
        Id of the bell that a propeller stands on; empty for one that is not in the history.
    stand : str
        Id of the stand, `NEW` for the one that is typed, `NONE` for none that is kept.
    """

    bell: str = ""
    stand: str = NEW


def begin_unkept(folder: JobFolder, typed: TypedPart, stand: str, stock: Stock) -> str:
    """Begin a job on a part that is not in the history, and give the job's id.

    Raises
    ------
    InputError
        If something is missing (all of it in one sentence) or impossible.
    """
    job = typed.job(stock)
    return folder.begin(replace(job, stand=_stand(history(folder.home), typed, stand)))


def begin_new(folder: JobFolder, new: NewPart, on: OnStand, stock: Stock) -> str:
    """Keep a new part in the history and begin a job on it, both or neither; give the job's id.

    Raises
    ------
    InputError
        If something is missing or impossible, or the label is taken.
    OperationError
        If the history or the job cannot be written.
    """
    store = services.store(folder.home)
    with store.transaction(PATIENCE):
        bell = part_in_use(store, on.bell) if on.bell else None
        new.check(_total_known(new.typed.kind, new.record_mass, bell), bell is not None)
        part = new.record(datetime.now(UTC))
        add_part(store, part)
        return folder.begin(_job(store, part, bell, new.typed, on.stand, stock), link=_link(part, bell))


def begin_known(folder: JobFolder, id: str, typed: TypedPart, on: OnStand, stock: Stock) -> str:
    """Begin a job on a part of the history, and give the job's id.

    What the history does not know of the part and was typed (its mass, where masses may go) is kept with it.

    Parameters
    ----------
    folder : JobFolder
        Of the jobs.
    id : str
        Of the part.
    typed : TypedPart
        Speed and stand, and what the history does not tell.
    on : OnStand
        On what it is balanced.
    stock : Stock
        What there is to put on.

    Returns
    -------
    str
        The job's id.

    Raises
    ------
    InputError
        If something is missing (all of it in one sentence) or impossible.
    OperationError
        If the history or the job cannot be written.
    """
    store = services.store(folder.home)
    with store.transaction(PATIENCE):
        part = part_in_use(store, id)
        bell = part_in_use(store, on.bell) if on.bell else None
        typed = _as_known(part, typed)
        wanted: dict[str, object] = {"the speed": typed.rpm}
        if not _total_known(part.kind, part.mass, bell):
            wanted |= {"the mass of all that turns": typed.mass_g}
        all_there(wanted | (typed.places_wanted if part.places is None else {}))
        whole = _completed(part, typed)
        if whole != part:
            whole = update_part(store, whole, datetime.now(UTC))
        return folder.begin(_job(store, whole, bell, typed, on.stand, stock), link=_link(part, bell))


def keep_part_of(folder: JobFolder, id: str, label: str, diameter_mm: float | None) -> str:
    """Keep the part of a job in the history, as far as the job tells of it, and give the part's id.

    Parameters
    ----------
    folder : JobFolder
        Of the jobs.
    id : str
        Of the job.
    label : str
        What is written on the part.
    diameter_mm : float or None
        Of a propeller.

    Returns
    -------
    str
        The part's id.

    Raises
    ------
    InputError
        If something is missing, the label is taken, or the job is on the simulated bench or kept already.
    """
    kept = folder.get(id)
    check_free(kept)
    record = part_of_job(kept.job.part, label, diameter_mm)
    store = services.store(folder.home)
    with store.transaction(PATIENCE):
        add_part(store, record)
    return record.id


def _as_known(part: PartRecord, typed: TypedPart) -> TypedPart:
    blades = part.sizes.blades if isinstance(part.sizes, PropellerSizes) else typed.blades
    return replace(typed, kind=part.kind, blades=blades)


def _completed(part: PartRecord, typed: TypedPart) -> PartRecord:
    """Give a part with what was typed where nothing was known."""
    if part.places is None:
        part = replace(part, places=typed.places())
    if part.mass is None and part.kind != "propeller" and typed.mass_g is not None:
        part = replace(part, mass=kg_from_g(typed.mass_g))
    return part


def _job(
    store: Store, part: PartRecord, bell: PartRecord | None, typed: TypedPart, stand: str, stock: Stock
) -> Job:
    mass = None if _total_known(part.kind, part.mass, bell) else typed_kg(typed.mass_g)
    assert typed.rpm is not None
    return Job(
        bench_part(store, part, bell, hand=typed.hand, mass=mass),
        stock,
        speed=rad_s_from_rpm(typed.rpm),
        stand=_stand(store, typed, stand),
        below="balanced" if bell is not None and known_good(store, bell) else "unbalanced",
    )


def _total_known(kind: Kind, own: float | None, bell: PartRecord | None) -> bool:
    return total_known(kind, own, None if bell is None else bell.mass)


def _link(part: PartRecord, bell: PartRecord | None) -> Link:
    return Link(part.id, "" if bell is None else bell.id)


def _stand(store: Store | None, typed: TypedPart, choice: str) -> Stand:
    if choice == NONE:
        return Stand()
    if choice == NEW or store is None:
        stand = typed.typed_stand
        if stand.name:  # a name that the history refuses would keep the job out of it for good
            StandRecord(id=new_id(), edited=datetime.now(UTC), name=stand.name)
        if store is not None and stand.name and find_stand(store, stand.name) is not None:
            raise InputError(f'there is a stand "{stand.name}" already', todo="choose it in the list")
        return stand
    there = get_stand(store, choice)
    return Stand(there.name, there.moving_mass)

"""The parts' own unbalance vectors for matching, from the jobs in the history.

The rule: a part's own unbalance is what its last job left, with the pieces that are on. A bell is measured
alone; a propeller is measured on a bell, with both marks in line, and its own share is the assembly less what
the bell had by then. Nothing counts that was found before a crash or a repair. Where the history cannot tell
it, the part is named with the reason. The two measurements are taken for independent; where one coefficient
stands behind both, the uncertainty of the difference is a little too large.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from balancer.core.matching import Fitted, Hub, Motor, Propeller
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.history.events import events_of
from balancer.history.parts import get_part
from balancer.history.queries import PartFilter, list_parts
from balancer.history.records.event import DISTURBED
from balancer.history.records.machine import Machine
from balancer.history.records.part import PartRecord, PropellerSizes
from balancer.history.store import Store
from balancer.history.story import Determination, Teller
from balancer.units import mm_from_m


@dataclass(frozen=True)
class Own:
    """A part's own unbalance.

    Parameters
    ----------
    part : PartRecord
        The part.
    vector : UncertainComplex
        In kg m from the part's own mark, with the pieces that are on.
    when : datetime
        When the job that tells it was started.
    bell : str
        Label of the bell that a propeller stood on, else empty.
    speed : float
        Of that job, in rad/s.
    """

    part: PartRecord
    vector: UncertainComplex
    when: datetime
    bell: str
    speed: float


def own_unbalance(store: Store, part: PartRecord, teller: Teller | None = None) -> Own | Finding:
    """Give a part's own unbalance, or why the history cannot tell it.

    Parameters
    ----------
    store : Store
        The history.
    part : PartRecord
        A bell or a propeller.
    teller : Teller, optional
        One that has told of other parts before: what a bell has is then worked out once.

    Returns
    -------
    Own or Finding
        The vector, or the reason.
    """
    with store.snapshot():
        teller = teller or Teller(store)
        last = _last_told(teller.backwards(part.id))
        if last is None or last.left is None or last.speed is None:
            return Finding.of("own_not_measured", "warning", names=part.label)
        if _disturbed(store, part.id, last.when, None):
            return Finding.of("own_disturbed", "warning", names=part.label)
        if part.kind != "propeller":
            return Own(part, last.left, last.when, "", last.speed)
        if not last.bell:
            return Finding.of("own_bell_not_named", "warning", names=part.label)
        bell = get_part(store, last.bell)
        below = _last_told(one for one in teller.backwards(bell.id) if one.when <= last.when)
        if below is None or below.left is None or _disturbed(store, bell.id, below.when, last.when):
            return Finding.of("own_bell_not_measured", "warning", names=part.label, text=bell.label)
        covariance = last.left.covariance.plus(below.left.covariance)
        vector = UncertainComplex(last.left.value - below.left.value, covariance)
        return Own(part, vector, last.when, bell.label, last.speed)


def _last_told(found: Iterable[Determination]) -> Determination | None:
    return next((one for one in found if one.left is not None and one.left.covariance.radius > 0), None)


def _disturbed(store: Store, part: str, after: datetime, before: datetime | None) -> bool:
    return any(
        event.kind in DISTURBED and event.at > after and (before is None or event.at < before)
        for event in events_of(store, part, limit=1000)
    )


@dataclass(frozen=True)
class Candidates:
    """What can be matched on a machine.

    Parameters
    ----------
    motors : tuple of Motor
        The arms whose bell is known, named ``arm 1`` and so on.
    propellers : tuple of Propeller
        Those on these arms, and the spares, as far as they are known.
    fitted : tuple of Fitted
        What is on these arms now, turned as the history has it; in line where it does not know.
    assumed : tuple of str
        Labels of those of them whose marks are only assumed to be in line.
    sources : tuple of Own
        Where the vectors come from.
    left_out : tuple of Finding
        Which arms and parts are not among them, and why.
    """

    motors: tuple[Motor, ...]
    propellers: tuple[Propeller, ...]
    fitted: tuple[Fitted, ...]
    assumed: tuple[str, ...]
    sources: tuple[Own, ...]
    left_out: tuple[Finding, ...]


def candidates(store: Store, machine: Machine, hub: Hub, speed: float | None = None) -> Candidates:
    """Gather what can be matched on a machine.

    Parameters
    ----------
    store : Store
        The history.
    machine : Machine
        The machine.
    hub : Hub
        How its propellers can be turned.
    speed : float, optional
        In hover, in rad/s; that of the parts' last jobs by default.

    Returns
    -------
    Candidates
        Arms, propellers and what is left out.

    Raises
    ------
    InputError
        If no arm is left.
    """
    with store.snapshot():
        on = _on_arms(store, machine)
        spares = _parts(store, PartFilter(kind="propeller", state="spare"))
        teller = Teller(store)
        told: dict[str, Own] = {}
        left_out: list[Finding] = []
        arms = [arm.number for arm in machine.arms if _known_arm(teller, arm.number, on, told, left_out)]
        there = {number: on[number, "propeller"] for number in arms if (number, "propeller") in on}
        for part in spares:
            _tell(teller, part, told, left_out)
    if not arms:
        raise InputError(
            f"the history knows the own unbalance of bell and propeller for no arm of {machine.name}",
            todo="balance the bare bells, then each propeller on a bell, and keep the jobs with job save",
        )
    return Candidates(
        motors=tuple(_motor(machine, number, on, told, hub, speed) for number in arms),
        propellers=tuple(_propeller(told[one.id]) for one in (*there.values(), *spares) if one.id in told),
        fitted=tuple(Fitted(_arm(arm), one.label, one.where.turned or 0.0) for arm, one in there.items()),
        assumed=tuple(one.label for one in there.values() if one.where.turned is None),
        sources=tuple(own for own in told.values() if own.part in spares or _on(own, arms)),
        left_out=tuple(left_out),
    )


def _parts(store: Store, only: PartFilter) -> list[PartRecord]:
    return [get_part(store, one.id) for one in list_parts(store, only, limit=1000)]


def _on_arms(store: Store, machine: Machine) -> dict[tuple[int, str], PartRecord]:
    parts = _parts(store, PartFilter(machine=machine.id, state="fitted"))
    return {(one.where.arm, one.kind): one for one in parts if one.where.arm is not None}


def _known_arm(
    teller: Teller,
    number: int,
    on: Mapping[tuple[int, str], PartRecord],
    told: dict[str, Own],
    left_out: list[Finding],
) -> bool:
    """Say whether bell and propeller of an arm are known; an arm without a propeller wants one."""
    bell, propeller = on.get((number, "bell")), on.get((number, "propeller"))
    if bell is None:
        left_out.append(Finding.of("arm_without_bell", "warning", names=_arm(number)))
        return False
    known = _tell(teller, bell, told, left_out)
    if propeller is not None:
        # what is on and not known cannot be compared with anything else
        known = _tell(teller, propeller, told, left_out) and known
    if not known:
        left_out.append(Finding.of("arm_left_out", "info", names=_arm(number)))
    return known


def _tell(teller: Teller, part: PartRecord, told: dict[str, Own], left_out: list[Finding]) -> bool:
    found = (
        own_unbalance(teller.store, part, teller)
        if part.mass
        else Finding.of("own_not_weighed", "warning", names=part.label)
    )
    if isinstance(found, Own):
        told[part.id] = found
        return True
    left_out.append(found)
    return False


def _arm(number: int) -> str:
    return f"arm {number}"


def _on(own: Own, arms: Sequence[int]) -> bool:
    return own.part.where.state == "fitted" and own.part.where.arm in arms


def _motor(
    machine: Machine,
    number: int,
    on: Mapping[tuple[int, str], PartRecord],
    told: Mapping[str, Own],
    hub: Hub,
    speed: float | None,
) -> Motor:
    bell, propeller = on[number, "bell"], on.get((number, "propeller"))
    own = told[bell.id]
    assert bell.mass is not None
    return Motor(
        name=_arm(number),
        bell=own.vector,
        hand=machine.arm(number).hand,
        mass=bell.mass,
        speed=speed or own.speed,
        hub=hub,
        takes="" if propeller is None else _type(propeller),
        places=bell.places,
    )


def _propeller(own: Own) -> Propeller:
    part = own.part
    assert isinstance(part.sizes, PropellerSizes)
    assert part.mass is not None
    return Propeller(part.label, own.vector, part.sizes.hand, part.mass, _type(part), places=part.places)


def _type(part: PartRecord) -> str:
    """Give what makes two propellers alike: diameter, pitch and blades."""
    sizes = part.sizes
    if not isinstance(sizes, PropellerSizes):
        return ""
    pitch = "?" if sizes.pitch is None else f"{mm_from_m(sizes.pitch):.0f}"
    return f"{mm_from_m(sizes.diameter):.0f}x{pitch} mm, {sizes.blades} blades"

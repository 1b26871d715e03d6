"""What a person types about parts and machines, turned into records; all that is missing is told at once."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time
from typing import Any, Literal

from balancer.app.typed import all_there, typed_kg, typed_m
from balancer.core.places import Blade, Places, Ring, Slot, Spots, evenly
from balancer.errors import InputError
from balancer.history.records.kept import new_id
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import (
    RETIRED,
    SPARE,
    BellSizes,
    Location,
    PartRecord,
    PropellerSizes,
    State,
)
from balancer.procedure.part import Hand, Kind
from balancer.units import g_from_kg, in_from_mm, m_from_mm, mm_from_in, mm_from_m

Unit = Literal["in", "mm"]

_DIGITS = 6  # behind the point, of what is shown to be changed: less than anyone measures


@dataclass(frozen=True)
class TypedPart:
    """What is typed about a part, as it stands in the boxes; None where a box is empty.

    Parameters
    ----------
    kind : {"propeller", "bell", "adapter"}
        What it is.
    label, words : str
        What is written on it, and what else there is to say.
    mass_g, grade : float or None
        Of the part alone in g, and the grade asked for in mm/s.
    unit : {"in", "mm"}
        Of diameter and pitch.
    diameter, pitch : float or None
        Of a propeller.
    blades : int or None
        How many.
    hand : {"ccw", "cw"} or None
        How a propeller turns, seen from the front.
    material, motor : str
        Of a propeller; of a bell.
    rim_mm : float or None
        Radius of a bell's rim.
    magnets : int or None
        Of a bell.
    inner_mm, outer_mm, usual_mm : float or None
        Between which radii tape may lie on a blade, and where it is liked best.
    faces : int or None
        How many faces of a blade take tape; 2 by default.
    sand_mm : float or None
        Beyond which radius the back of a blade may be sanded.
    ring_mm : float or None
        Radius of the hub or rim that takes masses.
    slots, screws : int or None
        How many slots the ring has, and how many screw heads there are.
    slot_deg, screw_mm : float or None
        How wide each slot is, and at what radius the screws sit.
    first_deg : float or None
        Angle of the first blade, slot and screw; 0 by default.
    """

    kind: Kind = "propeller"
    label: str = ""
    words: str = ""
    mass_g: float | None = None
    grade: float | None = None
    unit: Unit = "in"
    diameter: float | None = None
    pitch: float | None = None
    blades: int | None = None
    hand: Hand | None = None
    material: str = ""
    motor: str = ""
    rim_mm: float | None = None
    magnets: int | None = None
    inner_mm: float | None = None
    outer_mm: float | None = None
    usual_mm: float | None = None
    faces: int | None = None
    sand_mm: float | None = None
    ring_mm: float | None = None
    slots: int | None = None
    slot_deg: float | None = None
    screws: int | None = None
    screw_mm: float | None = None
    first_deg: float | None = None

    @classmethod
    def of(cls, part: PartRecord) -> TypedPart:
        """Give a part as it would be typed."""
        sizes = part.sizes
        known: dict[str, Any] = {}
        if isinstance(sizes, PropellerSizes):
            known = {
                "diameter": _inches(sizes.diameter),
                "pitch": None if sizes.pitch is None else _inches(sizes.pitch),
                "blades": sizes.blades,
                "hand": sizes.hand,
                "material": sizes.material,
            }
        elif isinstance(sizes, BellSizes):
            known = {"motor": sizes.motor, "rim_mm": _mm(sizes.radius), "magnets": sizes.magnets}
        return cls(
            kind=part.kind,
            label=part.label,
            words=part.words,
            mass_g=None if part.mass is None else round(g_from_kg(part.mass), _DIGITS),
            grade=round(part.grade * 1e3, _DIGITS),
            **known,
            **({} if part.places is None else _typed_places(part.places)),
        )

    def new(self, id: str, now: datetime, where: Location) -> PartRecord:
        """Make a new part of it.

        Parameters
        ----------
        id : str
            For the part.
        now : datetime
            With its time zone.
        where : Location
            Where it is.

        Returns
        -------
        PartRecord
            The part.

        Raises
        ------
        InputError
            If something is missing (all of it in one sentence) or impossible.
        """
        all_there(self._wanted())
        assert self.grade is not None
        return PartRecord(
            id=id,
            edited=now,
            label=self.label.strip(),
            kind=self.kind,
            mass=typed_kg(self.mass_g),
            sizes=self._sizes(),
            words=self.words.strip(),
            where=where,
            places=self._places(),
            grade=self.grade * 1e-3,
        )

    def onto(self, old: PartRecord) -> PartRecord:
        """Change a part to it: what reads as before stays as it is, to the last digit.

        Raises
        ------
        InputError
            As in `new`.
        """
        before = TypedPart.of(old)
        changed = {name for name in names(self) if getattr(self, name) != getattr(before, name)}
        new = self.new(old.id, old.edited, old.where)
        result = replace(old, label=new.label, words=new.words)
        if "mass_g" in changed:
            result = replace(result, mass=new.mass)
        if "grade" in changed:
            result = replace(result, grade=new.grade)
        # sizes and places together: another number of blades needs other places
        sizes = new.sizes if changed & _SIZES else old.sizes
        places = new.places if changed & _PLACES else old.places
        return replace(result, sizes=sizes, places=places)

    def _wanted(self) -> dict[str, object]:
        wanted: dict[str, object] = {"the label": self.label.strip() or None}
        if self.kind == "propeller":
            wanted |= {
                "the diameter": self.diameter,
                "the number of blades": self.blades,
                "which way it turns": self.hand,
            }
        wanted |= {"the grade": self.grade}
        if self._says_places() and self.kind == "propeller":
            wanted |= {"from where tape may lie": self.inner_mm, "to where it may lie": self.outer_mm}
        if self.slots is not None:
            wanted |= {
                "the radius of the ring with the slots": self.ring_mm,
                "how wide a slot is": self.slot_deg,
            }
        if self.screws is not None or self.screw_mm is not None:
            wanted |= {"how many screw heads": self.screws, "the radius of the screw heads": self.screw_mm}
        return wanted

    def _says_places(self) -> bool:
        said = (self.ring_mm, self.screws, self.screw_mm, self.slots)
        blade = (
            (self.inner_mm, self.outer_mm, self.usual_mm, self.sand_mm) if self.kind == "propeller" else ()
        )
        return any(value is not None for value in (*said, *blade))

    def _sizes(self) -> PropellerSizes | BellSizes | None:
        if self.kind == "propeller":
            diameter = self._metres(self.diameter)
            assert diameter is not None
            assert self.blades is not None
            assert self.hand is not None
            return PropellerSizes(
                diameter, self.blades, self.hand, self._metres(self.pitch), self.material.strip()
            )
        if self.kind == "bell":
            return BellSizes(typed_m(self.rim_mm), self.motor.strip(), self.magnets)
        return None

    def _metres(self, size: float | None) -> float | None:
        return typed_m(size if size is None or self.unit == "mm" else mm_from_in(size))

    def _places(self) -> Places | None:
        if not self._says_places():
            return None
        first = math.radians(self.first_deg or 0.0)
        rings: tuple[Ring, ...] = ()
        if self.ring_mm is not None:
            wide = math.radians(self.slot_deg or 0.0)
            slots = tuple(Slot(angle, wide) for angle in evenly(self.slots or 0, first))
            rings = (Ring("hub" if self.kind == "propeller" else "rim", m_from_mm(self.ring_mm), slots),)
        spots: tuple[Spots, ...] = ()
        if self.screws is not None and self.screw_mm is not None:
            spots = (Spots("screw", m_from_mm(self.screw_mm), evenly(self.screws, first)),)
        return Places(self._blades(first), rings, spots)

    def _blades(self, first: float) -> tuple[Blade, ...]:
        if self.kind != "propeller":
            return ()
        assert self.blades is not None
        assert self.inner_mm is not None
        assert self.outer_mm is not None
        return Places.of_propeller(
            self.blades,
            m_from_mm(self.inner_mm),
            m_from_mm(self.outer_mm),
            usual=typed_m(self.usual_mm),
            first=first,
            faces=self.faces or 2,
            sanded_from=typed_m(self.sand_mm),
        ).blades


_PLACE_BOXES = frozenset({"inner_mm", "outer_mm", "usual_mm", "faces", "sand_mm", "ring_mm"})
_PLACES = _PLACE_BOXES | {"slots", "slot_deg", "screws", "screw_mm", "first_deg", "blades"}
_SIZES = frozenset({"unit", "diameter", "pitch", "blades", "hand", "material", "motor", "rim_mm", "magnets"})


def names(typed: TypedPart | TypedMachine) -> tuple[str, ...]:
    """Give the names of all boxes."""
    return tuple(one.name for one in fields(typed))


def _typed_places(places: Places) -> dict[str, Any]:
    """Give places as they would be typed; what the boxes cannot say is left out."""
    blade = places.blades[0] if places.blades else None
    ring = places.rings[0] if places.rings else None
    spots = places.spots[0] if places.spots else None
    slots = () if ring is None else ring.slots
    firsts = [
        *(one.angle for one in places.blades[:1]),
        *(one.angle for one in slots[:1]),
        *(spots.angles[:1] if spots else ()),
    ]
    first = round(math.degrees(firsts[0]), _DIGITS) if firsts else 0.0
    return {
        "inner_mm": None if blade is None else _mm(blade.inner),
        "outer_mm": None if blade is None else _mm(blade.outer),
        "usual_mm": None if blade is None else _mm(blade.usual),
        "faces": None if blade is None else blade.faces,
        "sand_mm": None if blade is None else _mm(blade.sanded_from),
        "ring_mm": None if ring is None else _mm(ring.radius),
        "slots": len(slots) or None,
        "slot_deg": round(math.degrees(slots[0].span), _DIGITS) if slots else None,
        "screws": len(spots.angles) if spots else None,
        "screw_mm": _mm(spots.radius) if spots else None,
        "first_deg": first or None,
    }


def place_of(
    state: State | None, machine: Machine | None, arm: int | None, turned_deg: float | None = None
) -> Location:
    """Give where a part is said to be, a propeller at so many degrees from the bell against the rotation.

    Raises
    ------
    InputError
        If something is missing, or the machine has no such arm.
    """
    if state is None:
        raise InputError("still missing: where it is now", todo="choose it and press again")
    if state != "fitted":
        return SPARE if state == "spare" else RETIRED
    all_there({"the machine": machine, "the arm": arm})
    assert machine is not None
    assert arm is not None
    turned = None if turned_deg is None else math.radians(turned_deg % 360)
    return Location("fitted", machine.id, machine.arm(arm).number, turned)


def moment_of(day: date | None, now: datetime) -> datetime:
    """Give when something happened on a day: now for today, else at noon of the clock on the wall."""
    if day is None or day == now.astimezone().date():
        return now
    return datetime.combine(day, time(12)).astimezone()


@dataclass(frozen=True)
class TypedMachine:
    """What is typed about a machine: its name, how many arms, which of them turn clockwise, words."""

    name: str = ""
    arms: int | None = None
    clockwise: tuple[int, ...] = ()
    words: str = ""

    @classmethod
    def of(cls, machine: Machine) -> TypedMachine:
        """Give a machine as it would be typed."""
        clockwise = tuple(arm.number for arm in machine.arms if arm.hand == "cw")
        return cls(machine.name, max(arm.number for arm in machine.arms), clockwise, machine.words)

    def new(self, now: datetime) -> Machine:
        """Make a new machine of it; an `InputError` if something is missing or impossible."""
        all_there({"the name": self.name.strip() or None, "how many arms it has": self.arms})
        return Machine(
            id=new_id(), edited=now, name=self.name.strip(), arms=self._arms(), words=self.words.strip()
        )

    def onto(self, old: Machine) -> Machine:
        """Change a machine to it; an `InputError` if something is missing or impossible."""
        new = self.new(old.edited)
        arms = (
            old.arms if self == replace(TypedMachine.of(old), name=self.name, words=self.words) else new.arms
        )
        return replace(old, name=new.name, arms=arms, words=new.words)

    def _arms(self) -> tuple[Arm, ...]:
        return tuple(
            Arm(number, "cw" if number in self.clockwise else "ccw")
            for number in range(1, (self.arms or 0) + 1)
        )


def by_turns(arms: int) -> tuple[int, ...]:
    """Give the arms that turn clockwise where they turn by turns: every second one."""
    return tuple(range(2, arms + 1, 2))


def _mm(metres: float | None) -> float | None:
    return None if metres is None else round(mm_from_m(metres), _DIGITS)


def _inches(metres: float) -> float:
    return round(in_from_mm(mm_from_m(metres)), _DIGITS)

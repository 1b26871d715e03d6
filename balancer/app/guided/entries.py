"""What a person types, turned into values of the procedure; all that is missing is told at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation

from balancer.app.typed import all_there, typed_kg, typed_m
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.core.pieces import Stock
from balancer.core.places import Places, Ring
from balancer.core.runs import Reading
from balancer.core.tape import Tape, usual_tape
from balancer.errors import InputError
from balancer.history.records.kept import new_id
from balancer.history.records.part import BellSizes, PartRecord, PropellerSizes
from balancer.procedure.job import Job, Stand
from balancer.procedure.part import Hand, Kind, Part
from balancer.procedure.typed import typed_reading
from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

LONGEST_WORDS = 80
"""Characters of a name or a reason that are kept."""


@dataclass(frozen=True)
class TypedPart:
    """What the person says about a part of their own; None where nothing was typed.

    Parameters
    ----------
    kind : {"propeller", "bell"}
        What it is.
    name : str
        What is written on it.
    mass_g : float or None
        Of all that turns.
    rpm : float or None
        Speed of the runs.
    hand : {"ccw", "cw"}
        How it turns, seen from the front.
    grade_mm_s : float
        Balance quality grade asked for.
    blades : int
        Of a propeller.
    inner_mm, outer_mm : float or None
        Between which radii tape may lie on a blade.
    ring_mm : float or None
        Radius of the hub or the rim that takes tape; None: none does.
    first_deg : float
        Angle of blade 1 from the mark, against the rotation.
    stand : str
        Name of the stand.
    moving_g : float or None
        All that shakes on it.
    """

    kind: Kind
    name: str = ""
    mass_g: float | None = None
    rpm: float | None = None
    hand: Hand = "ccw"
    grade_mm_s: float = 6.3
    blades: int = 2
    inner_mm: float | None = None
    outer_mm: float | None = None
    ring_mm: float | None = None
    first_deg: float = 0.0
    stand: str = ""
    moving_g: float | None = None

    def job(self, stock: Stock) -> Job:
        """Begin a job on it.

        Raises
        ------
        InputError
            If something is missing (all of it in one sentence) or impossible.
        """
        wanted = {"the mass of all that turns": self.mass_g, "the speed": self.rpm}
        all_there(wanted | self.places_wanted)
        assert self.mass_g is not None
        assert self.rpm is not None
        part = Part(
            self.kind,
            kg_from_g(self.mass_g),
            self.places(),
            name=short(self.name),
            hand=self.hand,
            grade=self.grade_mm_s * 1e-3,
        )
        return Job(part, stock, speed=rad_s_from_rpm(self.rpm), stand=self.typed_stand, below="unbalanced")

    @property
    def typed_stand(self) -> Stand:
        """The stand that was typed."""
        return Stand(short(self.stand), typed_kg(self.moving_g))

    @property
    def places_wanted(self) -> dict[str, float | None]:
        """What must be known of where masses may go; None where it is missing."""
        if self.kind == "propeller":
            return {"from where tape may lie": self.inner_mm, "to where it may lie": self.outer_mm}
        return {"the radius of the rim": self.ring_mm}

    def places(self) -> Places:
        """Give where masses may go; all of `places_wanted` must be there."""
        if self.kind != "propeller":
            return Places.of_bell(m_from_mm(self.ring_mm or 0.0))
        ring = None if self.ring_mm is None else Ring("hub or bell rim", m_from_mm(self.ring_mm))
        inner, outer = m_from_mm(self.inner_mm or 0.0), m_from_mm(self.outer_mm or 0.0)
        first = math.radians(self.first_deg % 360.0)
        return Places.of_propeller(self.blades, inner, outer, first=first, ring=ring)


@dataclass(frozen=True)
class NewPart:
    """A part of the person's own that is to be kept in the history.

    Parameters
    ----------
    typed : TypedPart
        What is said of it; the name is its label.
    diameter_mm : float or None
        Of a propeller.
    own_mass_g : float or None
        Of a propeller by itself.
    """

    typed: TypedPart
    diameter_mm: float | None = None
    own_mass_g: float | None = None

    @property
    def record_mass(self) -> float | None:
        """Mass in kg of the part by itself; None where nothing was typed."""
        return typed_kg(self.own_mass_g if self.typed.kind == "propeller" else self.typed.mass_g)

    def check(self, total_known: bool, on_bell: bool) -> None:
        """Refuse it with all that is missing in one sentence.

        Parameters
        ----------
        total_known : bool
            Whether the mass of all that turns follows from that of part and bell.
        on_bell : bool
            Whether it stands on a bell of the history.
        """
        typed = self.typed
        wanted: dict[str, object] = {"the label": short(typed.name) or None}
        if typed.kind == "propeller":
            wanted["the diameter"] = self.diameter_mm
        if not total_known:
            of_all = typed.kind != "propeller" or not on_bell
            what = (
                "the mass of all that turns" if of_all else "the mass of the propeller or of all that turns"
            )
            wanted[what] = typed.mass_g
        all_there(wanted | {"the speed": typed.rpm} | typed.places_wanted)

    def record(self, now: datetime) -> PartRecord:
        """Give it as the history keeps it: a spare part, until it is said where it is."""
        typed = self.typed
        propeller = typed.kind == "propeller"
        return PartRecord(
            id=new_id(),
            edited=now,
            label=short(typed.name),
            kind=typed.kind,
            mass=self.record_mass,
            sizes=(
                PropellerSizes(m_from_mm(self.diameter_mm or 0.0), typed.blades, typed.hand)
                if propeller
                else BellSizes(typed_m(typed.ring_mm))
            ),
            places=typed.places(),
            grade=typed.grade_mm_s * 1e-3,
        )


def part_of_job(part: Part, label: str, diameter_mm: float | None) -> PartRecord:
    """Give a part that a job is about as the history keeps it.

    Parameters
    ----------
    part : Part
        As the job has it.
    label : str
        What is written on it.
    diameter_mm : float or None
        Of a propeller.

    Returns
    -------
    PartRecord
        A spare part. A propeller's own mass is not known: that of the job is of all that turns.

    Raises
    ------
    InputError
        If something is missing (all of it in one sentence) or impossible.
    """
    propeller = part.kind == "propeller"
    all_there({"the label": short(label) or None} | ({"the diameter": diameter_mm} if propeller else {}))
    sizes: PropellerSizes | BellSizes | None = BellSizes() if part.kind == "bell" else None
    if propeller:
        sizes = PropellerSizes(m_from_mm(diameter_mm or 0.0), len(part.places.blades), part.hand)
    return PartRecord(
        id=new_id(),
        edited=datetime.now(UTC),
        label=short(label),
        kind=part.kind,
        mass=None if propeller else part.mass,
        sizes=sizes,
        places=part.places,
        grade=part.grade,
    )


def reading_of(amplitude: str, phase: str, *, lead: bool, unit: Vibration = IN_M_S2) -> Reading:
    """Give a typed reading in m/s^2; its digits, as they were typed, tell how well it is known.

    Parameters
    ----------
    amplitude : str
        As typed, with a point or a comma.
    phase : str
        In degrees; empty: amplitudes only.
    lead : bool
        Whether the phase counts as a lead.
    unit : Vibration
        Of the typed amplitude.

    Raises
    ------
    InputError
        If one of them is no number.

    Examples
    --------
    >>> reading_of("7,0", "", lead=False).value
    7.0
    """
    size = _number(amplitude, "the amplitude")
    if size < 0:
        raise InputError("the amplitude is below 0", todo="give the size of the shaking")
    typed = typed_reading(size, _number(phase, "the phase") if phase.strip() else None, lead=lead)
    return typed.times(1.0 / unit.factor)


def _number(text: str, what: str) -> Decimal:
    if not text.strip():
        raise InputError(f"still missing: {what}", todo="type it and press again")
    try:
        number = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite() or abs(number) > 1_000_000:
        raise InputError(f"{what} is not a number: {short(text)}", todo="type it like 7.05")
    return number


def stock_of(
    kind: str, width_mm: float, strip_mm: float | None = None, strip_g: float | None = None
) -> Stock:
    """Give what there is to put on.

    Parameters
    ----------
    kind : str
        A kind of tape of the list, or ``weighed`` for one of which the person weighed a strip.
    width_mm : float
        In mm.
    strip_mm, strip_g : float or None
        Length in mm and mass in g of the weighed strip.

    Returns
    -------
    Stock
        The roll.

    Raises
    ------
    InputError
        If a figure is missing or not above 0.
    """
    if kind != "weighed":
        return Stock(usual_tape(kind, m_from_mm(width_mm)))
    if strip_mm is None or strip_g is None:
        raise InputError("the weighed strip needs a length and a mass", todo="give both under Your tape")
    return Stock(Tape.of_strip("your", kg_from_g(strip_g), m_from_mm(strip_mm), m_from_mm(width_mm)))


def reason_of(text: str) -> str:
    """Give why a run is set aside; an `InputError` if nothing was said."""
    if not text.strip():
        raise InputError("a run is set aside for a reason", todo="say in a few words why")
    return short(text)


def short(text: str) -> str:
    """Give words in one line, no longer than `LONGEST_WORDS`."""
    return " ".join(text.split())[:LONGEST_WORDS]

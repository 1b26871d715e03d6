"""What a person says is on the rotor: tape on a blade, a drop at an angle, a screw, sanded material."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from balancer.app.guided.keeping import Kept
from balancer.app.typed import all_there
from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Places
from balancer.core.tape import Strip
from balancer.errors import InputError
from balancer.units import g_from_kg, kg_from_g, m_from_mm, mm_from_m
from balancer.wording import Direction

What = Literal["tape", "drop", "washer", "removed", "mass"]

WHATS: Mapping[What, str] = MappingProxyType(
    {
        "tape": "Tape",
        "drop": "Drop of glue",
        "washer": "Washer or screw",
        "removed": "Material taken off",
        "mass": "Another mass",
    }
)
ELSEWHERE = "elsewhere"


@dataclass(frozen=True)
class Place:
    """A place that can be named instead of an angle or a radius.

    Parameters
    ----------
    name : str
        As in ``blade 1``, ``bell rim`` or ``screw 2``.
    radius : float or None
        In m; None where it is free.
    angle : float or None
        In rad against the rotation; None where it is free.
    along_blade : bool
        Whether it lies on a blade.
    usual : float or None
        Radius in m that is usual there.
    """

    name: str
    radius: float | None = None
    angle: float | None = None
    along_blade: bool = False
    usual: float | None = None


def places_for(what: What, places: Places) -> tuple[Place, ...]:
    """List the places that something can be at: tape lies on blades and rings, all else anywhere."""
    blades = [
        Place(blade.name, None, blade.angle, along_blade=True, usual=blade.usual_radius)
        for blade in places.blades
    ]
    rings = [Place(ring.name, ring.radius) for ring in places.rings]
    if what == "tape":
        return (*blades, *rings)
    screws = [
        Place(f"{spots.name} {number}", spots.radius, angle)
        for spots in places.spots
        for number, angle in enumerate(spots.angles, 1)
    ]
    return (*blades, *rings, *screws, Place(ELSEWHERE))


@dataclass(frozen=True)
class TypedPiece:
    """A piece as it is said, None where nothing was typed.

    Parameters
    ----------
    what : str
        One of `WHATS`.
    where : str
        Name of its place; empty for the first one.
    length_mm : float or None
        Of a strip, one layer.
    layers : int
        Of a strip.
    mass_g : float or None
        Of all else; 0 is a piece that is not on.
    radius_mm, angle_deg : float or None
        Of its middle, where the place leaves them free; the angle as the person counts.
    """

    what: What
    where: str = ""
    length_mm: float | None = None
    layers: int = 1
    mass_g: float | None = None
    radius_mm: float | None = None
    angle_deg: float | None = None

    @classmethod
    def of_piece(cls, piece: Piece, places: Places, direction: Direction) -> TypedPiece:
        """Say a piece as a person would."""
        what: What = piece.kind if piece.strip is None or piece.kind != "tape" else "tape"
        named = {place.name for place in places_for(what, places)}
        if what == "tape" and (piece.strip is None or piece.where not in named):
            what = "mass"
            named = {place.name for place in places_for(what, places)}
        angle = math.degrees(piece.angle)
        return cls(
            what,
            piece.where if piece.where in named else ELSEWHERE,
            None if piece.strip is None else round(mm_from_m(piece.strip.length), 2),
            1 if piece.strip is None else piece.strip.layers,
            round(g_from_kg(abs(piece.mass.mass)), 5),
            round(mm_from_m(piece.radius), 2),
            round((angle if direction == "against" else -angle) % 360.0, 2),
        )

    def relevant(self, places: Places) -> TypedPiece:
        """Leave out what its place and its kind settle already."""
        place, tape = self.place(places), self.what == "tape"
        return replace(
            self,
            where=place.name,
            length_mm=self.length_mm if tape else None,
            layers=self.layers if tape else 1,
            mass_g=None if tape else self.mass_g,
            radius_mm=self.radius_mm if place.radius is None else None,
            angle_deg=self.angle_deg if place.angle is None else None,
        )

    @property
    def size(self) -> float | None:
        """What says whether it is there at all: length of tape, else mass."""
        return self.length_mm if self.what == "tape" else self.mass_g

    def piece(self, number: int, places: Places, stock: Stock, direction: Direction) -> Piece:
        """Make the piece of it.

        Parameters
        ----------
        number : int
            Of its row, for the words of what is missing.
        places : Places
            Of the part.
        stock : Stock
            With the tape of the job.
        direction : {"against", "with"}
            How the angle counts.

        Raises
        ------
        InputError
            If something is missing (all of it in one sentence), or there is no such place or no tape.
        """
        place = self.place(places)
        size = "length" if self.what == "tape" else "mass"
        wanted: dict[str, float | None] = {size: self.size}
        if place.radius is None:
            wanted["radius"] = self.radius_mm if self.radius_mm is not None else _mm(place.usual)
        if place.angle is None:
            wanted["angle"] = self.angle_deg
        all_there({f"the {what} of piece {number}": value for what, value in wanted.items()})
        radius = place.radius if place.radius is not None else m_from_mm(wanted["radius"] or 0.0)
        turned = math.radians(wanted.get("angle") or 0.0)
        angle = place.angle if place.angle is not None else turned if direction == "against" else -turned
        where = "" if place.name == ELSEWHERE else place.name
        if self.what == "tape":
            return _strip(where, self, stock, radius, angle, along_blade=place.along_blade)
        mass = kg_from_g(self.mass_g or 0.0)
        if not 0 < radius < math.inf or (mass < 0 and self.what != "mass"):
            raise InputError(
                f"piece {number} needs a mass and a radius above 0",
                todo="say “Material taken off” for what was removed",
            )
        if self.what == "mass":
            return Piece.of_mass(Mass(mass, radius, angle), where)
        return Piece(where, self.what, mass, radius, angle, along_blade=place.along_blade)

    def place(self, places: Places) -> Place:
        """Give the place that it is at, the first possible one if none was said."""
        known = places_for(self.what, places)
        if not known:
            raise InputError("this part has no place for tape", todo="say it as another mass")
        return next((place for place in known if place.name == self.where), known[0])


def pieces_on(
    rows: Sequence[TypedPiece],
    shown: Sequence[Piece],
    places: Places,
    stock: Stock,
    direction: Direction,
) -> tuple[Piece, ...]:
    """Give the pieces of rows that are filled in.

    Parameters
    ----------
    rows : sequence of TypedPiece
        As typed; empty ones, and those of no size, are left out.
    shown : sequence of Piece
        With which the first rows were filled in: a row left as it was is that piece itself.
    places, stock, direction
        As in `TypedPiece.piece`.

    Raises
    ------
    InputError
        If a row is half filled in.
    """
    found = []
    for number, row in enumerate((row.relevant(places) for row in rows), 1):
        before = shown[number - 1] if number <= len(shown) else None
        if before is not None and row == TypedPiece.of_piece(before, places, direction).relevant(places):
            found.append(before)
        elif row.size or (row.size is None and (row.radius_mm is not None or row.angle_deg is not None)):
            found.append(row.piece(number, places, stock, direction))
    return tuple(found)


def default_where(what: What, piece: TypedPiece | None, places: Places) -> str:
    """Give the place to show first when something is said to be another kind than it was."""
    names = [place.name for place in places_for(what, places)]
    if piece is not None and piece.where in names and (what == piece.what or what != "mass"):
        return piece.where
    return ELSEWHERE if what == "mass" else next(iter(names), "")


def _strip(
    where: str, row: TypedPiece, stock: Stock, radius: float, angle: float, *, along_blade: bool
) -> Piece:
    if stock.tape is None:
        raise InputError("this job has no tape", todo="say it as another mass")
    length = m_from_mm(row.length_mm or 0.0)
    if not along_blade and length >= math.tau * radius:
        raise InputError("the tape is longer than the way round", todo="say it as layers of less length")
    strip = Strip(stock.tape, length, row.layers)
    return Piece(where, "tape", strip.mass, radius, angle, strip, along_blade)


def _mm(radius: float | None) -> float | None:
    return None if radius is None else mm_from_m(radius)


@dataclass(frozen=True)
class Box:
    """A number to ask for about a piece; value None leaves the box empty, and hint stands in it then."""

    key: str
    label: str
    unit: str
    least: float
    most: float
    step: float
    form: str
    value: float | None
    hint: str = ""


def boxes(what: What, place: Place, usual: TypedPiece | None, direction: Direction) -> tuple[Box, ...]:
    """Say which numbers there are to ask for: what the place settles is not asked."""
    known = usual or TypedPiece(what)
    asked = []
    if what == "tape":
        asked += [
            Box("length", "Length", "mm, one layer", 0.0, 1000.0, 1.0, "%.1f", known.length_mm),
            Box("layers", "Layers", "on each other", 1.0, 12.0, 1.0, "%.0f", float(known.layers)),
        ]
    else:
        least = -1000.0 if what == "mass" else 0.0
        asked.append(Box("mass", "Mass", "g", least, 1000.0, 0.001, "%.5f", known.mass_g))
    if place.radius is None:
        middle = "" if place.usual is None else f"{mm_from_m(place.usual):g}"
        asked.append(Box("radius", "Radius", "mm", 0.1, 1000.0, 1.0, "%.2f", known.radius_mm, middle))
    if place.angle is None:
        counted = f"°, {direction} the rotation"
        asked.append(Box("angle", "Angle", counted, -360.0, 360.0, 5.0, "%.2f", known.angle_deg))
    return tuple(asked)


def pieces_to_say(kept: Kept) -> tuple[Piece, ...]:
    """Give the pieces with which the rows begin: those advised, else those that are on."""
    return kept.step.pieces if kept.step.action == "fit" else kept.job.fitted

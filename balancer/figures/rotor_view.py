"""What the rotor picture shows: the rotor and the pieces on it, checked where they are made."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from balancer.errors import InputError
from balancer.figures import svg
from balancer.figures.dial import Direction, Hand, check_frame, shown_angle
from balancer.figures.palette import PIECES, PieceRole, Style

Kind = Literal["propeller", "bell"]
Form = Literal["strip", "drop", "washer", "spot", "mass"]

EDGE_MM = 3.0

PIECE_WORDS: dict[PieceRole, str] = {
    "trial": "trial mass",
    "add": "add",
    "remove": "remove",
    "on": "on it",
    "gone": "taken off",
}
FORMS: tuple[Form, ...] = ("strip", "drop", "washer", "spot", "mass")
"""A strip of tape, in its true size; and what is drawn as a sign at its place: a drop of glue, a washer or a
screw, a spot where material goes, a mass of which nothing else is known."""


@dataclass(frozen=True)
class Piece:
    """A piece of tape (or a drop, or a spot where material goes), at its true place and in its true size.

    Parameters
    ----------
    angle_deg : float
        Where its centre lies, against the rotation from the mark.
    radius_mm : float
        How far its centre lies from the shaft, above 0.
    length_mm : float
        Along the blade (the radius) on a propeller, along the rim on a bell; above 0.
    width_mm : float
        At right angles to that, seen from the front; above 0.
    label : str
        What it is, such as ``12 mg of tape``.
    role : {"trial", "add", "remove", "on", "gone"}
        What is done with it; ``on`` stays as it is, ``gone`` is material taken off before.
    on_ring : bool, optional
        Laid round the outside of a hub or a rim: its length runs round, and its width, along the shaft, is
        not seen from the front.
    form : {"strip", "drop", "washer", "spot", "mass"}, optional
        What it is; all but a strip is drawn as a sign, since its size is not known.

    Raises
    ------
    InputError
        If a number is no size, or the role or the form is not known.
    """

    angle_deg: float
    radius_mm: float
    length_mm: float
    width_mm: float
    label: str = ""
    role: PieceRole = "add"
    on_ring: bool = False
    form: Form = "strip"

    def __post_init__(self) -> None:
        sizes = (self.radius_mm, self.length_mm, self.width_mm)
        if not all(math.isfinite(v) for v in (*sizes, self.angle_deg)) or min(sizes) <= 0:
            raise InputError(
                f"the piece {self.label!r} cannot be drawn: angle {self.angle_deg} deg, "
                f"radius {self.radius_mm} mm, {self.length_mm} by {self.width_mm} mm",
                todo="give finite numbers, and sizes above 0",
            )
        if self.role not in PIECES:
            raise InputError(f"a piece has the role {self.role!r}", todo="use " + ", ".join(PIECES))
        if self.form not in FORMS:
            raise InputError(f"a piece has the form {self.form!r}", todo="use " + ", ".join(FORMS))

    @property
    def style(self) -> Style:
        """How it is drawn."""
        return PIECES[self.role]

    @property
    def seen_width_mm(self) -> float:
        """Its width as seen from the front; tape seen edge on is drawn thick enough to be seen."""
        return EDGE_MM if self.on_ring else self.width_mm

    def place(self, direction: Direction) -> str:
        """Say where its centre goes."""
        return f"radius {svg.short(self.radius_mm)} mm, {shown_angle(self.angle_deg, direction)}°"


@dataclass(frozen=True)
class RotorView:
    """A rotor as seen from the front, the mark at the top.

    Parameters
    ----------
    kind : {"propeller", "bell"}
        What it is.
    radius_mm : float
        To the blade tip, or to the outside of the bell; above 0.
    blades : int, optional
        Of a propeller, 2 to 6.
    hand : {"ccw", "cw"}, optional
        How it turns, seen from the front.
    hub_radius_mm : float, optional
        Left out: a usual share of the radius.
    pieces : tuple of Piece, optional
        What is on it or goes on (or off).
    first_blade_deg : float, optional
        Angle of the first blade from the mark, against the rotation; the others follow evenly.
    title : str, optional
        Written above.
    direction : {"against", "with"}, optional
        How the degrees shown count; where things lie does not depend on it.

    Raises
    ------
    InputError
        If a word is not known, a number is no size, or a piece does not fit on the rotor.
    """

    kind: Kind
    radius_mm: float
    blades: int = 2
    hand: Hand = "ccw"
    hub_radius_mm: float | None = None
    pieces: tuple[Piece, ...] = ()
    first_blade_deg: float = 0.0
    title: str = ""
    direction: Direction = "against"

    def __post_init__(self) -> None:
        check_frame(self.hand, self.direction)
        if self.kind not in ("propeller", "bell"):
            raise InputError(
                f"a rotor of the kind {self.kind!r} cannot be drawn", todo="use propeller or bell"
            )
        if not (math.isfinite(self.radius_mm) and self.radius_mm > 0 and math.isfinite(self.first_blade_deg)):
            raise InputError(
                f"a rotor of radius {self.radius_mm} mm with its first blade at {self.first_blade_deg} deg "
                "cannot be drawn",
                todo="give finite numbers, and a radius above 0",
            )
        if not 0 < self.hub < self.radius_mm:
            raise InputError(
                f"the hub's radius is {self.hub} mm on a rotor of radius {self.radius_mm} mm",
                todo="give one above 0 and below the rotor's",
            )
        if self.kind == "propeller" and not 2 <= self.blades <= 6:
            raise InputError(
                f"a propeller of {self.blades} blades cannot be drawn", todo="give 2 to 6 blades"
            )
        for piece in self.pieces:
            self._check_fit(piece)

    def _check_fit(self, piece: Piece) -> None:
        if piece.radius_mm > self.radius_mm:
            raise InputError(
                f"the piece {piece.label!r} at radius {svg.short(piece.radius_mm)} mm lies outside the rotor "
                f"of radius {svg.short(self.radius_mm)} mm",
                todo="check both radii (the rotor's is half its diameter)",
            )
        if piece.form == "strip" and self.goes_round(piece) and piece.length_mm > math.tau * piece.radius_mm:
            raise InputError(
                f"the piece {piece.label!r} of {svg.short(piece.length_mm)} mm is longer than the way round",
                todo="use wider or heavier material",
            )

    @property
    def hub(self) -> float:
        """The hub's radius in mm."""
        share = 0.085 if self.kind == "propeller" else 0.34
        return share * self.radius_mm if self.hub_radius_mm is None else self.hub_radius_mm

    @property
    def name(self) -> str:
        """What it is in words."""
        if self.kind == "bell":
            return f"motor bell of radius {svg.short(self.radius_mm)} mm"
        return f"propeller of {self.blades} blades and radius {svg.short(self.radius_mm)} mm"

    def task(self, piece: Piece) -> str:
        """Say what is done with a piece, such as ``add 12 mg of tape`` or ``trial mass: 12 mg of tape``."""
        between = ": " if piece.role in ("trial", "on", "gone") else " "
        return PIECE_WORDS[piece.role] + (between + piece.label if piece.label else "")

    def goes_round(self, piece: Piece) -> bool:
        """Say whether a piece lies round the shaft, not along a blade."""
        return self.kind == "bell" or piece.on_ring

    def size(self, piece: Piece) -> str:
        """Say how large a piece is and how it lies."""
        if piece.form != "strip":
            return "the sign shows its place, not its size"
        if piece.on_ring:
            width = f"{svg.short(piece.width_mm)} mm wide (seen edge on)"
            return f"{svg.short(piece.length_mm)} mm round the ring, {width}"
        along = "along the rim" if self.kind == "bell" else "along the blade"
        return f"{svg.short(piece.length_mm)} mm {along}, {svg.short(piece.width_mm)} mm wide"

"""What goes on a rotor: pieces of tape, drops, washers, material removed; and what a set of them leaves."""

from __future__ import annotations

import cmath
import itertools
import math
from dataclasses import dataclass
from typing import Literal

from balancer.core.grade import grade_of
from balancer.core.masses import Mass
from balancer.core.tape import Strip, Tape, acting_share
from balancer.errors import InputError

Kind = Literal["tape", "drop", "washer", "removed", "mass"]

CUT = 0.001
"""Usual error in m of the length of a strip cut by hand, and of its place along a blade."""

LAID = math.radians(5.0)
"""Usual error in rad of the angle of a piece laid on a ring by eye."""


@dataclass(frozen=True)
class Stock:
    """What the person has to put on (or take off), and how finely.

    Parameters
    ----------
    tape : Tape or None
        The roll; None for no tape.
    length_step, shortest, longest : float
        Strips in m: cut to whole steps, between these two lengths.
    layers : int
        Most layers on one face of a blade. Thick tape spoils the blade's air flow: keep it few.
    ring_layers : int
        Most layers on a ring.
    drop_step, largest_drop : float
        Drops of glue in kg: whole steps up to the largest; a step of 0 for no drops.
    washers : tuple of float
        Masses in kg of the washers at hand.
    removal_step, largest_removal : float
        Material taken off in kg, likewise; a step of 0 for nothing to be removed.
    angle_step : float
        To which angles on a ring can be laid, in rad.
    radius_step : float
        To which radii on a blade can be kept, in m.

    Raises
    ------
    InputError
        If a number is not a size, or there is nothing at all in stock.
    """

    tape: Tape | None
    length_step: float = 0.001
    shortest: float = 0.003
    longest: float = 0.030
    layers: int = 3
    ring_layers: int = 6
    drop_step: float = 0.0
    largest_drop: float = 100e-6
    washers: tuple[float, ...] = ()
    removal_step: float = 0.0
    largest_removal: float = 100e-6
    angle_step: float = math.radians(1.0)
    radius_step: float = 0.001

    def __post_init__(self) -> None:
        steps = (self.length_step, self.shortest, self.angle_step, self.radius_step, *self.washers)
        others = (self.longest, self.drop_step, self.removal_step, self.largest_drop, self.largest_removal)
        if not all(math.isfinite(v) for v in (*steps, *others)) or min(steps) <= 0 or min(others) < 0:
            raise InputError("lengths, masses and steps of what is put on must be above 0", todo="check them")
        if self.longest < self.shortest:
            raise InputError("the longest strip is shorter than the shortest", todo="check both lengths")
        if min(self.layers, self.ring_layers) < 1:
            raise InputError("tape has at least one layer", todo="give 1 layer or more")
        if not (self.tape or self.drop_step or self.washers or self.removal_step):
            raise InputError(
                "there is nothing to put on or to take off", todo="give a tape, drops or washers"
            )


@dataclass(frozen=True)
class Piece:
    """One piece at its place.

    Parameters
    ----------
    where : str
        Name of the place, as in ``blade 1``.
    kind : {"tape", "drop", "washer", "removed", "mass"}
        What it is; ``removed`` is material taken off, ``mass`` a piece of which only its mass is known.
    amount : float
        Its mass in kg (of all layers), positive also where it is removed.
    radius, angle : float
        Of its centre: in m, and in rad from the mark against the rotation.
    strip : Strip or None
        Length and layers of tape.
    along_blade : bool
        True for what lies on a blade, False for what lies on a ring or a spot.
    faces : int
        On how many faces of the blade its layers are shared out.
    """

    where: str
    kind: Kind
    amount: float
    radius: float
    angle: float
    strip: Strip | None = None
    along_blade: bool = False
    faces: int = 1

    @classmethod
    def of_mass(cls, mass: Mass, where: str = "") -> Piece:
        """Make one of a mass about which nothing else is known; a negative mass was removed."""
        kind: Kind = "mass" if mass.mass >= 0 else "removed"
        return cls(where, kind, abs(mass.mass), mass.radius, mass.angle)

    @property
    def mass(self) -> Mass:
        """What it does to the rotor; a strip bent along a ring is drawn together to its middle."""
        acts = -self.amount if self.kind == "removed" else self.amount
        if self.strip is not None and not self.along_blade:
            acts *= acting_share(self.strip.length, self.radius)
        return Mass(acts, self.radius, self.angle)

    @property
    def unbalance(self) -> complex:
        """In kg m."""
        return self.mass.unbalance


@dataclass(frozen=True)
class Placement:
    """Pieces to put on, pieces to take off, and what that leaves.

    Parameters
    ----------
    pieces : tuple of Piece
        What to put on (or to remove by sanding and the like); empty: nothing.
    left : complex
        Unbalance in kg m that would still have to be added.
    taken_off : tuple of Piece
        Pieces already fitted that come off.
    kept : tuple of Piece
        Pieces already fitted that stay.
    """

    pieces: tuple[Piece, ...]
    left: complex
    taken_off: tuple[Piece, ...] = ()
    kept: tuple[Piece, ...] = ()

    @property
    def masses(self) -> tuple[Mass, ...]:
        """What the rotor carries afterwards."""
        return tuple(piece.mass for piece in (*self.kept, *self.pieces))

    @property
    def total(self) -> int:
        """How many pieces the rotor carries afterwards."""
        return len(self.kept) + len(self.pieces)

    @property
    def work(self) -> int:
        """How many pieces have to be put on and taken off."""
        return len(self.pieces) + len(self.taken_off)

    def grade(self, rotor_mass: float, speed: float) -> float:
        """Give the balance quality grade in m/s of what is left: rotor mass in kg, speed in rad/s."""
        return grade_of(abs(self.left), rotor_mass, speed)


def cutting_error(placement: Placement, *, cut: float = CUT, laid: float = LAID) -> float:
    """Give the root-mean-square unbalance that unsteady hands add to what a placement leaves.

    To first order: each strip is too long or too short by `cut` (all its layers alike, as they are cut
    together), what lies on a blade sits off by `cut` along it, and what lies on a ring by the angle `laid`.
    Errors of different pieces are independent.

    Parameters
    ----------
    placement : Placement
        The pieces; those already fitted are as they are.
    cut : float, optional
        In m.
    laid : float, optional
        In rad.

    Returns
    -------
    float
        In kg m.
    """
    return math.sqrt(sum(abs(effect) ** 2 for effect in _effects(placement, cut, laid)))


def worst_cutting_error(placement: Placement, *, cut: float = CUT, laid: float = LAID) -> float:
    """Give the unbalance in kg m when all errors of `cutting_error` work together in the worst way."""
    effects = _effects(placement, cut, laid)
    signs = itertools.product((1, -1), repeat=len(effects))
    return max(abs(sum(s * e for s, e in zip(row, effects, strict=True))) for row in signs)


def _effects(placement: Placement, cut: float, laid: float) -> list[complex]:
    effects = []
    for piece in placement.pieces:
        turn = cmath.exp(1j * piece.angle)
        if piece.strip is not None:
            per_length = piece.strip.tape.mass_per_length * piece.strip.layers * piece.radius
            # the two ends of a bent strip point away from its middle
            ends = 1.0 if piece.along_blade else math.cos(piece.strip.length / (2 * piece.radius))
            effects.append(per_length * ends * cut * turn)
        if piece.along_blade:
            effects.append(piece.amount * cut * turn)
        else:
            effects.append(1j * piece.unbalance * laid)
    return effects

"""Every piece that one place can take, as points in the plane of unbalance, and the nearest of them."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from balancer.core.kinds import (
    DROP,
    NAMES,
    TAPE,
    Floats,
    Kinds,
    blade_kinds,
    distinct,
    loose_kinds,
    tape_kinds,
)
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Blade, Places, Ring, Slot
from balancer.core.tape import Strip

Complexes = NDArray[np.complex128]
Ints = NDArray[np.intp]

DIRECTIONS = np.exp(2j * np.pi * np.arange(144) / 144)


@dataclass(frozen=True, eq=False)
class Options:
    """The pieces for one place, one of which (or none) goes on.

    Parameters
    ----------
    where : str
        Name of the place.
    kinds : numpy.ndarray
        Rows as in `Kinds`, n of them, by size of their unbalance.
    middle : float
        Angle in rad that turn 0 means.
    stock : Stock
        What they are made of.
    step : float
        Angle in rad of one turn.
    reach : numpy.ndarray, shape (n,)
        How many turns each may lie to either side of the middle.
    whole : int
        Turns of a whole circle, an even number; 0 where the reach counts.
    along_blade : bool
        Whether strips lie along the radius.
    part : str
        Of the ring: ``whole`` and its halves ``left`` and ``right`` exclude each other.
    """

    where: str
    kinds: Kinds
    middle: float
    stock: Stock
    step: float = 0.0
    reach: Ints | None = None
    whole: int = 0
    along_blade: bool = False
    part: str = ""

    @property
    def size(self) -> int:
        """How many points there are."""
        if self.whole:
            return int(self.kinds.size * self.whole)
        return int(self.kinds.size if self.reach is None else (2 * self.reach + 1).sum())

    def _rows_and_turns(self, index: Ints) -> tuple[Ints, Ints]:
        """Give row and turn of points, which are counted turn by turn within each row."""
        if self.whole:
            return index // self.whole, index % self.whole
        if self.reach is None:
            return index, np.zeros_like(index)
        ends = np.cumsum(2 * self.reach + 1)
        row = np.searchsorted(ends, index, side="right")
        return row, index - ends[row] + self.reach[row] + 1

    def _at(self, index: Ints) -> Complexes:
        row, turn = self._rows_and_turns(index)
        return np.asarray(self.kinds["value"][row] * np.exp(1j * (self.middle + self.step * turn)), complex)

    @property
    def rays(self) -> list[complex]:
        """Directions that together span those of all points."""
        value = self.kinds["value"]
        if self.whole:
            return [cmath.rect(1.0, third * math.tau / 3) for third in range(3)]
        spread = 0.0 if self.reach is None else self.step * float(self.reach.max())
        ends = [self.middle + part * spread for part in (-1.0, -0.5, 0.0, 0.5, 1.0)]
        signs = {math.copysign(1.0, end) for end in (float(value.min()), float(value.max()))}
        return [cmath.rect(sign, angle) for sign in signs for angle in ends]

    @cached_property
    def points(self) -> Complexes:
        """Unbalance in kg m of every piece at every angle, small ones first."""
        return self._at(np.arange(self.size))

    @cached_property
    def support(self) -> Floats:
        """How far the points reach in each of `DIRECTIONS`, in kg m: an upper bound."""
        value = self.kinds["value"]
        if self.whole:
            return np.full(DIRECTIONS.size, np.abs(value).max())
        if self.reach is None:
            along = (DIRECTIONS * cmath.exp(-1j * self.middle)).real
            return np.asarray(np.maximum(value.max() * along, value.min() * along), float)
        reach = self.step * self.reach
        towards = np.angle(DIRECTIONS[:, np.newaxis] * np.exp(-1j * self.middle) * np.sign(value))
        beside = np.maximum(np.abs(towards) - reach, 0.0)
        return np.asarray((np.abs(value) * np.cos(beside)).max(axis=1), float)

    def nearest(self, targets: Complexes) -> tuple[Ints, Floats]:
        """Give for each target (kg m) the index of the nearest point and how far it is off."""
        if self.whole:
            index = self._nearest_on_circle(targets)
        elif self.reach is None or not self.reach.any():
            order, value = self._sorted_values
            index = order[_nearest_value(value, (targets * cmath.exp(-1j * self.middle)).real)]
        else:
            distance, index = self._tree.query(np.column_stack((targets.real, targets.imag)))
            return index, distance
        return index, np.abs(targets - self._at(index))

    @cached_property
    def _sorted_values(self) -> tuple[Ints, Floats]:
        order = np.argsort(self.kinds["value"], kind="stable")
        return order, np.asarray(self.kinds["value"][order], float)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(np.column_stack((self.points.real, self.points.imag)))

    def _nearest_on_circle(self, targets: Complexes) -> Ints:
        # at every size the nearest angle is the same one, so the best size follows from the projection on it
        angle = np.angle(targets) - self.middle
        turn = np.rint(angle / self.step).astype(np.intp)
        along = np.abs(targets) * np.cos(angle - turn * self.step)
        row = _nearest_value(np.abs(self.kinds["value"]), along)
        removed = self.kinds["value"][row] < 0
        return np.asarray(row * self.whole + (turn + removed * (self.whole // 2)) % self.whole, np.intp)

    def piece(self, index: int) -> Piece:
        """Give the piece that a point stands for."""
        (row,), (turn,) = self._rows_and_turns(np.array([index]))
        kind = self.kinds[row]
        angle = float(self.middle + self.step * turn) % math.tau
        if kind["kind"] != TAPE:
            amount, radius = float(kind["amount"]), float(kind["radius"])
            return Piece(self.where, NAMES[kind["kind"]], amount, radius, angle, None, self.along_blade)
        assert self.stock.tape is not None
        strip = Strip(self.stock.tape, float(kind["length"]), int(kind["layers"]))
        faces = 2 if self.along_blade and strip.layers > self.stock.layers else 1
        return Piece(
            self.where, "tape", strip.mass, float(kind["radius"]), angle, strip, self.along_blade, faces
        )

    def only(self, wanted: NDArray[np.bool_]) -> Options | None:
        """Give the options with some of the kinds; None if that leaves none."""
        if wanted.all():
            return self
        if not wanted.any():
            return None
        reach = None if self.reach is None else self.reach[wanted]
        return replace(self, kinds=self.kinds[wanted], reach=reach)


def _nearest_value(values: Floats, wanted: Floats) -> Ints:
    """Give the index of the nearest of rising values."""
    above = np.clip(np.searchsorted(values, wanted), 1, max(values.size - 1, 1))
    if values.size == 1:
        return np.zeros(wanted.shape, np.intp)
    nearer = wanted - values[above - 1] <= values[above] - wanted
    return np.asarray(above - nearer, np.intp)


def options_of(
    places: Places, stock: Stock, kept: tuple[Piece, ...] = (), axis: float = 0.0
) -> list[Options]:
    """List what each place can take.

    A free ring is offered as a whole, for one piece, and as two halves beside `axis`, for two that cannot
    overlap. On a blade new strips lie on kept ones as long as there are layers left, on a ring beside them.

    Parameters
    ----------
    places : Places
        The part's places.
    stock : Stock
        What there is to put on.
    kept : tuple of Piece
        What is there and stays.
    axis : float
        Direction of the correction in rad.

    Returns
    -------
    list of Options
        One for each place that can take anything.
    """
    found: list[Options | None] = []
    alike: dict[tuple[Blade, int], Kinds] = {}
    for blade in places.blades:
        there = sum(p.strip.layers for p in kept if p.where == blade.name and p.strip is not None)
        key = (replace(blade, name="blade", angle=0.0), there)
        if key not in alike:
            alike[key] = distinct(blade_kinds(blade, stock, there))
        found.append(_line(blade.name, alike[key], blade.angle, stock, along=True))
    for ring in places.rings:
        found += _ring_options(ring, stock, kept, axis)
    for spots in places.spots:
        for number, angle in enumerate(spots.angles, 1):
            where = f"{spots.name} {number}"
            drops = sum(piece.amount for piece in kept if piece.where == where and piece.kind == "drop")
            kinds = loose_kinds(stock, (spots.radius,), removable=spots.removable, washers=True)
            room = (kinds["kind"] != DROP) | (kinds["amount"] + drops <= stock.largest_drop * (1 + 1e-9))
            found.append(_line(where, distinct(kinds[room]), angle, stock))
    return [one for one in found if one is not None]


def _line(where: str, kinds: Kinds, middle: float, stock: Stock, *, along: bool = False) -> Options | None:
    return Options(where, kinds, middle, stock, along_blade=along) if kinds.size else None


def _ring_options(ring: Ring, stock: Stock, kept: tuple[Piece, ...], axis: float) -> list[Options | None]:
    kinds = np.concatenate(
        (
            tape_kinds(stock, stock.ring_layers, np.array([ring.radius]), round_shaft=True),
            loose_kinds(stock, (ring.radius,), removable=ring.removable),
        )
    )
    kinds = kinds[np.argsort(np.abs(kinds["value"]), kind="stable")]
    if not kinds.size:
        return []
    turns = 2 * max(round(math.pi / stock.angle_step), 2)
    whole = Options(ring.name, kinds, 0.0, stock, math.tau / turns, whole=turns, part="whole")
    named = [(f"{ring.name}, slot {number}", slot) for number, slot in enumerate(ring.slots, 1)]
    there = [piece for piece in kept if piece.where == ring.name]
    if there and not ring.slots:
        named = [(ring.name, Slot(there[0].angle + math.pi, math.tau))]
    if named:
        return [
            _window(replace(whole, where=where), gap, ring)
            for where, slot in named
            for gap in _gaps(slot, [piece for piece in kept if piece.where == where])
        ]
    # to whole turns, so that angles stay as round as they are for the whole
    middle = whole.step * round((axis + math.pi / 2) / whole.step)
    halves = (("right", middle), ("left", middle - math.pi))
    return [whole, *(_window(whole, Slot(angle, math.pi), ring, part) for part, angle in halves)]


def _window(whole: Options, slot: Slot, ring: Ring, part: str = "") -> Options | None:
    """Give what fits into an arc."""
    room = (slot.span - whole.kinds["length"] / ring.radius) / 2
    fits = room >= -1e-9
    reach = np.floor(np.maximum(room[fits], 0.0) / whole.step + 1e-6).astype(np.intp)
    if not fits.any():
        return None
    return replace(whole, kinds=whole.kinds[fits], middle=slot.angle, reach=reach, whole=0, part=part)


def _gaps(slot: Slot, there: list[Piece]) -> list[Slot]:
    """Give what pieces leave free of a slot."""
    free = [(-slot.span / 2, slot.span / 2)]
    for piece in there:
        half = 0.0 if piece.strip is None else piece.strip.length / (2 * piece.radius)
        at = math.remainder(piece.angle - slot.angle, math.tau)
        # a piece at the seam of a whole circle lies at both of its ends
        for middle in (at, at + math.tau, at - math.tau):
            cut = [((a, min(b, middle - half)), (max(a, middle + half), b)) for a, b in free]
            free = [side for sides in cut for side in sides if side[1] > side[0]]
    return [Slot(slot.angle + (a + b) / 2, b - a) for a, b in free]

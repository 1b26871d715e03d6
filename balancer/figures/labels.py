"""Where words go so that they lie on nothing else: each label tries many places and takes the best."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

Stroke = tuple[complex, complex]

_DISTANCES = (8.0, 14.0, 22.0, 34.0, 48.0)
_DIRECTIONS = 24


@dataclass(frozen=True)
class Box:
    """A rectangle on the page in px, from its upper left to its lower right corner.

    Parameters
    ----------
    low, high : complex
        The two corners, x + jy with y downward.
    """

    low: complex
    high: complex

    @classmethod
    def centred(cls, centre: complex, width: float, height: float) -> Box:
        """Make one round a point."""
        half = complex(width, height) / 2
        return cls(centre - half, centre + half)

    @property
    def centre(self) -> complex:
        """The middle."""
        return (self.low + self.high) / 2

    @property
    def size(self) -> complex:
        """Width + j height."""
        return self.high - self.low

    def moved_to(self, centre: complex) -> Box:
        """Give a box of the same size elsewhere."""
        return Box.centred(centre, self.size.real, self.size.imag)

    def reach(self, way: complex) -> float:
        """Give how far the box extends from its middle in the direction of a unit vector."""
        half = self.size / 2
        sides = ((half.real, abs(way.real)), (half.imag, abs(way.imag)))
        return min(length / share for length, share in sides if share > 1e-9)

    def overlap(self, other: Box) -> float:
        """Give the area that two boxes share."""
        width = min(self.high.real, other.high.real) - max(self.low.real, other.low.real)
        if width <= 0:
            return 0.0
        return width * max(min(self.high.imag, other.high.imag) - max(self.low.imag, other.low.imag), 0.0)

    def distance(self, point: complex) -> float:
        """Give how far a point lies outside, 0 for one inside."""
        half = self.size / 2
        away = point - self.centre
        return math.hypot(max(abs(away.real) - half.real, 0.0), max(abs(away.imag) - half.imag, 0.0))

    def outside(self, bounds: Box) -> float:
        """Give the area that sticks out of `bounds`."""
        return self.size.real * self.size.imag - self.overlap(bounds)


@dataclass(frozen=True)
class Scene:
    """What is on the page already.

    Parameters
    ----------
    bounds : Box
        Where words may go.
    boxes : sequence of Box
        What must not be covered.
    strokes : sequence of (complex, complex)
        Lines that had better not be crossed.
    rivals : sequence of complex
        Points that have labels: a label must not lie nearer to another's point than to its own.
    """

    bounds: Box
    boxes: tuple[Box, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    rivals: tuple[complex, ...] = ()

    def cost(self, box: Box) -> float:
        """Say how bad a place is: covered boxes count most, then crossed lines, in px of area and length."""
        covered = sum(box.overlap(other) for other in self.boxes)
        crossed = sum(_length_inside(stroke, box) for stroke in self.strokes)
        return 5 * covered + 20 * box.outside(self.bounds) + 3 * crossed

    def doubt(self, box: Box, anchor: complex) -> float:
        """Say how easily a label is taken for another point's."""
        nearest = min((box.distance(p) for p in self.rivals if p != anchor), default=math.inf)
        return 30.0 if nearest < 1.5 * box.distance(anchor) else 0.0

    def place(self, anchor: complex, width: float, height: float, outward: complex) -> Box:
        """Find the place for one label.

        Parameters
        ----------
        anchor : complex
            What the label belongs to.
        width, height : float
            Its size in px.
        outward : complex
            The direction (any length) that is tried first; all others follow, nearest first.

        Returns
        -------
        Box
            Where it goes.
        """
        nominal = Box.centred(anchor, width, height)
        candidates = list(_candidates(nominal, cmath.phase(outward)))
        costs = [round(self.cost(box) + self.doubt(box, anchor) + extra, 3) for box, extra in candidates]
        return candidates[costs.index(min(costs))][0]

    def place_all(self, wanted: Sequence[tuple[complex, float, float, complex]]) -> list[Box]:
        """Place labels one after the other, each keeping clear of those before it."""
        scene, placed = self, list[Box]()
        for anchor, width, height, outward in wanted:
            box = scene.place(anchor, width, height, outward)
            placed.append(box)
            scene = replace(scene, boxes=(*scene.boxes, box))
        return placed


def _candidates(nominal: Box, first: float) -> Iterator[tuple[Box, float]]:
    for distance in _DISTANCES:
        for step in range(_DIRECTIONS):
            turn = (step + 1) // 2 * (-1) ** step * math.tau / _DIRECTIONS
            way = cmath.rect(1.0, first + turn)
            yield (
                nominal.moved_to(nominal.centre + way * (distance + nominal.reach(way))),
                distance + 6 * abs(turn),
            )


def _length_inside(stroke: Stroke, box: Box) -> float:
    """Cut a line against the two slabs of a box (Liang and Barsky 1984), and give the length that is left."""
    (start, end), (low, high) = stroke, (box.low, box.high)
    first, last = 0.0, 1.0
    for origin, way, least, most in (
        (start.real, end.real - start.real, low.real, high.real),
        (start.imag, end.imag - start.imag, low.imag, high.imag),
    ):
        if way == 0:
            if not least < origin < most:
                return 0.0
            continue
        enter, leave = (least - origin) / way, (most - origin) / way
        if enter > leave:
            enter, leave = leave, enter
        first, last = max(first, enter), min(last, leave)
        if first >= last:
            return 0.0
    return (last - first) * abs(end - start)

"""A correction as strips of tape that can really be laid: on blades, and on a ring for what lies across."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from balancer.core.masses import Mass, split, total_unbalance
from balancer.core.tape import Strip, Tape, cut_arc, cut_strip
from balancer.errors import InputError


@dataclass(frozen=True)
class Places:
    """Where tape may go on a rotor.

    Parameters
    ----------
    blades : tuple of float
        Angles of the blade lines in rad, against the rotation from the mark; empty for a bare bell.
    blade_radius : float
        Radius in m for the centre of a strip on a blade.
    ring_radius : float
        Radius in m of the ring (hub or bell rim) where tape may go at any angle.
    ring : str
        What the ring is called.
    """

    blades: tuple[float, ...]
    blade_radius: float
    ring_radius: float
    ring: str = "hub"

    @classmethod
    def of_propeller(cls, blades: int, blade_radius: float, ring_radius: float, ring: str = "hub") -> Places:
        """Make the places of a propeller whose first blade stands at the mark."""
        if blades < 2:
            raise InputError("a propeller has two blades or more", todo="give the number of blades")
        lines = tuple(2 * math.pi * k / blades for k in range(blades))
        return cls(lines, blade_radius, ring_radius, ring)


@dataclass(frozen=True)
class LaidStrip:
    """One strip at its place.

    Parameters
    ----------
    where : str
        ``blade 1``, ``blade 2`` ... or the name of the ring.
    strip : Strip
        Length and layers, cut to the step.
    radius, angle : float
        Of its centre, in m and in rad against the rotation from the mark.
    along_blade : bool
        True for a strip along a blade, False for one along the ring.
    """

    where: str
    strip: Strip
    radius: float
    angle: float
    along_blade: bool

    @property
    def mass(self) -> Mass:
        """What it does to the rotor: for a strip along a ring, its mass is drawn together to one angle."""
        if self.along_blade:
            return Mass(self.strip.mass, self.radius, self.angle)
        half = self.strip.length / (2 * self.radius)
        return Mass(self.strip.mass * math.sin(half) / half, self.radius, self.angle)


def lay_strips(correction: complex, places: Places, tape: Tape, step: float = 0.001) -> tuple[LaidStrip, ...]:
    """Turn a correction into strips cut to whole steps.

    With three blades and more it is shared by the two blades beside it. Two blades lie on one line: what
    lies across them goes on the ring, and so does everything on a rotor without blades.

    Parameters
    ----------
    correction : complex
        Unbalance to add, in kg m.
    places : Places
        Where tape may go.
    tape : Tape
        The roll.
    step : float
        To which lengths are cut, in m. Strips shorter than half of it are left out.

    Returns
    -------
    tuple of LaidStrip
        The strips; together they leave the rest of rounding.
    """
    laid = [_on_blade(amount, k, places, tape) for k, amount in _blade_shares(correction, places)]
    across = correction - total_unbalance(item.mass for item in laid)
    if len(places.blades) < 3:
        laid.append(_on_ring(across, places, tape))
    return tuple(_cut(item, step) for item in laid if item.strip.length >= step / 2)


def left_over(correction: complex, laid: Sequence[LaidStrip]) -> complex:
    """Give what the strips leave of a correction, in kg m."""
    return correction - total_unbalance(item.mass for item in laid)


def _blade_shares(correction: complex, places: Places) -> list[tuple[int, float]]:
    if not places.blades or correction == 0:
        return []
    along = [(correction * cmath.exp(-1j * angle)).real for angle in places.blades]
    first = int(np.argmax(along))
    if len(places.blades) == 2:
        return [(first, along[first])]
    beside = [(first - 1) % len(along), (first + 1) % len(along)]
    second = max(beside, key=lambda k: along[k])
    parts = split(correction, places.blades[first], places.blades[second])
    return [(k, part) for k, part in zip((first, second), parts, strict=True) if part > 0]


def _on_blade(unbalance: float, blade: int, places: Places, tape: Tape) -> LaidStrip:
    strip = cut_strip(tape, unbalance / places.blade_radius)
    return LaidStrip(f"blade {blade + 1}", strip, places.blade_radius, places.blades[blade], True)


def _on_ring(unbalance: complex, places: Places, tape: Tape) -> LaidStrip:
    # a radian at the most: longer arcs work against themselves, shorter ones pile up layers
    strip = cut_arc(tape, abs(unbalance), places.ring_radius, longest=places.ring_radius)
    return LaidStrip(places.ring, strip, places.ring_radius, cmath.phase(unbalance), False)


def _cut(item: LaidStrip, step: float) -> LaidStrip:
    length = max(round(item.strip.length / step), 1) * step
    return replace(item, strip=replace(item.strip, length=length))

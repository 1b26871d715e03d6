"""A propeller on a motor with tape: the turn on the hub that tape can serve best, and the pieces."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from balancer.core.matching.hub import Hub, Motor, Propeller, best_angle, together
from balancer.core.pieces import Placement, Stock
from balancer.core.placement import choose, place
from balancer.core.places import Places, Slot
from balancer.core.vectors import Complexes, Floats
from balancer.errors import InputError

_TURNS = 72  # angles tried on a hub that takes any


@dataclass(frozen=True)
class Taping:
    """What may be put on a pair once it is fitted.

    Parameters
    ----------
    stock : Stock
        What there is.
    pieces : int
        Most pieces on a pair, 1 to 4.
    """

    stock: Stock
    pieces: int = 2


def best_angle_for_tape(motor: Motor, propeller: Propeller, hub: Hub, stock: Stock) -> tuple[float, float]:
    """Give the turn on the hub at which pieces of any size would leave least, and what they would leave.

    Two blades take nothing that lies across them: where there is no ring, the propeller is turned so that the
    bell's unbalance falls along its blades. Of turns that are alike, the one that needs least tape.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.
    hub : Hub
        The allowed angles.
    stock : Stock
        Whether material may be removed.

    Returns
    -------
    angle : float
        In rad.
    left : float
        In kg m, with pieces of any size; a lower bound of what real ones leave.
    """
    least = best_angle(motor.bell.value, propeller.own.value, hub)
    angles = hub.angles if hub.positions else np.append(least, math.tau * np.arange(_TURNS) / _TURNS)
    wanted = -(motor.bell.value * np.exp(-1j * angles) + propeller.own.value)
    left = np.array(
        [
            _beyond(np.array([target]), _directions(pair_places(motor, propeller, float(angle)), stock))[0]
            for angle, target in zip(angles, wanted, strict=True)
        ]
        if _depends_on_turn(motor)
        else _beyond(wanted, _directions(pair_places(motor, propeller, 0.0), stock))
    )
    grain = 1e-9 * (abs(motor.bell.value) + abs(propeller.own.value))
    alike = np.flatnonzero(left <= left.min() + grain)
    chosen = int(alike[np.argmin(np.abs(wanted[alike]))])
    return float(angles[chosen]) % math.tau, float(left[chosen])


def tape_pair(motor: Motor, propeller: Propeller, angle: float, taping: Taping) -> Placement:
    """Find the pieces for a pair; angles of the pieces count from the propeller's mark.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.
    angle : float
        At which its mark stands, in rad from the motor's mark.
    taping : Taping
        What may be put on.

    Returns
    -------
    Placement
        The pieces that leave least.
    """
    wanted = -together(motor, propeller, angle).value * cmath.exp(-1j * angle)
    places = pair_places(motor, propeller, angle)
    return choose(place(wanted, places, taping.stock, pieces=taping.pieces))


def pair_places(motor: Motor, propeller: Propeller, angle: float) -> Places:
    """Give the places of both parts, in the frame of the propeller's mark.

    Parameters
    ----------
    motor : Motor
        The motor.
    propeller : Propeller
        The propeller.
    angle : float
        At which the propeller's mark stands, in rad from the motor's mark.

    Returns
    -------
    Places
        All of them.

    Raises
    ------
    InputError
        If neither part names a place.
    """
    if propeller.places is None and motor.places is None:
        raise InputError(
            f"neither {propeller.name} nor {motor.name} names a place for tape",
            todo="name its blades, a ring or screw heads, or match without tape",
        )
    own = propeller.places
    bell = None if motor.places is None else _turned(motor.places, -angle)
    if own is None or bell is None:
        return own or bell  # type: ignore[return-value]
    return replace(own, rings=(*own.rings, *bell.rings), spots=(*own.spots, *bell.spots))


def _turned(places: Places, by: float) -> Places:
    rings = [
        replace(ring, slots=tuple(Slot(slot.angle + by, slot.span) for slot in ring.slots))
        for ring in places.rings
    ]
    spots = [replace(one, angles=tuple(angle + by for angle in one.angles)) for one in places.spots]
    blades = [replace(blade, angle=blade.angle + by) for blade in places.blades]
    return replace(places, blades=tuple(blades), rings=tuple(rings), spots=tuple(spots))


def _depends_on_turn(motor: Motor) -> bool:
    """Tell whether places of the bell go round under the propeller when it is turned."""
    places = motor.places
    return places is not None and bool(places.spots or any(ring.slots for ring in places.rings))


def _directions(places: Places, stock: Stock) -> Floats | None:
    """List the directions in rad in which unbalance can be added; None for all round."""
    found: list[float] = []
    for angle, removable in _angles(places):
        if angle is None:
            return None
        found += [angle] + ([angle + math.pi] if removable and stock.removal_step else [])
    return np.array(found)


def _angles(places: Places) -> Iterator[tuple[float | None, bool]]:
    for blade in places.blades:
        yield blade.angle, blade.sanded_from is not None
    for ring in places.rings:
        if not ring.slots:
            yield None, ring.removable
        for slot in ring.slots:
            for share in (-0.5, 0.0, 0.5):
                yield slot.angle + share * slot.span, ring.removable
    for spots in places.spots:
        for angle in spots.angles:
            yield angle, spots.removable


def _beyond(targets: Complexes, directions: Floats | None) -> Floats:
    """Give the distance of targets from all that masses of any size in these directions can make."""
    if directions is None:
        return np.zeros(targets.shape)
    along = np.exp(1j * directions)
    parts = np.maximum((targets[:, np.newaxis] * along.conj()).real, 0.0)
    distance = np.abs(targets[:, np.newaxis] - parts * along).min(axis=1)
    return np.asarray(np.where(_between(targets, directions), 0.0, distance), float)


def _between(targets: Complexes, directions: Floats) -> npt.NDArray[np.bool_]:
    """Tell which targets lie between two directions less than half a turn apart."""
    ordered = np.sort(directions % math.tau)
    widths = np.diff(ordered, append=ordered[0] + math.tau)
    after = (np.angle(targets)[:, np.newaxis] - ordered) % math.tau
    return np.asarray(((after <= widths) & (widths < math.pi - 1e-9)).any(axis=1))

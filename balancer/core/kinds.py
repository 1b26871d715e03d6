"""Every size of piece that a place can take, as rows of a table: what, how large, what it does."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from balancer.core.pieces import Kind, Stock
from balancer.core.places import Blade
from balancer.core.tape import acting_share

Floats = NDArray[np.float64]

_ROW = np.dtype(
    [("kind", int), ("layers", int), ("stage", int)]
    + [(name, float) for name in ("amount", "length", "radius", "value")]
)
Kinds = NDArray[Any]
"""Pieces without their angle, one a row of `_ROW`: kind is an index of `NAMES`, value the unbalance in kg m,
negative where removed; stage 0 is what the person likes best, a later one what serves when that does not."""

NAMES: tuple[Kind, ...] = ("tape", "drop", "washer", "removed")
TAPE, DROP, _WASHER, _REMOVED = range(4)

LAST_STAGE = 3
_STAGES = (0.5, 3.5, 10.5)  # radius steps from the usual radius at which a stage ends


def blade_kinds(blade: Blade, stock: Stock, there: int) -> Kinds:
    """List what a blade can take on top of the layers that are there."""
    usual, step = blade.usual_radius, stock.radius_step
    inwards, outwards = (math.floor(abs(end - usual) / step + 1e-9) for end in (blade.inner, blade.outer))
    radii = np.asarray(usual + step * np.arange(-inwards, outwards + 1), float)
    tape = tape_kinds(stock, blade.faces * stock.layers - there, radii, round_shaft=False)
    inside = (tape["radius"] - tape["length"] / 2 >= blade.inner - 1e-9) & (
        tape["radius"] + tape["length"] / 2 <= blade.outer + 1e-9
    )
    loose = loose_kinds(stock, radii, removable=False)
    kinds = np.concatenate((tape[inside], loose))
    stage = np.searchsorted(_STAGES, np.abs(kinds["radius"] - usual) / step)
    kinds["stage"] = np.maximum(stage, kinds["layers"] + there > stock.layers)
    if blade.sanded_from is None:
        return kinds
    sanded = (blade.sanded_from + blade.outer) / 2
    return np.concatenate((kinds, _removed_kinds(stock, sanded)))


def tape_kinds(stock: Stock, layers: int, radii: Floats, *, round_shaft: bool) -> Kinds:
    """List strips of 1, 2 ... layers, their middles at `radii` (m), straight or bent round the shaft."""
    if stock.tape is None or layers < 1:
        return np.zeros(0, _ROW)
    longest = min(stock.longest, math.pi * radii.max()) if round_shaft else stock.longest
    first = math.ceil(stock.shortest / stock.length_step - 1e-9)
    lengths = stock.length_step * np.arange(first, math.floor(longest / stock.length_step + 1e-9) + 1)
    count, radius, length = (
        one.ravel() for one in np.meshgrid(np.arange(1, layers + 1), radii, lengths, indexing="ij")
    )
    kinds = np.zeros(length.size, _ROW)
    kinds["kind"], kinds["length"], kinds["layers"], kinds["radius"] = TAPE, length, count, radius
    kinds["amount"] = stock.tape.mass_per_length * length * count
    shares = [acting_share(one, float(radii[0])) if round_shaft else 1.0 for one in lengths]
    kinds["value"] = kinds["amount"] * radius * np.resize(shares, length.size)
    return kinds


def loose_kinds(
    stock: Stock, radii: Floats | tuple[float, ...], *, removable: bool, washers: bool = False
) -> Kinds:
    """List drops, washers where they fit, and (at the first radius) what may be removed."""
    drops = _kinds(DROP, _steps(stock.drop_step, stock.largest_drop), radii)
    rings = _kinds(_WASHER, stock.washers if washers else (), radii)
    removed = _removed_kinds(stock, radii[0]) if removable else drops[:0]
    return np.concatenate((drops, rings, removed))


def _removed_kinds(stock: Stock, radius: float) -> Kinds:
    kinds = _kinds(_REMOVED, _steps(stock.removal_step, stock.largest_removal), (radius,))
    kinds["value"] *= -1
    return kinds


def _kinds(kind: int, amounts: Floats | tuple[float, ...], radii: Floats | tuple[float, ...]) -> Kinds:
    amount, radius = (one.ravel() for one in np.meshgrid(amounts, radii))
    kinds = np.zeros(amount.size, _ROW)
    kinds["kind"], kinds["amount"], kinds["radius"], kinds["value"] = kind, amount, radius, amount * radius
    return kinds


def _steps(step: float, largest: float) -> Floats:
    count = math.floor(largest / step + 1e-9) if step else 0
    return np.asarray(step * np.arange(1, count + 1), float)


def distinct(kinds: Kinds) -> Kinds:
    """Keep the best-liked of kinds that do the same, by size of their unbalance."""
    if not kinds.size:
        return kinds
    rounded = np.round(kinds["value"] / np.abs(kinds["value"]).max(), 12)
    order = np.lexsort((kinds["layers"], kinds["stage"], rounded))
    kinds = kinds[order[np.append(True, np.diff(rounded[order]) > 0)]]
    return kinds[np.argsort(np.abs(kinds["value"]), kind="stable")]

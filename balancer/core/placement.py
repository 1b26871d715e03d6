"""The few pieces, at allowed places and in whole steps, that leave least of a correction."""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.optimize import lsq_linear

from balancer.core.options import Options, options_of
from balancer.core.pieces import Piece, Placement, Stock, cutting_error, worst_cutting_error
from balancer.core.places import Places
from balancer.core.search import best_pieces, in_stages
from balancer.errors import InputError

__all__ = ["Piece", "Placement", "Places", "Stock", "choose", "cutting_error", "place", "worst_cutting_error"]

MOST_PIECES = 4

_EVERY_ROAD = 3  # up to so many fitted pieces every choice of keeping and taking off is tried
_SHARE = 0.005  # of the correction: far below what a hand can cut
_STEP_SHARE = 0.02  # of the smallest piece, likewise
_SHAKY = 2.0  # times the correction: pieces with which hands do more harm than this are not offered


def place(
    correction: complex,
    places: Places,
    stock: Stock,
    *,
    pieces: int = 3,
    fitted: Sequence[Piece] = (),
    resolution: float | None = None,
) -> tuple[Placement, ...]:
    """Find the pieces that leave least of a correction, for each number of pieces.

    Every place takes one new piece at most (a ring that is free all round, two). What is on the rotor already
    can stay, come off, or be made into one with the correction: all roads are searched, and fewer pieces on
    the rotor come before more, then less that is left, then less work.

    Parameters
    ----------
    correction : complex
        Unbalance in kg m to add to what is on the rotor now.
    places : Places
        Where masses may go.
    stock : Stock
        What there is, in which steps.
    pieces : int, optional
        Most new pieces, 1 to 4.
    fitted : sequence of Piece, optional
        What is on the rotor now and could be taken off (removed material stays removed).
    resolution : float, optional
        In kg m: what leaves no more than this above the very best counts as good, so that the usual radius,
        thin layers and few pieces can win. Half a percent of the correction by default, or a fiftieth of
        the smallest piece. With 0 the answer is the best of the whole grid, which takes longer.

    Returns
    -------
    tuple of Placement
        By number of pieces on the rotor, fewest first, then by the work they are; none is beaten by another
        with as few pieces, as little work and less that is left. To leave all as it is, is among them unless
        it is beaten. Unless the resolution is 0, pieces so coarse that usual errors of cutting and laying do
        more than twice the correction are left out.

    Raises
    ------
    InputError
        If the correction is not a finite number or the number of pieces is not 1 to 4.
    """
    if not cmath.isfinite(correction):
        raise InputError("the correction must be a finite number", todo="check the runs")
    if not 1 <= pieces <= MOST_PIECES:
        raise InputError(
            f"a correction is made of 1 to {MOST_PIECES} pieces", todo="choose a number of pieces"
        )
    found = []
    for kept, taken_off in _roads(fitted):  # the first leaves all as it is
        target = correction + sum(piece.unbalance for piece in taken_off)
        options = options_of(places, stock, kept, cmath.phase(target))
        if resolution is None:
            smallest = min((abs(float(one.kinds["value"][0])) for one in options), default=0.0)
            resolution = max(_SHARE * abs(correction), _STEP_SHARE * smallest)
        stages = in_stages(_blades_first(target, options, places))
        found += [
            Placement(new, target - sum(piece.unbalance for piece in new), taken_off, kept)
            for new in _pieces(target, stages, pieces, resolution)
        ]
    return _worth_showing(found, correction, resolution or 0.0)


def choose(placements: Sequence[Placement], enough: float = 0.0) -> Placement:
    """Choose the placement with the fewest pieces that leaves `enough` (kg m) or less, else the least left.

    When what is on now is good enough, it stays as it is.

    Parameters
    ----------
    placements : sequence of Placement
        From `place`, not empty.
    enough : float, optional
        In kg m: the permissible residual, or the uncertainty of the correction.

    Returns
    -------
    Placement
        The one to recommend.
    """
    good = [one for one in placements if abs(one.left) <= enough]
    if good:
        return min(good, key=lambda one: (one.work > 0, one.total, one.work))
    return min(placements, key=lambda one: abs(one.left))


def _roads(fitted: Sequence[Piece]) -> Iterator[tuple[tuple[Piece, ...], tuple[Piece, ...]]]:
    """Say which of the fitted pieces may stay and which come off."""
    loose = [piece for piece in fitted if piece.kind != "removed"]
    counts = range(len(loose) + 1) if len(loose) <= _EVERY_ROAD else (0, 1, len(loose))
    for count in counts:
        for off in itertools.combinations(range(len(loose)), count):
            taken_off = [loose[number] for number in off]
            kept = [piece for piece in fitted if not any(piece is one for one in taken_off)]
            yield tuple(kept), tuple(taken_off)


def _pieces(
    target: complex, stages: Sequence[Sequence[Options]], most: int, resolution: float
) -> Iterator[tuple[Piece, ...]]:
    """Give no piece, then the best one, two ... until more would not serve."""
    yield ()
    for count in range(1, most + 1):
        best = best_pieces(target, stages, count, resolution)
        if best is None:
            return
        yield tuple(options.piece(index) for options, index in best.picks)
        if best.left <= resolution:
            return


def _blades_first(target: complex, options: list[Options], places: Places) -> list[Options]:
    """Leave to the ring what the blades cannot carry, and what rounding to their smallest piece leaves."""
    blades = [one for one in options if one.along_blade]
    if not (blades and places.blades_first):
        return options
    directions = np.array([[np.cos(one.middle), np.sin(one.middle)] for one in blades]).T
    values = [one.kinds["value"] for one in blades]
    least = [min(0.0, float(value.min())) for value in values]
    most = [max(1e-30, float(value.max())) for value in values]
    scale = abs(target) or 1.0
    wanted = np.array([target.real, target.imag]) / scale
    shares = lsq_linear(directions, wanted, (np.array(least) / scale, np.array(most) / scale))
    limit = scale * float(np.hypot(*shares.fun)) + min(float(np.abs(value).min()) for value in values) / 2
    limited = [one if one.along_blade else one.only(np.abs(one.kinds["value"]) <= limit) for one in options]
    return [one for one in limited if one is not None]


def _worth_showing(
    found: Sequence[Placement], correction: complex, resolution: float
) -> tuple[Placement, ...]:
    """Keep what no other beats: with as few pieces and as little work, and less that is left."""
    most = math.inf if resolution == 0 else _SHAKY * abs(correction)
    shown: list[Placement] = []
    for one in sorted(found, key=lambda one: (one.total, one.work, abs(one.left))):
        useful = one.work == 0 or (
            abs(one.left) < abs(correction) - resolution and cutting_error(one) <= most
        )
        beaten = any(
            other.total <= one.total
            and other.work <= one.work
            and abs(other.left) - resolution <= abs(one.left)
            for other in shown
        )
        if useful and not beaten:
            shown.append(one)
    return tuple(shown)

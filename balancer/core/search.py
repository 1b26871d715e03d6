"""Search for the pieces, at most one from each place, whose unbalance comes nearest to a target."""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from balancer.core.kinds import LAST_STAGE, Floats
from balancer.core.options import DIRECTIONS, Complexes, Options

_PRODUCT = 65536  # sums of points that are formed at a time
_COARSE = 8  # of the directions every eighth serves to bound single sums
_QUERIES = 4096  # of them, asked at a time: a good answer among the first ends the search


@dataclass(frozen=True, eq=False)
class Found:
    """The best so far.

    Parameters
    ----------
    left : float
        How far it misses the target, in kg m.
    picks : tuple of (Options, int)
        From each place used, the index of its point.
    """

    left: float
    picks: tuple[tuple[Options, int], ...] = ()


def best_pieces(
    target: complex, stages: Sequence[Sequence[Options]], count: int, resolution: float
) -> Found | None:
    """Find the pieces, exactly `count` of them, that come nearest to a target.

    Places are tried in sets of `count`. A set cannot come nearer than the distance from the target to the sum
    of the convex hulls of its places, which support functions in a few directions give (R. T. Rockafellar,
    Convex Analysis, section 13, from memory); sets and parts of sets that cannot win are left out. For the
    others all sums of all places but one are formed, and the last place is asked for its nearest point.

    Parameters
    ----------
    target : complex
        In kg m.
    stages : sequence of sequence of Options
        The places, from `in_stages`.
    count : int
        How many pieces, 1 or more.
    resolution : float
        In kg m: the search may stop at what is no more than this above the best, and takes better-liked
        pieces when they are. 0 finds the very best.

    Returns
    -------
    Found or None
        None if there are less than `count` places.
    """
    best = Found(math.inf)
    for chosen in stages:
        for bound, places in _sets(target, chosen, count):
            if bound >= best.left - resolution:
                break
            best = _refined(best, target, (), places, bound + resolution)
    return best if best.picks else None


def least_left(target: complex, options: Sequence[Options], count: int) -> float:
    """Give a lower bound in kg m of what `count` pieces leave if they could be as small as you like."""
    reach = (target * DIRECTIONS.conj()).real
    supports = np.sort([np.maximum(one.support, 0.0) for one in options], axis=0)[-count:]
    return float(np.maximum((reach - supports.sum(axis=0)).max(), 0.0))


def in_stages(options: Sequence[Options]) -> list[list[Options]]:
    """Give the best-liked pieces of all places, then those with the next best, and so on to all of them."""
    stages: list[list[Options]] = []
    for stage in range(LAST_STAGE + 1):
        liked = [one.only(one.kinds["stage"] <= stage) for one in options]
        chosen = [one for one in liked if one is not None]
        if not stages or chosen != stages[-1]:
            stages.append(chosen)
    return stages


def _sets(target: complex, options: Sequence[Options], count: int) -> list[tuple[float, list[Options]]]:
    """List the sets of places, the most promising first, each with the least it can leave."""
    sets = [
        members
        for members in itertools.combinations(range(len(options)), count)
        if _sensible([options[n] for n in members])
    ]
    if not sets:
        return []
    members = np.array(sets)
    reach = (target * DIRECTIONS.conj()).real
    supports = np.array([one.support for one in options])
    bounds = np.maximum((reach - supports[members].sum(axis=1)).max(axis=1), 0.0)
    aside = np.array([_aside(target, one) for one in options])[members].sum(axis=1)
    return [(float(bounds[n]), [options[m] for m in members[n]]) for n in np.lexsort((aside, bounds))]


def _sensible(places: Sequence[Options]) -> bool:
    """Tell whether of each free ring there is nothing, the whole, or both halves (one is part of it)."""
    parts = [(one.where, one.part) for one in places if one.part]
    together = ({"whole"}, {"left", "right"})
    return all({part for ring, part in parts if ring == where} in together for where, _ in parts)


def _aside(target: complex, options: Options) -> float:
    """Say by which angle in rad a place lies beside the target."""
    return 0.0 if options.whole else abs(math.remainder(options.middle - cmath.phase(target), math.tau))


def _bounds(targets: Complexes, support: Floats) -> Floats:
    """Give a lower bound of what a sum of pieces leaves of each target, from how far they reach."""
    towards = DIRECTIONS[::_COARSE]
    reach = targets.real[:, np.newaxis] * towards.real + targets.imag[:, np.newaxis] * towards.imag
    return np.asarray(np.maximum((reach - support[::_COARSE]).max(axis=1), 0.0), float)


def _refined(
    best: Found, rest: complex, picks: tuple[tuple[Options, int], ...], places: list[Options], enough: float
) -> Found:
    """Give the better of the best so far and the best from these places; stop at `enough`."""
    *outer, last = sorted(places, key=lambda one: one.size)
    if math.prod(one.size for one in outer) <= _PRODUCT or len(outer) == 1:
        return _asked(best, rest, picks, outer, last, enough)
    first, *others = outer
    rests = rest - first.points
    bounds = _bounds(rests, last.support + sum(one.support for one in others))
    for index in np.flatnonzero(bounds < best.left):
        if best.left <= enough:
            break
        if bounds[index] < best.left:
            taken = (*picks, (first, int(index)))
            best = _refined(best, complex(rests[index]), taken, [*others, last], enough)
    return best


def _asked(
    best: Found,
    rest: complex,
    picks: tuple[tuple[Options, int], ...],
    outer: list[Options],
    last: Options,
    enough: float,
) -> Found:
    """Form all sums of the outer places and ask the last one for what they leave."""
    shape = tuple(one.size for one in outer)
    sums = reduce(np.add.outer, (one.points for one in outer), np.zeros((), complex)).ravel()
    for start in range(0, sums.size, _QUERIES):
        rests = rest - sums[start : start + _QUERIES]
        near = np.flatnonzero(_bounds(rests, last.support) < best.left)
        if not near.size:
            continue
        index, distance = last.nearest(rests[near])
        least = int(distance.argmin())
        if distance[least] < best.left:
            where = np.unravel_index(start + int(near[least]), shape) if shape else ()
            inner = tuple((one, int(i)) for one, i in zip(outer, where, strict=True))
            best = Found(float(distance[least]), (*picks, *inner, (last, int(index[least]))))
        if best.left <= enough:
            break
    return best

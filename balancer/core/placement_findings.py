"""Why a placement leaves more than it should, and what would help."""

from __future__ import annotations

import cmath
import math

import numpy as np
from scipy.optimize import nnls

from balancer.core.options import Options, options_of
from balancer.core.pieces import Placement, Stock, cutting_error
from balancer.core.places import Places
from balancer.core.search import least_left
from balancer.findings import Finding
from balancer.units import gmm_from_kgm

NOTICED = 0.1
"""Share of the correction that may be left before it is said why."""


def placement_findings(
    placement: Placement, places: Places, stock: Stock, *, enough: float = 0.0
) -> tuple[Finding, ...]:
    """Say why a placement leaves as much as it does.

    Parameters
    ----------
    placement : Placement
        The chosen one.
    places : Places
        Where masses may go.
    stock : Stock
        What there is.
    enough : float, optional
        In kg m: what may be left.

    Returns
    -------
    tuple of Finding
        Empty when it leaves no more than a tenth of what it corrects, or no more than `enough`. Else one of
        ``placement_across`` (no place lies in that direction), ``placement_no_room`` (tape too light, too few
        layers or pieces), ``tape_too_heavy`` (its smallest piece is too much). The last also when usual
        errors of cutting and laying make more than all that is corrected, as of two heavy strips that nearly
        cancel; ``hands_coarse`` when they make more than what may be left.
    """
    left = abs(placement.left)
    wanted = placement.left + sum(piece.unbalance for piece in placement.pieces)
    found = []
    if left > max(enough, NOTICED * abs(wanted)):
        options = options_of(places, stock, placement.kept, cmath.phase(wanted))
        found.append(_why(placement, wanted, options))
    error = cutting_error(placement)
    if error > abs(wanted) and not found:
        found.append(_too_heavy(wanted, options_of(places, stock, placement.kept, cmath.phase(wanted))))
    elif 0 < enough < error:
        found.append(
            Finding.of(
                "hands_coarse",
                "info",
                error_gmm=gmm_from_kgm(error),
                enough_gmm=gmm_from_kgm(enough),
            )
        )
    return tuple(found)


def _why(placement: Placement, wanted: complex, options: list[Options]) -> Finding:
    left = abs(placement.left)
    across = _across(wanted, options)
    if across > left / 2:
        return Finding.of("placement_across", "warning", across_gmm=gmm_from_kgm(across))
    if placement.pieces and least_left(wanted, options, len(placement.pieces)) > left / 2:
        return Finding.of(
            "placement_no_room", "warning", left_gmm=gmm_from_kgm(left), wanted_gmm=gmm_from_kgm(abs(wanted))
        )
    return _too_heavy(wanted, options)


def _too_heavy(wanted: complex, options: list[Options]) -> Finding:
    smallest = min((abs(float(one.kinds["value"][0])) for one in options), default=math.inf)
    return Finding.of(
        "tape_too_heavy", "warning", smallest_gmm=gmm_from_kgm(smallest), wanted_gmm=gmm_from_kgm(abs(wanted))
    )


def _across(wanted: complex, options: list[Options]) -> float:
    """Give what no mass of whatever size at these places could take: the distance from their convex cone."""
    rays = [ray for one in options for ray in one.rays]
    if not rays:
        return abs(wanted)
    _, distance = nnls(np.array([(ray.real, ray.imag) for ray in rays]).T, [wanted.real, wanted.imag])
    return float(distance)

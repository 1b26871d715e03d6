"""Placements as plain data for scripts: the object of ``balancer place --json``."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from balancer.contract.basics import findings_json
from balancer.contract.job import piece_json
from balancer.core.pieces import cutting_error, worst_cutting_error
from balancer.findings import Finding
from balancer.units import degrees_0_360, gmm_from_kgm

if TYPE_CHECKING:
    from balancer.core.pieces import Placement


def place_json(
    correction: complex,
    best: Placement,
    others: Sequence[Placement],
    *,
    rotor: tuple[float, float] | None,
    findings: Sequence[Finding],
) -> dict[str, Any]:
    """Put placements into an object.

    Parameters
    ----------
    correction : complex
        Unbalance in kg m that was to be added.
    best : Placement
        The one to recommend.
    others : sequence of Placement
        The alternatives.
    rotor : tuple of float, optional
        Its mass in kg and speed in rad/s, for the grade.
    findings : sequence of Finding
        What was noticed.

    Returns
    -------
    dict
        ``{"correction": {"unbalance_gmm", "angle_deg"}, "recommended": {...}, "alternatives": [...],
        "findings": [...]}``; each placement has ``put_on``, ``take_off`` and ``stays_on`` (pieces),
        ``left_gmm``, ``left_deg`` (what would still have to be added), ``grade_mm_s`` (or None),
        ``hand_error_gmm`` and ``worst_hand_error_gmm``.
    """
    return {
        "correction": {
            "unbalance_gmm": gmm_from_kgm(abs(correction)),
            "angle_deg": degrees_0_360(cmath.phase(correction)),
        },
        "recommended": _placement(best, rotor),
        "alternatives": [_placement(other, rotor) for other in others],
        "findings": findings_json(findings),
    }


def _placement(placement: Placement, rotor: tuple[float, float] | None) -> dict[str, Any]:
    return {
        "put_on": [piece_json(piece) for piece in placement.pieces],
        "take_off": [piece_json(piece) for piece in placement.taken_off],
        "stays_on": [piece_json(piece) for piece in placement.kept],
        "left_gmm": gmm_from_kgm(abs(placement.left)),
        "left_deg": degrees_0_360(cmath.phase(placement.left)),
        "grade_mm_s": None if rotor is None else placement.grade(*rotor) * 1e3,
        "hand_error_gmm": gmm_from_kgm(cutting_error(placement)),
        "worst_hand_error_gmm": gmm_from_kgm(worst_cutting_error(placement)),
    }

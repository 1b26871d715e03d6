"""Parts told apart as plain data for scripts: the JSON object of ``balancer index --json``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from balancer.contract.basics import findings_json
from balancer.core.vectors import UncertainComplex
from balancer.units import degrees_0_360, gmm_from_kgm, rpm_from_rad_s

if TYPE_CHECKING:  # what is solved need not be loaded for words about it
    from balancer.procedure.indexing import Indexing, PartResult


def indexing_json(found: Indexing) -> dict[str, Any]:
    """Put parts told apart into the object of ``balancer index --json``.

    Parameters
    ----------
    found : Indexing
        Solved runs.

    Returns
    -------
    dict
        ``runs``, ``speed_rpm``, ``kept``, ``turned``, ``scatter`` (None when it cannot be told),
        ``positions`` (best first), ``any_position`` and ``findings``. Sizes are ``unbalance_gmm``, or
        ``amplitude`` in the unit of the readings when no coefficient was known; the other is None.
        ``within_95`` is the radius of a circle around a result in the same unit.
    """
    parts = found.parts
    free = parts.best_angle
    return {
        "runs": found.runs,
        "speed_rpm": None if found.speed is None else rpm_from_rad_s(found.speed),
        "kept": _part(found, found.kept),
        "turned": _part(found, found.turned),
        "scatter": None
        if parts.scatter is None
        else {
            "sd": _in_unit(found, parts.scatter.sd),
            "low_95": _in_unit(found, parts.scatter.low),
            "high_95": _in_unit(found, parts.scatter.high),
            "unit": "g mm" if found.in_unbalance else "reading",
            "redundant_numbers": parts.scatter.freedom,
        },
        "positions": [
            {"index_deg": degrees_0_360(one.angle), **_vector(found, one.left)} for one in found.positions
        ],
        "any_position": {"index_deg": degrees_0_360(free), **_vector(found, parts.together(free))},
        "findings": findings_json(found.findings),
    }


def _part(found: Indexing, part: PartResult) -> dict[str, Any]:
    return {
        "name": part.name,
        **_vector(found, part.vector),
        "within_95": _in_unit(found, found.parts.coverage * part.vector.covariance.radius),
        "grade_mm_s": None if part.grade is None else part.grade * 1e3,
        "permissible_gmm": None if part.permissible is None else gmm_from_kgm(part.permissible),
    }


def _vector(found: Indexing, vector: UncertainComplex) -> dict[str, float | None]:
    size, sd = (_in_unit(found, value) for value in (vector.amplitude, vector.sd_amplitude))
    return {
        "unbalance_gmm": size if found.in_unbalance else None,
        "amplitude": None if found.in_unbalance else size,
        "angle_deg": degrees_0_360(vector.lag),
        "sd": sd,
        "sd_angle_deg": math.degrees(vector.sd_lag),
    }


def _in_unit(found: Indexing, value: float) -> float:
    return gmm_from_kgm(value) if found.in_unbalance else value

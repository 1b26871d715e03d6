"""A job's next step as plain data for scripts: the JSON object of ``balancer job next --json``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from balancer.contract.basics import correction_json, findings_json
from balancer.units import degrees_0_360, g_from_kg, gmm_from_kgm, mm_from_m
from balancer.wording import finding_text
from balancer.wording.job import step_title

if TYPE_CHECKING:  # what is done need not be loaded for words about it
    from balancer.core.masses import Mass
    from balancer.core.pieces import Piece, Placement
    from balancer.procedure.job import Job
    from balancer.procedure.step import Step


def step_json(step: Step, job: Job) -> dict[str, Any]:
    """Put a step into the object of ``balancer job next --json``.

    Parameters
    ----------
    step : Step
        From `next_step`.
    job : Job
        The job that it is for.

    Returns
    -------
    dict
        ``action``, ``purpose``, ``title``, ``why`` (code, severity, text), ``runs``, ``put_on`` and
        ``take_off`` (pieces), ``then_on`` (all pieces afterwards), ``left_gmm``, ``alternatives``,
        ``correction`` and ``residual`` as far as they are known, ``findings``.
    """
    advised = step.placements[0] if step.placements else None
    verdict, solution = step.verdict, step.solution
    return {
        "action": step.action,
        "purpose": step.purpose or None,
        "title": step_title(step),
        "why": {"code": step.why.code, "severity": step.why.severity, "text": finding_text(step.why)},
        "runs": list(step.runs),
        "put_on": [piece_json(one) for one in step.put_on],
        "take_off": [piece_json(one) for one in step.taken_off],
        "then_on": [piece_json(one) for one in step.pieces],
        "left_gmm": None if advised is None else gmm_from_kgm(abs(advised.left)),
        "alternatives": [_placement(one) for one in step.placements[1:]],
        "correction": None
        if solution is None
        else correction_json(solution.answer.correction, job.part.places.radius),
        "residual": None
        if verdict is None
        else {
            "state": verdict.state,
            "unbalance_gmm": gmm_from_kgm(verdict.size),
            "claim_gmm": gmm_from_kgm(verdict.claim),
            "permissible_gmm": None if verdict.permissible is None else gmm_from_kgm(verdict.permissible),
        },
        "findings": findings_json(step.findings),
    }


def mass_json(mass: Mass) -> dict[str, float]:
    """Put a mass into an object, as runs files and simulated benches take it."""
    return {
        "mass_g": g_from_kg(mass.mass),
        "radius_mm": mm_from_m(mass.radius),
        "angle_deg": degrees_0_360(mass.angle),
    }


def piece_json(piece: Piece) -> dict[str, Any]:
    """Put a piece into an object: where, what, mass, radius, angle, and length and layers of tape."""
    strip = piece.strip
    return {
        "where": piece.where,
        "kind": piece.kind,
        "mass_g": g_from_kg(piece.amount),
        "radius_mm": mm_from_m(piece.radius),
        "angle_deg": degrees_0_360(piece.angle),
        "length_mm": None if strip is None else mm_from_m(strip.length),
        "layers": None if strip is None else strip.layers,
    }


def _placement(placement: Placement) -> dict[str, Any]:
    return {
        "pieces": [piece_json(one) for one in (*placement.kept, *placement.pieces)],
        "left_gmm": gmm_from_kgm(abs(placement.left)),
    }

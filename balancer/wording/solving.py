"""Words for an answer: what to add, what is left."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from balancer.core.grade import centrifugal_force
from balancer.core.vectors import UncertainComplex
from balancer.units import g_from_kg, gmm_from_kgm, mm_from_m, rpm_from_rad_s
from balancer.wording.basics import (
    CONVENTION,
    CONVENTION_WITH,
    FITTING_CAUTION,
    Direction,
    angle_text,
    finding_line,
    significant,
)

if TYPE_CHECKING:  # what is measured need not be loaded for words about it
    from balancer.procedure.solve import Residual, Solution


def correction_text(unbalance: UncertainComplex, radius: float, direction: Direction = "against") -> str:
    """Say an unbalance to add (kg m) as a mass at a radius (m) and an angle."""
    mass = g_from_kg(unbalance.amplitude / radius)
    return (
        f"{significant(mass)} g at radius {mm_from_m(radius):g} mm, {angle_text(unbalance.lag, direction)} "
        f"({significant(gmm_from_kgm(unbalance.amplitude))} g mm ± "
        f"{significant(gmm_from_kgm(unbalance.sd_amplitude), 2)}, "
        f"angle ± {significant(math.degrees(unbalance.sd_lag), 2)} deg)"
    )


def residual_text(residual: Residual) -> str:
    """Say what is left in the last run, and whether that is good enough."""
    left = f"{significant(gmm_from_kgm(residual.unbalance))} g mm"
    if residual.grade is None or residual.permissible is None:
        return f"{left} are left in the last run (rotor mass and speed would give its balance quality grade)."
    allowed = significant(gmm_from_kgm(residual.permissible))
    verdict = "inside" if residual.unbalance <= residual.permissible else "above"
    text = (
        f"{left} are left in the last run: G{significant(residual.grade * 1e3, 2)}, "
        f"{verdict} the permissible {allowed} g mm."
    )
    if residual.unbalance > residual.permissible and residual.unbalance < 2 * residual.sd:
        text += " It is inside its own 95 % uncertainty, so this bench cannot do better."
    return text


def solution_lines(solution: Solution, direction: Direction = "against") -> list[str]:
    """Describe a solution: what to add, what is left, what was noticed."""
    answer = solution.answer
    method = "influence coefficient" if answer.method == "influence" else "amplitudes only"
    lines = [
        f"Method: {method}, {len(answer.initial)} channel{'s' if len(answer.initial) > 1 else ''}.",
        CONVENTION if direction == "against" else CONVENTION_WITH,
        "Correction, all listed masses off: add "
        f"{correction_text(answer.correction, solution.radius, direction)}.",
        *(
            f"  or just as likely: {correction_text(other, solution.radius, direction)}."
            for other in answer.alternatives
        ),
        "On top of what is fitted in the last run: add "
        f"{correction_text(answer.next_correction, solution.radius, direction)}.",
        residual_text(solution.residual),
    ]
    if solution.speed is not None:
        force = centrifugal_force(answer.correction.amplitude, solution.speed)
        rpm = rpm_from_rad_s(solution.speed)
        lines.append(f"At {rpm:.0f} rpm the correction pulls with {significant(force, 2)} N.")
    if answer.consistency is not None:
        lines.append(f"The runs agree to {100 * answer.consistency:.1f} % of the trial mass's effect.")
    return [*lines, *(finding_line(finding) for finding in solution.findings), FITTING_CAUTION]

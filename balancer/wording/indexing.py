"""Words for turning one part on the other: what belongs to which, and how to leave them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from balancer.core.vectors import UncertainComplex
from balancer.units import gmm_from_kgm, rpm_from_rad_s
from balancer.wording.basics import (
    CONVENTION,
    CONVENTION_WITH,
    Direction,
    angle_text,
    finding_line,
    significant,
)

if TYPE_CHECKING:  # what is solved need not be loaded for words about it
    from balancer.procedure.indexing import Indexing, PartResult, Position

TURNING_CAUTION = (
    "Before you unscrew anything: disarm, unplug the battery, let the motor cool, and hold the bell, not a "
    "blade's edge. Before it turns again: nut or screws tight as their maker says, every blade sound, eyes "
    "protected, nobody in the plane of the propeller, the cut-off within reach."
)


def indexing_lines(found: Indexing, direction: Direction = "against") -> list[str]:
    """Describe what belongs to which part, how it seats, and how to leave it.

    Parameters
    ----------
    found : Indexing
        Solved runs.
    direction : {"against", "with"}
        How the person counts angles.

    Returns
    -------
    list of str
        Ready to print; the cautions come last.
    """
    speed = "" if found.speed is None else f" at {rpm_from_rad_s(found.speed):.0f} rpm"
    return [
        f"{found.runs} runs{speed}.",
        CONVENTION if direction == "against" else CONVENTION_WITH,
        f"{found.kept.name}: {_part(found, found.kept, direction)}, counted from the mark.",
        f"{found.turned.name}: {_part(found, found.turned, direction)}, counted on itself from where the "
        "mark is when its index is 0.",
        *_scatter(found),
        *_positions(found, direction),
        *(finding_line(finding) for finding in found.findings),
        TURNING_CAUTION,
    ]


def _part(found: Indexing, part: PartResult, direction: Direction) -> str:
    within = part.vector.covariance.radius * found.parts.coverage
    text = (
        f"heavy by {_size(found, part.vector.amplitude)} at {angle_text(part.vector.lag, direction)} "
        f"(95 % within {_size(found, within, 2)})"
    )
    if part.grade is None or part.permissible is None:
        return text
    verdict = "above"
    if part.vector.amplitude <= part.permissible:
        verdict = "inside" if part.vector.amplitude + within <= part.permissible else "not surely inside"
    allowed = significant(gmm_from_kgm(part.permissible))
    return f"{text}, G{significant(part.grade * 1e3, 2)}, {verdict} its permissible {allowed} g mm"


def _size(found: Indexing, size: float, digits: int = 3) -> str:
    if found.in_unbalance:
        return f"{significant(gmm_from_kgm(size), digits)} g mm"
    return f"{significant(size, digits)} in vibration"


def _scatter(found: Indexing) -> list[str]:
    scatter = found.parts.scatter
    if scatter is None:
        return []
    # both components together, so that it compares with the parts' sizes
    typical, low, high = (math.sqrt(2) * value for value in (scatter.sd, scatter.low, scatter.high))
    return [
        f"Each new seating changes that by about {_size(found, typical, 2)} (between "
        f"{_size(found, low, 2)} and {_size(found, high, 2)} with 95 %)."
    ]


def _positions(found: Indexing, direction: Direction) -> list[str]:
    if not found.positions:
        return []
    best, *others = found.positions
    lines = [f"Best of the positions: {_position(found, best, direction)}."]
    if others:
        lines.append(f"The others: {'; '.join(_position(found, one, direction) for one in others)}.")
    free = found.parts.best_angle
    left = found.parts.together(free)
    if left.amplitude < 0.9 * best.left.amplitude:
        lines.append(
            f"If every position were possible: index {angle_text(free, direction)} would leave "
            f"{_size(found, left.amplitude)}."
        )
    return lines


def _position(found: Indexing, position: Position, direction: Direction) -> str:
    left: UncertainComplex = position.left
    return f"index {angle_text(position.angle, direction)} leaves {_size(found, left.amplitude)}"

"""Words for the trial mass: how large and where, and what it was worth."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.units import g_from_kg, gmm_from_kgm, mm_from_m
from balancer.wording.basics import FITTING_CAUTION, Direction, angle_text, finding_line, significant

if TYPE_CHECKING:  # what is advised need not be loaded for words about it
    from balancer.procedure.trial import TrialAdvice
    from balancer.procedure.trial_judgement import TrialJudgement

_BASES = MappingProxyType(
    {
        "influence": "It is sized by how this stand answered before.",
        "moving-mass": (
            "It is sized by the moving mass of the stand. Near a resonance it can do several times as much: "
            "bring the speed up slowly and watch."
        ),
        "first-guess": (
            "It is a cautious first guess, as nothing is known of this stand: bring the speed up slowly and "
            "watch."
        ),
    }
)

_BOUNDS = MappingProxyType(
    {
        "": "",
        "noise": " It was made larger, to stand clear of the noise.",
        "force": " The limit on its force kept it smaller.",
        "vibration": " The limit on the vibration kept it smaller.",
    }
)

_VERDICTS = MappingProxyType(
    {
        "good": "The trial mass did enough",
        "usable": "The trial mass did enough to go on",
        "too-small": "The trial mass did too little",
        "too-large": "The trial mass did too much",
    }
)


def trial_basis(advice: TrialAdvice) -> str:
    """Say what the size of the trial mass rests on, and what moved it."""
    return _BASES[advice.basis] + _BOUNDS[advice.bounded_by]


def trial_lines(advice: TrialAdvice, radius: float, direction: Direction = "against") -> list[str]:
    """Say how large the trial mass should be at a radius (m), where it goes, and how hard it pulls."""
    mass = significant(g_from_kg(abs(advice.unbalance) / radius))
    angles = [angle_text(angle, direction) for angle in advice.angles]
    where = f"at {angles[0]}" if len(angles) == 1 else f"one run each at {', '.join(angles)}"
    lines = [
        f"Trial mass: {mass} g at radius {mm_from_m(radius):g} mm "
        f"({significant(gmm_from_kgm(abs(advice.unbalance)))} g mm), {where}.",
        trial_basis(advice),
        f"It pulls with {significant(advice.force, 2)} N, {advice.weights:.0f} times its own weight.",
    ]
    if advice.effect is not None:
        lines.append(f"It should change the vibration by about {significant(advice.effect, 2)} m/s^2.")
    return [*lines, *(finding_line(finding) for finding in advice.findings), FITTING_CAUTION]


def judgement_lines(judged: TrialJudgement) -> list[str]:
    """Say what the trial mass did and whether that will do."""
    text = f"{_VERDICTS[judged.verdict]}: amplitude {100 * judged.amplitude_change:+.0f} %"
    if judged.phase_change is not None:
        text += f", phase {math.degrees(judged.phase_change):+.0f} deg"
    if judged.share is not None and judged.signal_to_noise is not None:
        text += (
            f"; it moved the vector by {100 * judged.share:.0f} % of itself, "
            f"{judged.signal_to_noise:.0f} times the uncertainty"
        )
    return [f"{text}.", *(finding_line(finding) for finding in judged.findings)]

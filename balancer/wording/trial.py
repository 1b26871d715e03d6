"""Words for the trial mass: how large and where, and what it was worth."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.wording.basics import finding_line

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

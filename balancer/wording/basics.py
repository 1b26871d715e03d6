"""What all words share: findings as sentences, numbers, angles and vectors as text, the cautions."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Literal

from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding
from balancer.units import degrees_0_360
from balancer.wording.sentences import SENTENCES

Direction = Literal["against", "with"]

CAUTIONS = (
    "Stay out of the plane of the propeller, and keep everybody else out of it.",
    "Wear eye protection: tape and blades can fly off.",
    "Clamp the stand firmly and tug at it before every run.",
    "Keep a cut-off within reach that takes the power away without passing the propeller.",
    "Disarm and unplug the battery before a hand goes near the rotor.",
    "Press every piece of tape down firmly, and never use a cracked or repaired blade.",
    "Motors get hot and lithium batteries burn: keep to the makers' limits and your local rules.",
    "When unsure, ask somebody qualified.",
)

FITTING_CAUTION = (
    "Before you fit anything: disarm, unplug the battery, press the tape down firmly. Before it turns again: "
    "eyes protected, nobody in the plane of the propeller, the cut-off within reach."
)

CONVENTION = (
    "Angles count against the rotation from the mark, seen from the front (where the air comes from)."
)

CONVENTION_WITH = (
    "Angles count with the rotation from the mark, seen from the front (where the air comes from)."
)

_SEVERITIES = MappingProxyType({"info": "note", "warning": "warning", "error": "do not use"})


def counted(number: int, what: str) -> str:
    """Say how many there are of a thing.

    Examples
    --------
    >>> counted(1, "job"), counted(2, "job")
    ('1 job', '2 jobs')
    """
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def capital(text: str) -> str:
    """Begin a sentence of words that stand elsewhere within one.

    Examples
    --------
    >>> capital("cut 12 mm of tape")
    'Cut 12 mm of tape'
    """
    return text[:1].upper() + text[1:]


def finding_text(finding: Finding, direction: Direction = "against") -> str:
    """Put a finding into a sentence.

    Parameters
    ----------
    finding : Finding
        What was noticed.
    direction : {"against", "with"}
        How its angles count; only a sentence with ``{way}`` says so.

    Returns
    -------
    str
        One or two sentences that end in a full stop.

    Raises
    ------
    KeyError
        If there are no words for its code.
    """
    figures = dict(finding.figures)
    if "angle_deg" in figures:  # on the rotor, against the rotation
        angle = float(figures["angle_deg"])
        figures |= {"angle_deg": round(angle if direction == "against" else -angle) % 360, "way": direction}
    recording = f"{figures['recording']}: " if "recording" in figures else ""
    return recording + SENTENCES[finding.code].format(**figures)


def finding_line(finding: Finding, direction: Direction = "against") -> str:
    """Put a finding into a line with its severity in front."""
    return f"{_SEVERITIES[finding.severity]}: {finding_text(finding, direction)}"


def angle_text(angle: float, direction: Direction = "against") -> str:
    """Write an angle in rad (against the rotation) as whole degrees, counted as the person chose."""
    return f"{degrees_0_360(angle if direction == 'against' else -angle):.0f} deg"


def significant(value: float, digits: int = 3) -> str:
    """Write a number to some significant digits without an exponent for usual sizes.

    Examples
    --------
    >>> significant(0.012345), significant(1234.5), significant(0.0)
    ('0.0123', '1234', '0')
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    return f"{value:.{max(decimals, 0)}f}" if decimals < 9 else f"{value:.{digits - 1}e}"


def vector_text(vector: UncertainComplex, unit: str, direction: Direction = "against") -> str:
    """Write a vector with its uncertainties."""
    return (
        f"{significant(vector.amplitude)} {unit} (± {significant(vector.sd_amplitude, 2)}) at "
        f"{angle_text(vector.lag, direction)} (± {significant(math.degrees(vector.sd_lag), 2)})"
    )

"""Words for what speaks for and against unbalance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from balancer.findings import Finding
from balancer.wording.basics import finding_line, finding_text

if TYPE_CHECKING:  # what is diagnosed need not be loaded for words about it
    from balancer.procedure.symptoms import Symptoms

LOOKING_CAUTION = (
    "Before you look closer: disarm, unplug the battery, wait until all stands still and the motor is cool. "
    "Never run a cracked or repaired blade. Before it turns again: stand clamped, eyes protected, nobody in "
    "the plane of the propeller, the cut-off within reach. When unsure, ask somebody qualified."
)


def symptoms_lines(found: Symptoms) -> list[str]:
    """Say what speaks for and against unbalance, and then what the recording cannot tell.

    Parameters
    ----------
    found : Symptoms
        Of one recording.

    Returns
    -------
    list of str
        Lines; what does not occur has no heading.
    """
    return [
        f"{found.source or 'recording'}: is it unbalance?",
        *_part("Speaks for unbalance:", [finding_text(f) for f in found.speaks_for]),
        *_part(
            "Speaks against it, or for something else beside it:",
            [finding_line(f) for f in found.speaks_against],
        ),
        *_part("Cannot be told from this recording:", [finding_text(f) for f in found.untold]),
    ]


def repeats_lines(findings: Sequence[Finding]) -> list[str]:
    """Say what runs with the same masses tell about each other."""
    return _part("Runs with the same masses:", [finding_line(f) for f in findings])


def _part(heading: str, lines: Sequence[str]) -> list[str]:
    return [f"  {heading}", *(f"    - {line}" for line in lines)] if lines else []

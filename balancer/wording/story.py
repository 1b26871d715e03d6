"""The story of the simulated bench in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from balancer.units import gmm_from_kgm, rpm_from_rad_s
from balancer.wording.basics import CAUTIONS, CONVENTION, finding_line, significant
from balancer.wording.measuring import measurement_lines
from balancer.wording.solving import correction_text, residual_text
from balancer.wording.tape import piece_text, tape_text

if TYPE_CHECKING:  # what is played need not be loaded for words about it
    from balancer.procedure.story import Story


def story_opening(speed: float, part: str) -> list[str]:
    """Open the story: what it is, and the cautions first."""
    return [
        "Before any propeller turns:",
        *(f"  - {caution}" for caution in CAUTIONS),
        "",
        "What follows is a simulated bench with an invented build: a six-arm coastal-survey craft with",
        f"12-inch propellers. {part} is balanced at {rpm_from_rad_s(speed):.0f} rpm. Nothing spins here.",
        CONVENTION,
        "",
    ]


def story_lines(story: Story) -> list[str]:
    """Tell the story: three runs, the tape, what it did, and the hidden truth."""
    radius = story.advice.radius
    truth = story.bench.rotor.unbalance
    return [
        "1. As-is run: how it shakes as it came.",
        *_indented(measurement_lines(story.as_is.measurement)),
        "2. Trial run: a known piece of tape, sized to shift the vector by about its own length.",
        f"   {piece_text(story.trial_piece)}",
        *_indented(measurement_lines(story.trial.measurement)),
        "3. Correction: take the trial tape off, then",
        f"   add {correction_text(story.advice.answer.correction, radius)}.",
        "   In tape, cut to whole millimetres:",
        *(f"   - {piece_text(piece)}" for piece in story.pieces),
        *([f"   ({tape_text(strip.tape)}.)"] if (strip := story.trial_piece.strip) else []),
        "4. Check run, with that tape on.",
        *_indented(measurement_lines(story.check.measurement)),
        f"   1x went down by {100 * story.vibration_removed:.1f} %. {residual_text(story.outcome.residual)}",
        *(f"   {finding_line(finding)}" for finding in story.outcome.findings),
        "",
        f"The hidden truth: the rotor had {significant(gmm_from_kgm(abs(truth)))} g mm; the tape took "
        f"{100 * story.truly_removed:.1f} % of it away.",
    ]


def _indented(lines: Sequence[str]) -> list[str]:
    return [f"   {line.strip()}" for line in lines]

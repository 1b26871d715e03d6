"""Sentences and tables for people: every finding, every result, every caution in words."""

from balancer.wording.basics import (
    CAUTIONS,
    CONVENTION,
    CONVENTION_WITH,
    FITTING_CAUTION,
    Direction,
    angle_text,
    capital,
    counted,
    finding_line,
    finding_text,
    significant,
    vector_text,
)
from balancer.wording.measuring import checked_lines, measurement_lines, understood_lines
from balancer.wording.recording import port_hint, port_lines, recording_lines, recording_text
from balancer.wording.solving import correction_text, residual_text, solution_lines
from balancer.wording.story import story_lines, story_opening
from balancer.wording.tape import piece_label, piece_text, tape_length_text, tape_text

__all__ = [
    "CAUTIONS",
    "CONVENTION",
    "CONVENTION_WITH",
    "FITTING_CAUTION",
    "Direction",
    "angle_text",
    "capital",
    "checked_lines",
    "correction_text",
    "counted",
    "finding_line",
    "finding_text",
    "measurement_lines",
    "piece_label",
    "piece_text",
    "port_hint",
    "port_lines",
    "recording_lines",
    "recording_text",
    "residual_text",
    "significant",
    "solution_lines",
    "story_lines",
    "story_opening",
    "tape_length_text",
    "tape_text",
    "understood_lines",
    "vector_text",
]

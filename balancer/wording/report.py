"""Words of reports: a part's card and a machine's sheet."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.core.grade import DEFAULT_GRADE
from balancer.findings import Finding
from balancer.history.records.part import BellSizes, PropellerSizes
from balancer.units import g_from_kg, gmm_from_kgm, mm_from_m, rpm_from_rad_s
from balancer.wording.basics import (
    CONVENTION,
    CONVENTION_WITH,
    Direction,
    capital,
    finding_line,
    significant,
)
from balancer.wording.sentences import SENTENCES
from balancer.wording.tape import piece_text

if TYPE_CHECKING:  # what is gathered need not be loaded for words about it
    from balancer.core.pieces import Piece
    from balancer.history.records.event import Event
    from balancer.history.records.part import PartRecord
    from balancer.report.card import Left, MachineSheet, OnceVector, Outcome, PartCard, TrendData

NOT_KNOWN = "not known"

KIND_WORDS = MappingProxyType({"propeller": "Propeller", "bell": "Motor bell", "adapter": "Adapter"})
HAND_WORDS = MappingProxyType({"ccw": "counter-clockwise", "cw": "clockwise"})
_HAPPENED = MappingProxyType({"carried": "carried a propeller on the bench"})
DUE_WORDS = MappingProxyType(
    {
        "crashed": "crashed since",
        "repaired": "repaired since",
        "moved": "moved since",
        "never_checked": "never checked",
        "time": "by time",
    }
)
_STATES = MappingProxyType(
    {
        "no_runs": "No run of this job counts yet, so nothing is known of the part.",
        "unsolved": "The runs of this job do not suffice to tell the unbalance.",
        "unchecked": "No check run was made with what is on, so what is left is not known.",
        "trial_on": "The job was left with the trial piece on: what a correction would leave is not known.",
    }
)

WRONG_HAND = "This propeller turns the other way than its arm. Do not fly: put it where it belongs."

NOTHING_ON = "By its record nothing is on this part."

NEVER_ON_BENCH = "This part was never on the bench in a job, so nothing is known of its unbalance."

PIECES_UNNAMED = (
    "The latest job left pieces on that the part's record does not name: look at the part, and put the "
    "record right."
)

STANDARD_NOTE = "ISO 21940-11 does not list model propellers, so the grade is a choice."

BOUND_NOTE = (
    "The 95 % bound is what may be claimed: with 95 % probability the true unbalance is no larger. It holds "
    "for the part on this stand, as it was mounted then."
)

REPORT_CAUTION = (
    "This report tells what was measured on a bench, not that a part is sound. Look for cracks and nicks "
    "before every flight, and never use a cracked or repaired blade."
)


def date_text(when: datetime | None) -> str:
    """Write a day, or a dash for none."""
    return "–" if when is None else when.date().isoformat()


def grade_text(grade: float) -> str:
    """Write a balance quality grade in m/s, such as G6.3, to two digits."""
    value = grade * 1e3
    return f"G{value:.2g}" if 0.01 <= value < 100 else f"G{value:.0f}" if value >= 100 else f"G{value:.1e}"


def gmm_text(unbalance: float, digits: int = 2) -> str:
    """Write an unbalance in kg m as g mm."""
    return f"{significant(gmm_from_kgm(unbalance), digits)} g mm"


def said(finding: Finding) -> str:
    """Put a finding into a line; one that another version of the program made stays a code."""
    return finding_line(finding) if finding.code in SENTENCES else f"{finding.severity}: {finding.code}"


def vector_label(vector: OnceVector, number: int | None) -> str:
    """Name a 1x vector of a job, with how many runs it is the mean of."""
    name = vector.purpose or "run"
    name += "" if number is None else f" {number}"
    return name if len(vector.runs) == 1 else f"{name}, mean of {len(vector.runs)}"


def sizes_text(part: PartRecord) -> str:
    """Say what a part is in a line, without what was typed."""
    sizes = part.sizes
    parts = [KIND_WORDS[part.kind]]
    if isinstance(sizes, PropellerSizes):
        pitch = "" if sizes.pitch is None else f" by {mm_from_m(sizes.pitch):.4g} mm pitch"
        parts.append(f"{mm_from_m(sizes.diameter):.4g} mm{pitch}")
        parts.append(f"{sizes.blades} blades")
    elif isinstance(sizes, BellSizes):
        if sizes.radius is not None:
            parts.append(f"rim radius {mm_from_m(sizes.radius):.4g} mm")
        if sizes.magnets is not None:
            parts.append(f"{sizes.magnets} magnets")
    parts.append("mass not known" if part.mass is None else f"{g_from_kg(part.mass):.4g} g")
    return ", ".join(parts)


def hand_text(card: PartCard) -> str:
    """Say which way a part turns, and whence that is known."""
    if card.hand is None:
        return NOT_KNOWN
    whence = ""
    if not isinstance(card.part.sizes, PropellerSizes):
        whence = ", as in its latest job" if card.outcomes else ", as its arm does"
    return f"{HAND_WORDS[card.hand]}, seen from the front{whence}"


def due_text(card: PartCard) -> str:
    """Say whether a part is due, why, or when it will be."""
    if card.part.where.state == "retired":
        return "retired"
    if card.due.now:
        reasons = ", ".join(
            DUE_WORDS[why] + ("" if when is None or why == "never_checked" else f" ({when.isoformat()})")
            for why, when in card.due.reasons
        )
        return f"due: {reasons}"
    return "not due" if card.due.next is None else f"not before {card.due.next.isoformat()}"


def size_text(left: Left | None) -> str:
    """Say the best estimate of an unbalance."""
    if left is None:
        return NOT_KNOWN
    if left.verdict.size == 0:
        return "cannot be told from none"
    return gmm_text(left.verdict.size)


def claim_text(left: Left | None) -> str:
    """Say the 95 % bound of an unbalance."""
    return NOT_KNOWN if left is None else f"at most {gmm_text(left.verdict.claim)}"


def reached_text(left: Left | None) -> str:
    """Say the grade that the 95 % bound of an unbalance amounts to."""
    return NOT_KNOWN if left is None else f"{grade_text(left.claim_grade)} or better"


def verdict_text(left: Left) -> str:
    """Say whether an unbalance is good enough."""
    return said(left.verdict.finding).split(": ", 1)[1]


def speed_text(speed: float | None) -> str:
    """Write a speed in rpm."""
    return NOT_KNOWN if speed is None else f"{rpm_from_rad_s(speed):.0f} rpm"


def asked_text(grade: float) -> str:
    """Say the grade that is asked for, and whose choice it was."""
    if grade == DEFAULT_GRADE:
        return f"{grade_text(grade)}: the usual grade of fans, taken unless the owner chooses another"
    return f"{grade_text(grade)}: the owner's choice for this part"


def state_text(outcome: Outcome) -> str:
    """Say why it is not known what a job left; empty where it is."""
    if outcome.state == "known":
        return (
            "" if outcome.left is not None else "The speed of this job is not known, so nothing can be told."
        )
    because = f" ({outcome.problem})" if outcome.problem else ""
    return _STATES[outcome.state].removesuffix(".") + because + "."


def runs_text(outcome: Outcome) -> str:
    """Say how many runs a job has, and how many of them do not count."""
    runs = "1 run" if outcome.runs == 1 else f"{outcome.runs} runs"
    return runs if not outcome.set_aside else f"{runs}, {outcome.set_aside} of them not counted"


def piece_lines(pieces: Sequence[Piece], direction: Direction = "against") -> list[str]:
    """Say what each piece is and where it sits, with its letter in the drawing."""
    letters = [f"{chr(ord('A') + n)}: " if 1 < len(pieces) <= 26 else "" for n in range(len(pieces))]
    return [letter + piece_text(one, direction) for letter, one in zip(letters, pieces, strict=True)]


def convention(direction: Direction) -> str:
    """Say how angles count."""
    return CONVENTION if direction == "against" else CONVENTION_WITH


def trend_lines(trend: TrendData) -> list[str]:
    """Say for what the lines of the trend hold, and what could not be compared."""
    rpm, grams = rpm_from_rad_s(trend.speed), g_from_kg(trend.mass)
    lines = [f"The grades hold for {grams:.4g} g at {rpm:.0f} rpm; {grade_text(trend.asked)} is asked for."]
    return [*lines, *(said(one) for one in trend.findings)]


def event_text(event: Event) -> str:
    """Say what happened: the kind of an event is a word already, but for a few."""
    return capital(_HAPPENED.get(event.kind, event.kind))


def place_text(card: PartCard) -> str:
    """Say where a part is."""
    if card.arm is not None:
        return f"on arm {card.arm.number} of {card.machine}"
    return "in the box as a spare" if card.part.where.state == "spare" else "retired"


def card_lines(card: PartCard, direction: Direction = "against") -> list[str]:
    """Say a part's card in lines for a terminal.

    Parameters
    ----------
    card : PartCard
        The card.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        The part first, then how it stands, what is on it, its jobs and its events.
    """
    lines = [
        f"{card.part.label}: {sizes_text(card.part)}, {place_text(card)}; {due_text(card)}",
        *([f"  {WRONG_HAND}"] if card.wrong_hand else []),
        *(f"  on it: {line}" for line in piece_lines(card.part.pieces, direction)),
    ]
    if card.part.pieces:
        lines.append(f"  {convention(direction)}")
    if not card.outcomes:
        lines.append("  no jobs yet")
    for one in card.outcomes:
        stand = f" on {one.stand}" if one.stand else ""
        lines.append(
            f"  {date_text(one.when)}{stand}, {speed_text(one.speed)}: found {_short(one.found)}, "
            f"left {_short(one.left)}"
        )
    return [*lines, *(f"  {date_text(e.at)} {event_text(e).lower()}{_words(e.words)}" for e in card.events)]


def sheet_lines(sheet: MachineSheet) -> list[str]:
    """Say a machine's sheet in lines for a terminal, one for each part."""
    lines = [f"{sheet.machine.name}: {len(sheet.arms)} arms"]
    for arm in sheet.arms:
        head = f"  arm {arm.arm.number} ({arm.arm.hand})"
        lines += [
            f"{head}: {KIND_WORDS[card.part.kind].lower()} {card.part.label}, "
            f"left {_short(None if card.latest is None else card.latest.left)}, "
            f"balanced {date_text(card.balanced)}, {due_text(card)}"
            + (f". {WRONG_HAND}" if card.wrong_hand else "")
            for card in arm.cards
        ] or [f"{head}: nothing is fitted"]
    return lines


def _short(left: Left | None) -> str:
    return NOT_KNOWN if left is None else f"{size_text(left)} ({claim_text(left)}, {reached_text(left)})"


def _words(words: str) -> str:
    line = " ".join(words.split())
    return f": {line}" if line else ""

"""What the page of the parts says: lines, figures and names of files; knows no Streamlit."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType

from balancer.app.parts.service import Listing, PartView
from balancer.app.plain import Headline, plain, with_signs
from balancer.findings import Finding, Severity
from balancer.history.queries import Due, ListedPart
from balancer.history.records.event import Event
from balancer.history.records.machine import Machine
from balancer.history.records.part import Location, PartRecord
from balancer.history.records.run import RunRecord
from balancer.report.card import Left, Outcome
from balancer.units import gmm_from_kgm
from balancer.wording import Direction, counted, finding_text, significant
from balancer.wording import report as words
from balancer.wording.history import DUE_WORDS, change_findings, day, listed_place, turned_text, what_text

KINDS = MappingProxyType({"propeller": "Propeller", "bell": "Motor bell", "adapter": "Adapter"})
STATES = MappingProxyType({"fitted": "On an arm", "spare": "Spare", "retired": "Retired"})
HAPPENED = MappingProxyType(
    {
        "crashed": "It crashed",
        "repaired": "It was repaired",
        "checked": "It was checked",
        "balanced": "It was balanced",
        "made": "It is new",
    }
)
HANDS = MappingProxyType({"ccw": "Counter-clockwise", "cw": "Clockwise"})
FILES = MappingProxyType(
    {
        ".html": ("Report to read and print (HTML)", "text/html"),
        ".csv": ("Table (CSV)", "text/csv"),
        ".json": ("Data (JSON)", "application/json"),
    }
)

_SHAPES: Mapping[Due | None, str] = MappingProxyType(
    {"disturbed": "▲", "moved": "◇", "never": "○", "age": "◆", None: "✓"}
)


def title(part: PartRecord) -> str:
    """Name a part."""
    return f"{KINDS[part.kind]} {part.label}"


def due_mark(part: ListedPart, before: datetime) -> str:
    """Say in a shape and a few words whether a part is due, and why."""
    if part.state == "retired":
        return "– retired"
    why = part.due(before)
    return f"{_SHAPES[why]} not due" if why is None else f"{_SHAPES[why]} due: {DUE_WORDS[why]}"


def row_text(part: ListedPart, before: datetime) -> str:
    """Put a part of a list into a line of Markdown; its pieces: label, kind, place, day, what is due."""
    about = ", ".join(text for text in (KINDS[part.kind], what_text(part)) if text)
    looked = "never looked at" if part.looked_at is None else f"last looked at {day(part.looked_at)}"
    mark = plain(due_mark(part, before))
    return f"**{plain(part.label)}** {plain(about)} *{plain(listed_place(part))}* *{plain(looked)}* " + (
        f"**{mark}**" if part.due(before) else f"*{mark}*"
    )


def count_text(found: Listing, months: int) -> str:
    """Say how many parts are due."""
    age = "a month" if months == 1 else f"{months} months"
    rule = (
        "Due are parts never looked at, those that crashed, were repaired or moved since, and those last "
        f"looked at {age} ago or more."
    )
    if not found.all_due:
        return f"Nothing is due. {rule}"
    return f"{found.all_due} of {counted(found.all, 'part')} {_is(found.all_due)} due. {rule}"


def listed_text(found: Listing) -> str:
    """Say how many parts are listed."""
    if len(found.parts) < found.found:
        return f"{len(found.parts)} of {found.found} parts are listed."
    return f"{counted(found.found, 'part')} listed."


def verdict(view: PartView) -> tuple[Severity | None, str]:
    """Say in a sentence or two how a part stands; None for good, else how grave it is."""
    card, newest = view.card, view.card.outcomes[0] if view.card.outcomes else None
    if card.wrong_hand:
        return "error", words.WRONG_HAND
    disturbed = " ".join(finding_text(one) for one in card.due.findings if one.severity == "warning")
    latest = card.latest
    if newest is None or latest is None or latest.left is None:
        said = words.NEVER_ON_BENCH if newest is None else words.state_text(newest)
        return ("info" if newest is None and not disturbed else "warning"), _joined(disturbed, said)
    if disturbed:
        # no advice of a time before: only what was known then
        was = f"The job of {words.date_text(latest.when)} had left {words.claim_text(latest.left)}."
        return "warning", _joined(disturbed, was)
    newer = "" if latest is newest else f"A newer job tells nothing yet: {words.state_text(newest)}"
    grave: Severity | None = None if latest.left.verdict.done else "warning"
    return grave, _joined(newer, finding_text(latest.left.verdict.finding))


def _joined(*sentences: str) -> str:
    return " ".join(one for one in sentences if one)


def headlines(view: PartView) -> tuple[Headline, ...]:
    """Give the figures shown large."""
    card = view.card
    left = None if card.latest is None else card.latest.left
    return (
        Headline("Left, 95 % (g mm)", _claim(left), words.BOUND_NOTE),
        Headline(
            "Grade reached",
            "–" if left is None else words.grade_text(left.claim_grade),
            f"{words.asked_text(card.part.grade)}. {words.STANDARD_NOTE}",
        ),
        Headline(
            "Last looked at", _iso(card.due.checked), "The last day on which it was balanced or checked."
        ),
        Headline("Next check", _next(view), words.due_text(card)),
    )


def _next(view: PartView) -> str:
    if view.part.where.state == "retired":
        return "retired"
    due = view.card.due
    if due.now and all(why == "moved" for why, _ in due.reasons):
        return "◇ due"  # the shape of the list, for nothing worse
    return "▲ due" if due.now else _iso(due.next)


def _iso(when: object) -> str:
    return "–" if when is None else str(when)


def _claim(left: Left | None) -> str:
    return "–" if left is None else f"≤ {significant(gmm_from_kgm(left.verdict.claim), 2)}"


def facts_text(view: PartView, direction: Direction = "against") -> str:
    """Say what a part is, where, and how a propeller is turned there."""
    card, sizes = view.card, view.part.sizes
    typed = [getattr(sizes, "material", ""), getattr(sizes, "motor", "")]
    about = ", ".join((words.sizes_text(card.part), *(text for text in typed if text)))
    turns = "" if card.hand is None else f" It turns {words.hand_text(card)}."
    place = _with_turn(words.place_text(card), view.part.where, direction)
    return f"{about}. It is {place}.{turns}"


def _with_turn(text: str, where: Location | None, direction: Direction) -> str:
    turned = "" if where is None else with_signs(turned_text(where, direction))
    return f"{text}, {turned}" if turned else text


def missing_for_a_job(part: PartRecord) -> str:
    """Say what a job still needs to know of a part; empty when nothing is missing."""
    missing = [
        what
        for what, known in (("its mass", part.mass), ("where masses may go", part.places))
        if known is None
    ]
    if not missing:
        return ""
    return f"A job needs to know {' and '.join(missing)}: say it under “Change what is said of it”."


def story(view: PartView) -> tuple[Finding, ...]:
    """Give what the jobs of a part tell, beyond `verdict`: what is due, what changed, whether it drifts."""
    found = view.story
    return tuple(
        dict.fromkeys(
            (
                *(one for one in found.due.findings if one.severity != "warning"),
                *(found.series.findings if found.series else ()),
                *change_findings(found),
                *((found.trend.finding,) if found.trend else ()),
            )
        )
    )


def job_lines(view: PartView) -> list[str]:
    """Give a line for each job, the latest first."""
    lines = [_job(one) for one in view.card.outcomes]
    if view.card.earlier_jobs:
        lines.append(f"{counted(view.card.earlier_jobs, 'older job')} not listed here.")
    return lines


def _job(one: Outcome) -> str:
    stand = f" on {one.stand}" if one.stand else ""
    head = f"{words.date_text(one.when)}{stand}, {words.speed_text(one.speed)}, {words.runs_text(one)}"
    if one.left is None:
        return f"{head}: {words.state_text(one)}"
    put_on = "nothing put on" if not one.pieces else f"{counted(len(one.pieces), 'piece')} put on"
    found = "" if one.found is None or not one.pieces else f"found {words.size_text(one.found)}, "
    left = f"left {words.size_text(one.left)} ({words.claim_text(one.left)}, {words.reached_text(one.left)})"
    return f"{head}: {found}{left}, {put_on}."


def event_text(event: Event, direction: Direction = "against") -> str:
    """Say what happened and when."""
    said = " ".join(event.words.split())
    happened = _with_turn(words.event_text(event).lower(), event.where, direction)
    return f"{day(event.at)}: {happened}" + (f", {said}" if said else "")


def run_text(run: RunRecord) -> str:
    """Name a run."""
    number = f"run {run.number}" if run.number else "a run by itself"
    purpose = f", {run.item.run.purpose}" if run.item.run.purpose else ""
    speed = run.item.run.speed
    rpm = "" if speed is None else f", {words.speed_text(speed)}"
    aside = f"; set aside: {run.item.set_aside}" if run.item.set_aside else ""
    source = "" if run.recording is not None else "; typed in"
    return f"{day(run.at)}, {number}{purpose}{rpm}{source}{aside}"


def run_file(part: PartRecord, run: RunRecord) -> str:
    """Name the file of a run's recording: by what is known here, and the suffix that it came with."""
    assert run.recording is not None
    suffix = re.search(r"(\.stream)?\.[A-Za-z0-9]{1,8}$", run.recording.name)
    number = f"-run-{run.number}" if run.number else ""
    return f"{_safe(part.label)}-{day(run.at)}{number}{suffix[0] if suffix else ''}"


def report_file(name: str, made: datetime, suffix: str) -> str:
    """Name the file of a report."""
    return f"{_safe(name)}-report-{day(made)}{suffix}"


def _safe(name: str) -> str:
    """Give a name for a file that every system takes; never one that was typed as it stands."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-") or "part"


def arm_line(machine: Machine, number: int, parts: Sequence[ListedPart]) -> str:
    """Say what is on an arm."""
    there = ", ".join(f"{KINDS[one.kind].lower()} {one.label}" for one in parts) or "nothing is known"
    return f"arm {number}, {HANDS[machine.arm(number).hand].lower()}: {there}"


def _is(number: int) -> str:
    return "is" if number == 1 else "are"

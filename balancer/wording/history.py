"""Words for the history: lists of parts and machines, a part's story, what was kept of a job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.core.grade import grade_of
from balancer.findings import Finding
from balancer.history.records.part import BellSizes, PropellerSizes
from balancer.units import g_from_kg, gmm_from_kgm, in_from_mm, mm_from_m, rpm_from_rad_s
from balancer.wording.basics import Direction, angle_text, counted, finding_line, significant
from balancer.wording.table import shortened, table_lines
from balancer.wording.tape import piece_text

if TYPE_CHECKING:  # what is done need not be loaded for words about it
    from balancer.core.vectors import UncertainComplex
    from balancer.history.keeping import KeptJob
    from balancer.history.own import Candidates
    from balancer.history.queries import Due as ListedDue
    from balancer.history.queries import ListedPart
    from balancer.history.records.event import Event, EventKind
    from balancer.history.records.machine import Machine
    from balancer.history.records.part import Location, PartRecord
    from balancer.history.story import Determination, Story

DUE_WORDS: Mapping[ListedDue | None, str] = MappingProxyType(
    {
        None: "",
        "never": "never checked",
        "disturbed": "crashed or repaired",
        "moved": "moved",
        "age": "by time",
    }
)
_HAPPENED: Mapping[EventKind, str] = MappingProxyType(
    {
        "made": "new",
        "balanced": "balanced",
        "checked": "checked",
        "crashed": "CRASHED",
        "repaired": "repaired",
        "moved": "moved",
        "carried": "carried",
        "retired": "retired",
    }
)
_NAME_WIDTH = 24
_LEAST_CHANCE = 0.01  # percent


def day(when: datetime | None) -> str:
    """Write a day; a dash for none."""
    return "-" if when is None else when.astimezone().date().isoformat()


def parts_lines(parts: Sequence[ListedPart], before: datetime, total: int) -> list[str]:
    """List parts as a table.

    Parameters
    ----------
    parts : sequence of ListedPart
        Those to show.
    before : datetime
        What was last looked at before this time is due.
    total : int
        How many there are in all.

    Returns
    -------
    list of str
        A table and a count.
    """
    if not parts:
        return ["No such parts in the history; `balancer parts add` adds one."]
    rows = [
        (
            part.label,
            part.kind,
            what_text(part),
            _where(part.state, part.machine, part.arm),
            day(part.looked_at),
            DUE_WORDS[part.due(before)],
        )
        for part in parts
    ]
    lines = table_lines(("part", "kind", "what", "where", "checked", "due"), rows)
    shown = f"{len(parts)} of {total} parts" if total > len(parts) else counted(total, "part")
    due = sum(part.due(before) is not None for part in parts)
    return [*lines, f"{shown}, {due} due."]


def what_text(part: ListedPart) -> str:
    """Say of a part in a list how large it is, which way it turns, what it weighs."""
    size = "" if part.diameter is None else f"{in_from_mm(mm_from_m(part.diameter)):.3g} in"
    mass = "" if part.mass is None else f"{significant(g_from_kg(part.mass))} g"
    return ", ".join(text for text in (size, part.hand, mass) if text)


def _where(state: str, machine: str, arm: int | None) -> str:
    return f"{shortened(machine, _NAME_WIDTH)}, arm {arm}" if state == "fitted" else state


def place_text(where: Location, machine: str) -> str:
    """Say where a part is, given the name of the machine."""
    return f"arm {where.arm} of {machine}" if where.state == "fitted" else where.state


def listed_place(part: ListedPart) -> str:
    """Say where a part of a list is."""
    return f"arm {part.arm} of {part.machine}" if part.state == "fitted" else part.state


def turned_text(where: Location, direction: Direction) -> str:
    """Say how a propeller is turned on its hub; empty where that is not known."""
    if where.turned is None:
        return ""
    return f"its mark at {angle_text(where.turned, direction)} from that of the bell"


def machines_lines(machines: Sequence[Machine], fitted: Mapping[str, Sequence[tuple[str, int]]]) -> list[str]:
    """Show machines with what is on each arm, given label and arm of the parts by the machine's id."""
    if not machines:
        return ["No machines in the history; `balancer machines add` adds one."]
    lines = []
    for machine in machines:
        words = f" ({machine.words})" if machine.words else ""
        lines.append(f"{machine.name}: {counted(len(machine.arms), 'arm')}{words}")
        for arm in machine.arms:
            labels = [label for label, number in fitted.get(machine.id, ()) if number == arm.number]
            lines.append(f"  arm {arm.number}, {arm.hand}: {', '.join(labels) or 'nothing known'}")
    return lines


def story_page(story: Story, machine: str, bells: Mapping[str, str], direction: Direction) -> list[str]:
    """Tell the story of a part.

    Parameters
    ----------
    story : Story
        The story.
    machine : str
        Name of the machine that it is fitted to; empty if none.
    bells : mapping of str to str
        Label of each bell that it stood on, by id.
    direction : {"against", "with"}
        How angles are shown.

    Returns
    -------
    list of str
        The facts, what is due, the residuals, changes, events.
    """
    part = story.page.part
    lines = [*part_lines(part, machine, direction), "", *due_lines(story)]
    if story.determinations:
        lines += ["", *_residual_lines(story, bells, direction), *_comparison_lines(story)]
    if story.page.events:
        lines += [
            "",
            "What happened:",
            *(f"  {_event_text(one, direction)}" for one in reversed(story.page.events)),
        ]
    return lines


def part_lines(part: PartRecord, machine: str, direction: Direction) -> list[str]:
    """Say what a part is, where it is, and what is on it."""
    sizes, facts = part.sizes, []
    if isinstance(sizes, PropellerSizes):
        pitch = "" if sizes.pitch is None else f" x {in_from_mm(mm_from_m(sizes.pitch)):.3g}"
        facts = [f"{in_from_mm(mm_from_m(sizes.diameter)):.3g}{pitch} in", f"{sizes.blades} blades"]
        facts += [sizes.hand, sizes.material]
    elif isinstance(sizes, BellSizes):
        facts = [sizes.motor, "" if sizes.magnets is None else f"{sizes.magnets} magnets"]
        facts.append("" if sizes.radius is None else f"rim {significant(mm_from_m(sizes.radius))} mm")
    facts.append("mass not known" if part.mass is None else f"{significant(g_from_kg(part.mass))} g")
    lines = [f"{part.label}: {part.kind}, {', '.join(fact for fact in facts if fact)}"]
    where = _joined(place_text(part.where, machine), turned_text(part.where, direction))
    lines.append(f"  now: {where}; wanted grade G{part.grade * 1e3:g}")
    if part.words:
        lines.append(f"  {part.words}")
    if part.places is None:
        lines.append("  where masses may go is not said yet; a job needs it (balancer parts change)")
    if part.pieces:
        return [*lines, "  on it:", *(f"  - {piece_text(one, direction)}" for one in part.pieces)]
    return [*lines, "  on it: nothing"]


def due_lines(story: Story) -> list[str]:
    """Say what is due, or when it will be."""
    lines = [finding_line(finding) for finding in story.due.findings]
    if story.due.next is not None:
        lines.append(f"Nothing is due before {story.due.next.isoformat()}.")
    return lines or ["Nothing is due."]


def _residual_lines(story: Story, bells: Mapping[str, str], direction: Direction) -> list[str]:
    rows = [_residual_row(one, bells, direction) for one in story.determinations]
    head = ("day", "stand", "as found, g mm", "left, g mm", "at", "grade", "runs", "")
    return ["Jobs (unbalance, like with like):", *(f"  {line}" for line in table_lines(head, rows))]


def _residual_row(one: Determination, bells: Mapping[str, str], direction: Direction) -> tuple[str, ...]:
    left, grade = one.left, "-"
    if left is not None and one.speed is not None:
        grade = f"G{1e3 * grade_of(left.amplitude, one.mass, one.speed):.1f}"
    return (
        day(one.when),
        shortened(one.stand, 16),
        _size(one.found),
        _size(left),
        "-" if left is None else angle_text(left.lag, direction),
        grade,
        str(one.runs),
        _note(one, bells),
    )


def _note(one: Determination, bells: Mapping[str, str]) -> str:
    state = "good" if one.good else "unknown" if one.left is None else "not yet"
    return f"{state}, on {bells.get(one.bell, 'a bell')}" if one.bell else state


def _size(vector: UncertainComplex | None) -> str:
    if vector is None:
        return "-"
    size, sd = gmm_from_kgm(vector.amplitude), gmm_from_kgm(vector.sd_amplitude)
    return f"{significant(size)} ± {significant(sd, 2)}"


def _comparison_lines(story: Story) -> list[str]:
    lines = [finding_line(one) for one in (story.series.findings if story.series else ())]
    lines += [finding_line(one) for one in change_findings(story)]
    if story.trend is not None:
        lines.append(finding_line(story.trend.finding))
    return lines


def change_findings(story: Story) -> tuple[Finding, ...]:
    """Say whether it has changed since last time; empty where that cannot be said."""
    if story.change is None:
        return ()
    found = story.change.finding
    figures = dict(found.figures)
    # smaller ones stand for a tail that nobody knows
    figures["chance_percent"] = max(float(figures["chance_percent"]), _LEAST_CHANCE)
    found = Finding(found.code, found.severity, tuple(figures.items()))
    if story.change.against > 1:
        return (found,)
    return (found, Finding.of("change_mounting_unknown", "info"))


def _event_text(event: Event, direction: Direction) -> str:
    where = "" if event.where is None else turned_text(event.where, direction)
    words = f": {event.words}" if event.words else ""
    return f"{day(event.at)}  {_joined(_HAPPENED[event.kind], where)}{words}"


def _joined(*texts: str) -> str:
    return ", ".join(text for text in texts if text)


def kept_lines(kept: KeptJob, part: PartRecord, bell: PartRecord | None) -> list[str]:
    """Say what keeping a job came to."""
    runs = f"{counted(kept.new_runs, 'new run')}" if kept.new_runs else "no new runs"
    lines = [f"The job is kept in the history of {part.label}: {runs}."]
    if kept.new_stand is not None:
        lines.append(f"The stand {kept.new_stand.name} is new and was added.")
    if kept.coefficient is not None:
        rpm = rpm_from_rad_s(kept.coefficient.speed)
        lines.append(f"Its influence coefficient at {rpm:.0f} rpm is kept with the stand.")
    if kept.event is None:
        lines.append("It is not done yet: keep it again when it is.")
    else:
        lines.append(f"{part.label} counts as {kept.event}.")
    if part.kind == "propeller" and bell is None:
        lines.append("note: on which bell it stood is not known; --on BELL says it, which matching needs.")
    return lines


def source_lines(among: Candidates) -> list[str]:
    """Say where the vectors of a matching come from, how propellers stand now, and what is left out."""
    lines = [finding_line(finding) for finding in among.left_out]
    sources = among.sources
    if sources:
        slow, fast = min(one.speed for one in sources), max(one.speed for one in sources)
        speed = f"{rpm_from_rad_s(slow):.0f}"
        if fast > 1.01 * slow:
            speed += f" to {rpm_from_rad_s(fast):.0f}"
        oldest = min(one.when for one in sources)
        lines.append(
            f"Each part's own unbalance is what its last job left, measured at {speed} rpm, the oldest on "
            f"{day(oldest)}. {turns_text(among)}".rstrip()
        )
    return lines


def turns_text(among: Candidates) -> str:
    """Say of which propellers it is not known how they are turned on their hubs; empty if none is fitted."""
    if not among.fitted:
        return ""
    if not among.assumed:
        return "How the propellers are turned on their hubs is known."
    if len(among.assumed) == len(among.fitted):
        return "Marks of propeller and bell are taken to be in line now, as on the stand."
    return (
        f"The marks of {', '.join(among.assumed)} are taken to be in line with those of their bells now, as "
        "on the stand; how the others are turned is known."
    )

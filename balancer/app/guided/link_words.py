"""What is said of a job and the history: parts and stands, stored coefficients, what is kept."""

from __future__ import annotations

from pathlib import Path

from balancer.app.guided.begin import MOST, Chosen, Offer
from balancer.app.guided.keeping import Kept
from balancer.app.guided.link import Stored, history
from balancer.figures.dial import HAND_WORDS
from balancer.history import queries
from balancer.history.events import events_of
from balancer.history.jobs import find_job
from balancer.history.keeping import on_before
from balancer.history.parts import get_part
from balancer.history.queries import ListedPart
from balancer.history.records.part import PartRecord
from balancer.history.records.run import JobRecord
from balancer.history.records.stand import StandRecord
from balancer.history.runs import runs_of_job
from balancer.history.stands import coefficients_of
from balancer.history.store import Store
from balancer.units import g_from_kg, mm_from_m, rpm_from_rad_s
from balancer.wording import Direction, counted, piece_text, significant
from balancer.wording.history import DUE_WORDS, listed_place, place_text

SIMULATED = "Jobs on the simulated bench are not kept in the history: their parts are invented."


def part_option(part: ListedPart, offered: Offer) -> str:
    """Name a part to choose: label, kind, where it is, and whether it is due."""
    why = DUE_WORDS[part.due(offered.before)]
    return f"{part.label}: {part.kind}, {listed_place(part)}{f', due ({why})' if why else ''}"


def more_parts(offered: Offer) -> str:
    """Say that not all parts are offered."""
    return f"{MOST} of {offered.total} parts are offered; the others begin from their own page under Parts."


def bell_option(bell: ListedPart) -> str:
    """Name a bell to choose."""
    return f"{bell.label}: {listed_place(bell)}, {_mass(bell.mass)}"


def _mass(known: float | None) -> str:
    return "not weighed" if known is None else f"{significant(g_from_kg(known))} g"


def stand_option(stand: StandRecord) -> str:
    """Name a stand to choose."""
    if stand.moving_mass is None:
        return stand.name
    return f"{stand.name}: {significant(g_from_kg(stand.moving_mass))} g shake"


def chosen_lines(found: Chosen, direction: Direction) -> list[str]:
    """Say what the history tells of a part."""
    part = found.part
    turns = "" if found.hand is None else f", turns {HAND_WORDS[found.hand]}"
    lines = [
        f"{part.kind.capitalize()}, {place_text(part.where, found.machine)}, {_mass(part.mass)}{turns}, "
        f"grade G{part.grade * 1e3:g}. {_places(part)}"
    ]
    if part.pieces:
        on = "; ".join(piece_text(piece, direction) for piece in part.pieces)
        lines.append(f"On it already, and to stay there: {on}.")
    return lines


def carried_text(home: Path, kept: Kept, direction: Direction) -> str:
    """Say what a part carries from before this job, where new pieces may come to lie; empty for nothing."""
    store = history(home) if kept.link.part else None
    if store is None:
        return ""
    on = on_before(store, get_part(store, kept.link.part), kept.job)
    if not on:
        return ""
    there = "; ".join(piece_text(piece, direction) for piece in on)
    return (
        f"On it from before, and counted in every run: {there}. Leave it there. Where a new piece comes to "
        "lie on it, stick the new one on top: its place counts, not the layer below."
    )


def _places(part: PartRecord) -> str:
    places = part.places
    if places is None:
        return "Where masses may go is not known yet."
    blades = [f"blades {mm_from_m(one.inner):.0f} to {mm_from_m(one.outer):.0f} mm" for one in places.blades]
    rings = [f"{ring.name} at {mm_from_m(ring.radius):.1f} mm" for ring in places.rings]
    spots = [] if places.spots == () else ["screws"]
    return f"Masses may go: {', '.join([*blades[:1], *rings, *spots])}."


def stored_text(stored: Stored, *, declined: bool) -> str:
    """Say that a stored influence coefficient is used, or was declined."""
    day = stored.day or "a day not noted"
    jobs = counted(stored.jobs, "job")
    about = f"the influence coefficient of {stored.stand} at {stored.rpm:.0f} rpm from {day} ({jobs})"
    if declined:
        return f"Without {about}: you go on with a trial run of this job."
    if not stored.suffices:
        return f"Taken from the history: {about}. It is not sure enough to save the trial run; it sizes it."
    return (
        f"Taken from the history: {about}. It stands in for the trial run, and may leave about "
        f"{stored.left_percent:.0f} % of the shaking. It holds only if stand, sensor and pick-up are as they "
        "were then."
    )


def unfit_text(kept: Kept) -> str:
    """Say why none of the stored coefficients is used; empty where that is no matter."""
    if kept.link.stored is not None or not kept.link.unfit:
        return ""
    return "No stored influence coefficient of this stand is used: " + " ".join(kept.link.unfit)


def trouble_text(kept: Kept) -> str:
    """Say that a job is not kept in the history as it is now; empty if it is, or need not be."""
    if kept.link.trouble:
        return f"On disk, but not in the history yet: {kept.link.trouble}"
    return "The last change is on disk, but not in the history yet." if kept.due else ""


def part_label(home: Path, id: str) -> str:
    """Give the label of a part; empty if it cannot be told."""
    store = history(home)
    return "" if store is None else queries.part_label(store, id)


def kept_lines(home: Path, kept: Kept) -> list[str]:
    """Say what the history holds of a job that has ended."""
    store = history(home)
    if store is None or not kept.link.part:
        return []
    with store.snapshot():
        part = get_part(store, kept.link.part)
        record = find_job(store, part.id, kept.job)
        return [] if record is None else _kept_lines(store, kept, part, record)


def _kept_lines(store: Store, kept: Kept, part: PartRecord, record: JobRecord) -> list[str]:
    runs = runs_of_job(store, record.id)
    with_files = sum(run.recording is not None for run in runs)
    made = counted(len(runs), "run")
    lines = [f"Kept in the history of {part.label}: {made}, {with_files} with the recording."]
    event = next((one for one in events_of(store, part.id) if one.job == record.id), None)
    if event is not None:
        lines.append(f"{part.label} counts as {event.kind}.")
    elif kept.step.action == "stop":
        lines.append(f"{part.label} does not count as balanced.")
    if record.stand is not None:
        found = next((one for one in coefficients_of(store, record.stand) if one.job == record.id), None)
        if found is not None:
            rpm = rpm_from_rad_s(found.coefficient.speed)
            stand = found.coefficient.set_up.stand
            lines.append(
                f"Its influence coefficient at {rpm:.0f} rpm is kept with the stand {stand}: the next job "
                "there may go without a trial run."
            )
    if len(part.pieces) > len(kept.job.fitted) > 0:
        lines.append(f"With what was on it before, it carries {len(part.pieces)} pieces now.")
    if part.kind == "propeller" and not kept.link.bell:
        lines.append("On which bell it stood is not known; matching needs that.")
    return lines

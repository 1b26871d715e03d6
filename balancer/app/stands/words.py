"""What the page of stands says of stands and their influence coefficients."""

from __future__ import annotations

import cmath
import math

from balancer.app.plain import degrees
from balancer.app.stands.items import Item
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.stand_story import Group, Listed, StandJob
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from balancer.units import g_from_kg, gmm_from_kgm, rpm_from_rad_s
from balancer.wording import Direction, counted, finding_text, significant
from balancer.wording.history import day
from balancer.wording.upkeep import trust_word

DRIFT_ADVICE = (
    "Something changed. Has the sensor moved or its glue gone soft? Is a clamp, a screw or a foot loose? Is "
    "the pick-up or the mark elsewhere, or other mass on the stand? Put it right and determine it anew. If "
    "it was changed on purpose, take the older ones out, so that they count no more."
)

_TRUST = {
    "yes": "Serves: a job here can do without a trial mass.",
    "sizes a trial only": "Serves only to size a trial mass.",
    "not any more": "Does not serve any more.",
}


def stand_lines(stand: StandRecord, unit: Vibration = IN_M_S2) -> list[str]:
    """Say what is known of a stand."""
    lines = []
    if stand.place:
        lines.append(f"Sensor: {stand.place}.")
    if stand.moving_mass is None:
        lines.append("Moving mass not known: weigh all that shakes with the sensor, it sizes the trial mass.")
    else:
        lines.append(f"Moving mass: {significant(g_from_kg(stand.moving_mass))} g.")
    if stand.set_up is not None:
        lines.append(f"Set-up last used: {set_up_text(stand.set_up, unit)}.")
    if stand.words:
        lines.append(stand.words)
    return lines


def set_up_text(set_up: SetUp, unit: Vibration) -> str:
    """Put a set-up into a line."""
    facts = [
        set_up.sensor,
        f"channels {', '.join(set_up.channels)}",
        "" if set_up.rate is None else f"{set_up.rate:.0f} samples a second",
        "" if set_up.lowpass is None else f"low-pass {set_up.lowpass:.0f} Hz",
        "" if set_up.full_scale is None else f"range {unit.text(set_up.full_scale)} {unit.word}",
        f"mark edge {set_up.mark_edge}" if set_up.mark_edge else "",
        f"pick-up {set_up.pickup}" if set_up.pickup else "",
    ]
    return ", ".join(fact for fact in facts if fact)


def listed_text(one: Listed) -> str:
    """Say in a line what was done on a stand."""
    if one.last is None:
        return "No job was made on it yet."
    coefficients = counted(one.coefficients, "influence coefficient")
    return f"{coefficients}, {counted(one.jobs, 'job')}, last used {day(one.last)}."


def group_title(group: Group) -> str:
    """Name a group of coefficients by what they belong to."""
    set_up = group.together.set_up
    hand = {"cw": ", clockwise", "ccw": ", counter-clockwise", "": ""}[set_up.hand]
    mass = "" if set_up.moving_mass is None else f", {significant(g_from_kg(set_up.moving_mass))} g moving"
    return f"{rpm_from_rad_s(group.together.speed):.0f} rpm{hand}{mass}"


def group_text(group: Group) -> str:
    """Say how many jobs are behind a group, how far they differ and whether it serves."""
    stored = group.together
    scatter = "" if stored.scatter is None else f", which scatter by {significant(100 * stored.scatter, 2)} %"
    last = "an unknown day" if stored.when is None else stored.when.isoformat()
    left = f"{100 * group.trust.expected_left:.0f} %"
    serves = _TRUST[trust_word(group.trust)]
    return (
        f"Mean of {counted(stored.determinations, 'job')}{scatter}; the last on {last}. {serves} One run "
        f"with it leaves about {left} of the vibration."
    )


def group_rows(group: Group, direction: Direction, unit: Vibration = IN_M_S2) -> list[tuple[str, ...]]:
    """Give size and angle of every channel as rows of a table, its head first."""
    stored = group.together
    unit = unit.instead_of(stored.set_up.unit)
    head = ("Channel", f"Size, {unit.per_gmm} per g mm", "Angle")
    return [head, *(_row(stored, index, direction, unit) for index in range(len(stored.influence)))]


def _row(stored: StoredCoefficient, index: int, direction: Direction, unit: Vibration) -> tuple[str, ...]:
    h = stored.influence[index]
    per_gmm = 1 / gmm_from_kgm(1.0)
    size = f"{unit.text(h.amplitude * per_gmm)} ± {unit.text(h.sd_amplitude * per_gmm, 2)}"
    angle = f"{degrees(h.lag, direction)} ± {significant(math.degrees(h.sd_lag), 2)}°"
    return stored.set_up.channels[index], size, angle if stored.has_phase else "no phase"


def drift_item(group: Group) -> Item | None:
    """Say whether the latest coefficient of a group has moved away from those before it."""
    change = group.drift
    if change is None:
        return None
    latest, set_up = group.records[0].coefficient, group.together.set_up
    h = latest.influence[group.channel]
    by = h.value / (h.value - change.difference[0].value)
    grown, turned = 100 * (abs(by) - 1), math.degrees(cmath.phase(by))
    moved = f"{abs(grown):.0f} % {'larger' if grown > 0 else 'smaller'}"
    if latest.has_phase:
        moved += f" and turned by {abs(turned):.0f}°"
    against = "the one before" if change.against == 1 else f"the {change.against} before"
    chance = f"chance makes such a difference in {100 * change.probability:.2g} % of cases"
    text = f"The latest ({_when(latest)}) is {moved} against {against} in channel "
    text += f"{set_up.channels[group.channel]}; {chance}."
    if change.state == "changed":
        return Item("Drift", "look", f"{text} {DRIFT_ADVICE}")
    return Item("Drift", "good", f"No sign that the stand has changed. {text}")


def _when(one: StoredCoefficient) -> str:
    return "day unknown" if one.when is None else one.when.isoformat()


def remarks(group: Group) -> list[str]:
    """Say what is noticed about a group beside its drift and its age."""
    return [finding_text(f) for f in group.trust.findings[:-1] if f.severity == "warning"]


def record_text(
    record: CoefficientRecord,
    channel: int,
    direction: Direction,
    rotor: str = "",
    unit: Vibration = IN_M_S2,
) -> str:
    """Describe one coefficient by its strongest channel, and by the part that it was found with."""
    found = record.coefficient
    h = found.influence[channel]
    angle = f" at {degrees(h.lag, direction)}" if found.has_phase else ""
    unit = unit.instead_of(found.set_up.unit)
    size = unit.text(h.amplitude / gmm_from_kgm(1.0))
    with_part = f", {rotor}" if rotor else ""
    return (
        f"{_when(found)}{with_part}: {found.set_up.channels[channel]} {size} {unit.per_gmm} per g mm{angle}, "
        f"{counted(found.runs, 'run')} at {rpm_from_rad_s(found.speed):.0f} rpm"
    )


def job_text(job: StandJob) -> str:
    """Name a job."""
    return f"{job.started.date().isoformat()}: {job.kind} {job.part}, {counted(job.runs, 'run')}"

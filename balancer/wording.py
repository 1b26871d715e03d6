"""Sentences and tables for people: every finding, every result, every caution in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from balancer.core.grade import centrifugal_force
from balancer.core.tape import Strip, Tape
from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding
from balancer.sentences import SENTENCES
from balancer.units import (
    degrees_0_360,
    g_from_kg,
    g_m2_from_kg_m2,
    gmm_from_kgm,
    mm_from_m,
    rpm_from_rad_s,
)

if TYPE_CHECKING:  # what is measured and recorded need not be loaded for words about it
    from balancer.live.ports import Port
    from balancer.live.status import Status
    from balancer.procedure.check import Checked
    from balancer.procedure.measure import Measurement
    from balancer.procedure.solve import Residual, Solution
    from balancer.procedure.story import Story
    from balancer.procedure.strips import LaidStrip
    from balancer.recording.model import Recording

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

_SILENT = 2.0  # s

_SEVERITIES = MappingProxyType({"info": "note", "warning": "warning", "error": "do not use"})


def finding_text(finding: Finding) -> str:
    """Put a finding into a sentence.

    Parameters
    ----------
    finding : Finding
        What was noticed.

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
    recording = f"{figures['recording']}: " if "recording" in figures else ""
    return recording + SENTENCES[finding.code].format(**figures)


def finding_line(finding: Finding) -> str:
    """Put a finding into a line with its severity in front."""
    return f"{_SEVERITIES[finding.severity]}: {finding_text(finding)}"


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


def measurement_lines(measured: Measurement, direction: Direction = "against") -> list[str]:
    """Describe a measurement: speed, each channel, findings."""
    speed, slowest, fastest = (
        rpm_from_rad_s(s) for s in (measured.speed, measured.slowest, measured.fastest)
    )
    lines = [
        f"{measured.source or 'recording'}: {speed:.0f} rpm ({slowest:.0f} to {fastest:.0f}), "
        f"{measured.revolutions:.0f} revolutions, {measured.duration:.1f} s at {measured.sample_rate:.0f} Hz"
    ]
    for channel in measured.channels:
        if channel.once is not None:
            once = vector_text(channel.once, channel.unit, direction)
        else:
            sd = significant(channel.amplitude.sd, 2)
            once = f"{significant(channel.amplitude.value)} {channel.unit} (± {sd}), no phase without marks"
        lines.append(
            f"  {channel.name}: 1x {once}; overall {significant(channel.overall)} {channel.unit} rms"
        )
    return lines + [f"  {finding_line(finding)}" for finding in measured.findings]


def port_hint(port: Port, found: Sequence[Port]) -> str:
    """Say what a serial port may be, seen among all that there are."""
    on_usb = [one for one in found if one.usb]
    if not port.usb:
        return "not on USB: built into this computer"
    if len(on_usb) == 1:
        return "the only one on USB, so probably the board"
    return "on USB: pull the board's plug and see which one goes"


def port_lines(found: Sequence[Port]) -> list[str]:
    """List serial ports with their hints."""
    if not found:
        return ["No serial port is there: plug the board in, and try another cable (some carry power only)."]
    lines = []
    for port in found:
        about = ", ".join(part for part in (port.device, port.description, port.usb) if part)
        lines += [port.source, f"  {about}", f"  {port_hint(port, found)}"]
    return [*lines, "Record with: balancer record --source NAME --out FILE.stream"]


def recording_text(status: Status) -> str:
    """Say in one short line how a recording stands."""
    if status.error:
        return status.error
    if status.age > _SILENT:
        return f"nothing has come for {status.age:.0f} s: is the board running?"
    doing = "waiting for a steady speed" if status.state == "waiting" else f"{status.seconds:.1f} s"
    now = status.now
    if now is None:
        return f"{doing}, no speed yet (no marks, or not turning)"
    steadiness = "steady" if status.steady else f"not steady ({100 * now.spread:.1f} %)"
    text = f"{doing}, {rpm_from_rad_s(now.speed):.0f} rpm, {steadiness}, {now.revolutions} revolutions"
    strongest = max(now.recent, key=lambda vector: vector.amplitude, default=None)
    if strongest is not None:
        text += f", 1x {strongest.channel} {significant(strongest.amplitude)} at {angle_text(strongest.lag)}"
    return text


def recording_lines(status: Status) -> list[str]:
    """Say what a recording that has ended holds."""
    if not status.samples:
        return [f"{status.file}: nothing was recorded."]
    lines = [
        f"{status.file}: {status.seconds:.1f} s, {status.samples} samples, gaps: {status.totals.gaps}, "
        f"damaged records: {status.totals.damaged}."
    ]
    if status.now is None:
        return [*lines, "No speed was found: there are no marks, or too few."]
    lines.append(
        f"{rpm_from_rad_s(status.now.speed):.0f} rpm at the end, {status.now.revolutions} revolutions; "
        "1x over all of them:"
    )
    return lines + [f"  {vector.channel}: {vector_text(vector, vector.unit)}" for vector in status.now.whole]


_STAMPS = MappingProxyType(
    {
        "even": "even time stamps",
        "rounded": "rounded time stamps, a fitted uniform rate used",
        "sensor": "uneven time stamps, kept",
        "arrival": "time stamps of arrival, a fitted uniform rate used",
        "unclear": "uneven time stamps, kept in doubt",
        "counted": "no time stamps, samples counted",
    }
)


def understood_lines(recording: Recording) -> list[str]:
    """Say what a recording was taken for, before anything is computed from it: columns, units, rate, gaps."""
    seen = recording.understood
    lost = sum(max(gap.lost, 0) for gap in recording.gaps)
    marks = "no marks" if recording.marks is None else f"{recording.marks.size} marks"
    gaps = f"{len(recording.gaps)} gaps ({lost} samples missing)" if recording.gaps else "no gaps"
    rate = recording.sample_rate if seen is None else seen.rate
    lines = [
        f"{recording.source or 'recording'}: {'stream of a board' if seen is None else seen.form}",
        f"  {recording.times.size} samples, {recording.duration:.2f} s at {rate:.2f} Hz, {gaps}, {marks}",
    ]
    if seen is None:
        names = ", ".join(f"{channel.name} in {channel.unit}" for channel in recording.channels)
        return [*lines, f"  channels: {names}"]
    if seen.stamps != "counted":
        lines.append(f"  {_STAMPS[seen.stamps]}; jitter {significant(seen.jitter * 1e6, 2)} us")
    else:
        lines.append(f"  {_STAMPS[seen.stamps]}")
    return [*lines, *(f"  {title!r}: {taken}" for title, taken in seen.columns)]


def checked_lines(checked: Checked) -> list[str]:
    """Say what a check showed: the findings with their severity in front, or that there are none."""
    lines = []
    if checked.measurement is not None:
        measured = checked.measurement
        lines.append(
            f"  {rpm_from_rad_s(measured.speed):.0f} rpm, {measured.revolutions:.0f} revolutions; 1x "
            + ", ".join(
                f"{c.name} {significant(c.amplitude.value)} ± {significant(c.amplitude.sd, 2)}"
                for c in measured.channels
            )
            + f" {measured.channels[0].unit}"
        )
    lines += [f"  {finding_line(finding)}" for finding in checked.findings]
    serious = any(finding.severity != "info" for finding in checked.findings)
    return [
        *lines,
        "  Something here needs a look." if serious else "  Nothing speaks against this recording.",
    ]


def correction_text(unbalance: UncertainComplex, radius: float, direction: Direction = "against") -> str:
    """Say an unbalance to add (kg m) as a mass at a radius (m) and an angle."""
    mass = g_from_kg(unbalance.amplitude / radius)
    return (
        f"{significant(mass)} g at radius {mm_from_m(radius):g} mm, {angle_text(unbalance.lag, direction)} "
        f"({significant(gmm_from_kgm(unbalance.amplitude))} g mm ± "
        f"{significant(gmm_from_kgm(unbalance.sd_amplitude), 2)}, "
        f"angle ± {significant(math.degrees(unbalance.sd_lag), 2)} deg)"
    )


def residual_text(residual: Residual) -> str:
    """Say what is left in the last run, and whether that is good enough."""
    left = f"{significant(gmm_from_kgm(residual.unbalance))} g mm"
    if residual.grade is None or residual.permissible is None:
        return f"{left} are left in the last run (rotor mass and speed would give its balance quality grade)."
    allowed = significant(gmm_from_kgm(residual.permissible))
    verdict = "inside" if residual.unbalance <= residual.permissible else "above"
    text = (
        f"{left} are left in the last run: G{significant(residual.grade * 1e3, 2)}, "
        f"{verdict} the permissible {allowed} g mm."
    )
    if residual.unbalance > residual.permissible and residual.unbalance < 2 * residual.sd:
        text += " It is inside its own 95 % uncertainty, so this bench cannot do better."
    return text


def solution_lines(solution: Solution, direction: Direction = "against") -> list[str]:
    """Describe a solution: what to add, what is left, what was noticed."""
    answer = solution.answer
    method = "influence coefficient" if answer.method == "influence" else "amplitudes only"
    lines = [
        f"Method: {method}, {len(answer.initial)} channel{'s' if len(answer.initial) > 1 else ''}.",
        CONVENTION if direction == "against" else CONVENTION_WITH,
        "Correction, all listed masses off: add "
        f"{correction_text(answer.correction, solution.radius, direction)}.",
        *(
            f"  or just as likely: {correction_text(other, solution.radius, direction)}."
            for other in answer.alternatives
        ),
        "On top of what is fitted in the last run: add "
        f"{correction_text(answer.next_correction, solution.radius, direction)}.",
        residual_text(solution.residual),
    ]
    if solution.speed is not None:
        force = centrifugal_force(answer.correction.amplitude, solution.speed)
        rpm = rpm_from_rad_s(solution.speed)
        lines.append(f"At {rpm:.0f} rpm the correction pulls with {significant(force, 2)} N.")
    if answer.consistency is not None:
        lines.append(f"The runs agree to {100 * answer.consistency:.1f} % of the trial mass's effect.")
    return [*lines, *(finding_line(finding) for finding in solution.findings), FITTING_CAUTION]


def strip_text(item: LaidStrip, direction: Direction = "against") -> str:
    """Say where a strip goes and how long it is."""
    layers = "one layer" if item.strip.layers == 1 else f"{item.strip.layers} layers on each other, each"
    along = "along the blade" if item.along_blade else "along the ring"
    return (
        f"{item.where}: {layers} of {mm_from_m(item.strip.length):.0f} mm by "
        f"{mm_from_m(item.strip.tape.width):g} mm tape {along}, its middle at radius "
        f"{mm_from_m(item.radius):g} mm, {angle_text(item.angle, direction)} "
        f"({significant(g_from_kg(item.strip.mass) * 1e3)} mg)"
    )


def tape_length_text(strip: Strip) -> str:
    """Say the correction as a length of tape, at the radius and angle given for it."""
    layers = (
        "in one layer"
        if strip.layers == 1
        else f"in {strip.layers} layers, each {mm_from_m(strip.length):.0f} mm"
    )
    whole, width = mm_from_m(strip.length * strip.layers), mm_from_m(strip.tape.width)
    return f"As tape: {significant(whole)} mm of {width:g} mm tape {layers}, its middle there."


def tape_text(tape: Tape) -> str:
    """Describe a roll, with a word of warning where its figure comes from a list."""
    density = g_m2_from_kg_m2(tape.areal_density)
    text = f"{tape.name} tape, {mm_from_m(tape.width):g} mm wide, {density:.0f} g/m^2"
    return (
        text if tape.weighed else f"{text}: a figure from a list. Weigh a strip of yours before you trust it"
    )


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
        f"   {strip_text(story.trial_strip)}",
        *_indented(measurement_lines(story.trial.measurement)),
        "3. Correction: take the trial tape off, then",
        f"   add {correction_text(story.advice.answer.correction, radius)}.",
        "   In tape, cut to whole millimetres:",
        *(f"   - {strip_text(item)}" for item in story.strips),
        f"   ({tape_text(story.trial_strip.strip.tape)}.)",
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

"""Whether a sensor is fit for work, by its record at rest: each check in words; knows no Streamlit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from balancer.app.plain import in_page_words
from balancer.app.stands.items import Item, Mood
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.findings import Finding
from balancer.procedure.check import FEWEST_MARKS, check_still
from balancer.recording.model import Recording
from balancer.units import G_STANDARD
from balancer.wording import finding_text

_NEAR_FULL = 0.5  # of the range: at rest there should be gravity and no more
_ABOUT = {
    "noise": ("noise_usual", "noise_high", "noise_low"),
    "scale": ("scale_off", "gravity_taken_out"),
    "range": ("clipped", "channel_flat"),
    "samples": (
        "samples_lost",
        "samples_lost_silently",
        "sensor_overruns",
        "sensor_faults",
        "device_records_lost",
        "packets_damaged",
        "packets_missing",
        "lines_damaged",
        "device_restarted",
        "samples_implausible",
    ),
    "rate": ("rate_off", "values_held", "stamps_unsteady", "stamps_uneven", "stamps_of_arrival"),
    "lines": ("mains_at_rest", "line_at_rest"),
}


@dataclass(frozen=True)
class Axis:
    """Figures of one channel at rest.

    Parameters
    ----------
    name : str
        Of the channel.
    offset : float
        Mean in m/s^2: gravity and the sensor's zero.
    floor_ug : float
        Noise floor in millionths of g per root hertz.
    highest : float
        Largest reading in m/s^2, either way.
    """

    name: str
    offset: float
    floor_ug: float
    highest: float


@dataclass(frozen=True)
class AtRest:
    """What the record of a sensor at rest shows.

    Parameters
    ----------
    axes : tuple of Axis
        Figures of each.
    items : tuple of Item
        The checks.
    """

    axes: tuple[Axis, ...]
    items: tuple[Item, ...]


def at_rest(recording: Recording, unit: Vibration = IN_M_S2) -> AtRest:
    """Check a sensor by its record at rest.

    Parameters
    ----------
    recording : Recording
        Some seconds, nothing running.
    unit : Vibration
        In which accelerations are told.

    Returns
    -------
    AtRest
        Figures and checks.
    """
    checked = check_still(recording)
    by = {name: [f for f in checked.findings if f.code in codes] for name, codes in _ABOUT.items()}
    known = {code for codes in _ABOUT.values() for code in codes}
    other = [f for f in checked.findings if f.code not in known and f.severity != "info"]
    axes = tuple(
        Axis(channel.name, float(row.mean()), 1e6 * density / G_STANDARD, float(np.abs(row).max()))
        for channel, row, density in zip(recording.channels, recording.samples, checked.density, strict=True)
    )
    items = [
        *_turned(recording),
        _noise(by["noise"], axes),
        _scale(recording, by["scale"], unit),
        _range(recording, by["range"], axes, unit),
        _samples(recording, by["samples"]),
        _rate(recording, by["rate"]),
        _item("Lines at rest", by["lines"], "Nothing nearby shakes or hums at a single frequency."),
        *(_item("Beside that", [finding], "") for finding in other),
    ]
    return AtRest(axes, tuple(items))


def _item(title: str, findings: Sequence[Finding], fine: str) -> Item:
    """Put the findings of one check together; usual values are no reason to look."""
    serious = [finding for finding in findings if finding.severity != "info"]
    told = serious or list(findings)
    text = " ".join(_words(finding) for finding in told) or fine
    mood: Mood = "good"
    if serious:
        mood = "bad" if any(finding.severity == "error" for finding in serious) else "look"
    return Item(title, mood, text)


def _words(finding: Finding) -> str:
    return in_page_words(finding_text(finding))


def _noise(findings: Sequence[Finding], axes: Sequence[Axis]) -> Item:
    """Put it into one sentence where every axis is as usual."""
    if not all(finding.code == "noise_usual" for finding in findings):
        return _item("Noise floor", [f for f in findings if f.code != "noise_usual"], "")
    floors = [axis.floor_ug for axis in axes]
    text = f"{min(floors):.0f} to {max(floors):.0f} µg/√Hz, usual for its class of sensor."
    return Item("Noise floor", "good", text)


def verdict(items: Sequence[Item]) -> str:
    """Say in a sentence whether the sensor is fit for work."""
    serious = [item.title.lower() for item in items if item.mood in {"look", "bad"}]
    if not serious:
        return "Nothing speaks against this sensor."
    return f"Before you trust this sensor, look at: {', '.join(dict.fromkeys(serious))}."


def _turned(recording: Recording) -> list[Item]:
    if recording.marks is None or recording.marks.size < FEWEST_MARKS:
        return []
    text = f"{recording.marks.size} marks came: something turned. Record it again with everything at rest."
    return [Item("At rest", "bad", text)]


def _scale(recording: Recording, findings: Sequence[Finding], unit: Vibration) -> Item:
    if len(recording.channels) != 3:
        return Item("Scale", "untold", "It takes three axes to compare the scale with gravity.")
    if any(finding.code == "gravity_taken_out" for finding in findings):
        return Item("Scale", "untold", " ".join(_words(finding) for finding in findings))
    size = float(np.linalg.norm(recording.samples.mean(axis=1)))
    fine = (
        f"The mean of the three axes is {unit.text(size)} {unit.word}, {size / G_STANDARD:.2f} times "
        "gravity, as it should be at rest. It does not show the scale of each axis by itself."
    )
    return _item("Scale", findings, fine)


def _range(recording: Recording, findings: Sequence[Finding], axes: Sequence[Axis], unit: Vibration) -> Item:
    full = recording.sensor.full_scale
    highest = max(axis.highest for axis in axes)
    if findings or full is None:
        return _item("Range", findings, "No axis is cut off.")
    share = highest / full
    text = f"The largest reading is {100 * share:.0f} % of the range of {unit.text(full)} {unit.word}."
    if share > _NEAR_FULL:
        return Item("Range", "look", f"{text} Little is left for the vibration: choose a larger range.")
    return Item("Range", "good", text)


def _samples(recording: Recording, findings: Sequence[Finding]) -> Item:
    count = recording.times.size
    return _item("Dropped samples", findings, f"None of {count} samples is seen to be missing.")


def _rate(recording: Recording, findings: Sequence[Finding]) -> Item:
    rate, said = recording.sample_rate, recording.sensor.nominal_rate
    if said is None:
        fine = f"{rate:.1f} samples a second; the file does not say what was meant."
        return _item("Sample rate", findings, fine)
    off = 100 * (rate / said - 1)
    fine = f"{rate:.1f} samples a second, {off:+.2f} % off the {said:.0f} that are announced."
    return _item("Sample rate", findings, fine)

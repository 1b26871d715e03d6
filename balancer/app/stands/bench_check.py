"""Whether a stand is fit for work: do runs repeat, is a resonance near; in words; knows no Streamlit."""

from __future__ import annotations

import math
from collections.abc import Sequence

from balancer.app.stands.items import Item
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.core.resonance import Resonance
from balancer.core.runs import Run
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.procedure.check import FEWEST_MARKS
from balancer.procedure.measure import measure, run_of
from balancer.procedure.repeats import SAME, agreement, spread_of
from balancer.procedure.run_up import RunUp, run_up, too_near
from balancer.procedure.tap import read_taps
from balancer.procedure.trial_judgement import Linearity
from balancer.recording.model import Recording
from balancer.units import rpm_from_rad_s
from balancer.wording import capital, finding_text
from balancer.wording.run_up import proposal_text, resonance_text

_APART = 1.05  # fastest over slowest of runs that can be compared (no source)
_LIMITED = 3.0  # times its own uncertainty: beyond, the scatter is not that of the noise (no source)


def repeatability(recordings: Sequence[Recording], unit: Vibration = IN_M_S2) -> tuple[Item, ...]:
    """Compare runs of a rotor that was not touched between them.

    Parameters
    ----------
    recordings : sequence of Recording
        Two or more at about the same speed.
    unit : Vibration
        In which accelerations are told.

    Returns
    -------
    tuple of Item
        Whether they agree, and of each channel how far they scatter against their own uncertainty.

    Raises
    ------
    InputError
        If there are too few, or one cannot be measured, or they do not belong together.
    """
    if len(recordings) < 2:
        raise InputError(
            "one run does not show how far runs differ", todo="record the same rotor twice or more"
        )
    measured = [measure(recording) for recording in recordings]
    speeds = [one.speed for one in measured]
    names = {tuple(channel.name for channel in one.channels) for one in measured}
    if len(names) > 1 or len({one.has_phase for one in measured}) > 1:
        raise InputError(
            "the recordings do not hold the same channels", todo="record every run with the same set-up"
        )
    if max(speeds) > _APART * min(speeds):
        low, high = rpm_from_rad_s(min(speeds)), rpm_from_rad_s(max(speeds))
        raise InputError(
            f"the speeds go from {low:.0f} to {high:.0f} rpm, too far apart to be compared",
            todo="hold the same speed in every run",
        )
    runs = [run_of(one, ()).at_speed(speeds[0]) for one in measured]
    first = _agreement(runs)
    if not measured[0].has_phase:
        text = "Without marks only the sizes could be compared; with a pick-up the directions are, too."
        return first, Item("Directions", "untold", text)
    channels = enumerate(measured[0].channels)
    return first, *(_scatter(channel.name, runs, index, unit) for index, channel in channels)


def _agreement(runs: Sequence[Run]) -> Item:
    found = agreement(runs)
    apart = 100 * found.apart
    if len(found.together) == len(runs):
        text = (
            f"All {len(runs)} runs agree: two of them differ by {apart:.1f} % of the vibration at most "
            f"({100 * SAME:.0f} % is taken as the limit). That is how small a residual this stand can show."
        )
        return Item("Runs against each other", "good", text)
    text = (
        f"The runs do not agree: two of them differ by {apart:.0f} % of the vibration. Tug at the clamps and "
        "at the sensor, look for a soft foot or a cable that pulls, hold the speed, and record again."
    )
    return Item("Runs against each other", "bad", text)


def _scatter(name: str, runs: Sequence[Run], index: int, unit: Vibration) -> Item:
    vectors = [run.readings[index] for run in runs]
    seen = [vector for vector in vectors if isinstance(vector, UncertainComplex)]
    found = spread_of(seen)
    between, own = (100 * share / found.size for share in (found.between, found.own))
    text = (
        f"1x is {unit.text(found.size)} {unit.word}; from run to run it scatters by {between:.2g} % of that, "
        f"and each run by itself knows it to {own:.2g} %."
    )
    if found.between > SAME * found.size:
        return Item(f"Axis {name}", "look", f"{text} So this axis is of little use here.")
    if found.between > _LIMITED * found.own:
        text += " The stand, not the noise, sets the limit: longer runs do not help, firmer clamps may."
    else:
        text += " The noise sets the limit: longer runs tell more."
    return Item(f"Axis {name}", "good", text)


def resonances(recording: Recording, rpm: float | None) -> tuple[tuple[Item, ...], RunUp | None]:
    """Look for resonances of the stand near the speed, by a run-up or by taps.

    Parameters
    ----------
    recording : Recording
        With marks: a run-up or coast-down. Without: taps with nothing turning.
    rpm : float or None
        The speed to balance at.

    Returns
    -------
    items : tuple of Item
        Each resonance, and what it means for the speed.
    sweep : RunUp or None
        For a picture; None for taps.

    Raises
    ------
    InputError
        If the recording shows neither.
    """
    if recording.marks is None or recording.marks.size < FEWEST_MARKS:
        modes = tuple(sorted(read_taps(recording).modes, key=lambda mode: mode.frequency))
        return (_speed(rpm, too_near(modes), (0.0, math.inf)), *map(_resonance, modes)), None
    shown = run_up(recording)
    swept = rpm_from_rad_s(shown.track.speeds.min()), rpm_from_rad_s(shown.track.speeds.max())
    known = {finding.code for finding in recording.findings}
    noticed = [f for f in shown.findings if f.severity != "info" and f.code not in known]
    told = (Item("About this sweep", "look", finding_text(finding)) for finding in noticed)
    items = (_speed(rpm, shown.avoid, swept), *_proposal(shown), *map(_resonance, shown.resonances), *told)
    return items, shown


def _proposal(shown: RunUp) -> tuple[Item, ...]:
    if shown.proposed is None:
        return ()
    text = proposal_text(shown.proposed)
    return (Item("A good speed", "seen", f"{capital(text)}."),)


def _resonance(mode: Resonance) -> Item:
    return Item("Resonance", "seen", f"{resonance_text(mode)}.")


def _speed(rpm: float | None, avoid: Sequence[tuple[float, float]], seen: tuple[float, float]) -> Item:
    title = "Speed and resonances"
    ranges = [(rpm_from_rad_s(low), rpm_from_rad_s(high)) for low, high in avoid]
    free = _free(ranges)
    if rpm is None:
        return Item(title, "untold", f"Say at which speed you balance. {free}")
    for low, high in ranges:
        if low <= rpm <= high:
            text = (
                f"{rpm:.0f} rpm lies between {low:.0f} and {high:.0f} rpm, too near to a resonance of the "
                "stand: there a little change of speed turns the vector and the stand shakes most. Balance "
                "at another speed, or make the stand stiffer, softer or heavier."
            )
            return Item(title, "bad", text)
    if not seen[0] <= rpm <= seen[1]:
        reach = f"This recording goes from {seen[0]:.0f} to {seen[1]:.0f} rpm"
        return Item(title, "untold", f"{reach} and does not reach {rpm:.0f} rpm. {free}")
    return Item(title, "good", f"{rpm:.0f} rpm is far enough from every resonance that was seen. {free}")


def _free(ranges: Sequence[tuple[float, float]]) -> str:
    if not ranges:
        return "No resonance was seen."
    words = [f"{low:.0f} to {high:.0f} rpm" for low, high in ranges]
    return f"Keep out of {', '.join(words)}."


def proportion(label: str, told: Linearity) -> Item:
    """Say whether the effect of a mass grew in proportion to it in a job.

    Parameters
    ----------
    label : str
        What the job was.
    told : Linearity
        Of its runs.

    Returns
    -------
    Item
        How it came out.
    """
    off = f"{100 * told.difference:.0f} %, {told.scatter:.1f} times its uncertainty"
    if told.findings and told.tested:
        return Item(label, "look", " ".join(finding_text(finding) for finding in told.findings))
    if told.findings:
        text = (
            f"Masses of about one size had effects that differ by {off}: a piece was cut, weighed or placed "
            "otherwise than noted, or the stand changed between the runs."
        )
        return Item(label, "look", text)
    if not told.tested:
        text = f"The masses were of about one size, so this only says that their effect repeats to {off}."
        return Item(label, "untold", text)
    text = f"The largest mass did as much as the smallest in proportion, but for {off}."
    return Item(label, "good", text)

"""One recording looked at for everything that is not unbalance."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from balancer.core.spectrum import find_line
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.measure import measure, uniform_samples
from balancer.procedure.symptoms.axial import axial_findings
from balancer.procedure.symptoms.change import (
    FEWEST_BLOCKS,
    HELD,
    amplification,
    analyse_change,
    change_findings,
)
from balancer.procedure.symptoms.coast import coast_findings, find_cut
from balancer.procedure.symptoms.outcome import Outcome
from balancer.procedure.symptoms.spectrum import BLADE_PASS, MINOR, order_table, spectrum_findings
from balancer.procedure.track import FEWEST_TURNS, Track, track
from balancer.recording.model import Recording

_BEFORE = 0.05  # s before a cut where the steady part ends
_BLOCK = 0.1  # s


@dataclass(frozen=True)
class Symptoms:
    """What was found out about a recording.

    Parameters
    ----------
    source : str
        Name of the recording.
    speaks_for : tuple of Finding
        What speaks for unbalance.
    speaks_against : tuple of Finding
        What speaks against it, or for something else beside it.
    untold : tuple of Finding
        What the data cannot tell.
    """

    source: str
    speaks_for: tuple[Finding, ...] = ()
    speaks_against: tuple[Finding, ...] = ()
    untold: tuple[Finding, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All of them, what speaks against first."""
        return self.speaks_against + self.speaks_for + self.untold

    @property
    def codes(self) -> frozenset[str]:
        """The codes of all findings."""
        return frozenset(finding.code for finding in self.findings)


def symptoms(
    recording: Recording,
    *,
    blades: int | None = None,
    magnets: int | None = None,
    axial: str | None = None,
    before: Recording | None = None,
) -> Symptoms:
    """Look for signs that a vibration is not unbalance, or not unbalance alone.

    Parameters
    ----------
    recording : Recording
        Some seconds at a held speed; the throttle may be cut at the end, which shows the pull of the magnets.
    blades, magnets : int, optional
        Of the rotor, 0 blades for a bare bell; left out, what needs them is not told.
    axial : str, optional
        Name of the channel along the shaft; left out, what needs it is not told.
    before : Recording, optional
        The same part on the same stand before it was balanced: then other vibration is compared with what 1x
        was, not with the little that is left of it.

    Returns
    -------
    Symptoms
        For, against, and what cannot be told.

    Raises
    ------
    InputError
        If there is no such channel or the counts are impossible.
    """
    _check(recording, blades, magnets, axial)
    if recording.marks is None:
        return _gathered(recording, _without_marks(recording))
    cut = find_cut(recording)
    steady = recording if cut is None else recording.until(cut.at - _BEFORE)
    rotor = _Rotor(blades, magnets, axial, 0.0 if before is None else _once_per_square(before))
    found = _held(steady, rotor).plus(coast_findings(recording, cut))
    return _gathered(recording, found)


@dataclass(frozen=True)
class _Rotor:
    """What was said: counts, the axial channel, and 1x before balancing over the speed squared."""

    blades: int | None
    magnets: int | None
    axial: str | None
    before: float


def _once_per_square(recording: Recording) -> float:
    measured = measure(recording)
    size = math.sqrt(sum(channel.amplitude.value**2 for channel in measured.channels))
    return size / measured.speed**2


def _check(recording: Recording, blades: int | None, magnets: int | None, axial: str | None) -> None:
    if blades is not None and blades < 0:
        raise InputError("the number of blades is below 0", todo="give 0 for a bare bell")
    if magnets is not None and (magnets < 2 or magnets % 2):
        raise InputError(
            f"a bell does not have {magnets} magnets", todo="give an even number, or leave it out"
        )
    names = [channel.name for channel in recording.channels]
    if axial is not None and axial not in names:
        raise InputError(
            f"there is no channel {axial}",
            todo=f"name the one along the shaft ({', '.join(names)}), or none",
            file=recording.source or None,
        )


def _held(recording: Recording, rotor: _Rotor) -> Outcome:
    """Look at what was recorded at a held speed."""
    blades = rotor.blades
    short = Outcome(untold=(Finding.of("untold_short", "info"),))
    try:
        tracked = _blocks(recording)
        table = order_table(recording, rotor.magnets)
    except InputError:
        return short
    speeds = tracked.speeds
    spread = float(np.ptp(speeds) / speeds.mean())
    if spread > HELD:
        return Outcome(untold=(Finding.of("untold_speed", "info", spread_percent=100 * spread),))
    table = replace(table, reference=rotor.before * float(speeds.mean()) ** 2)
    long = tracked.times.size >= FEWEST_BLOCKS
    passing = blades is not None and table.share(float(blades)) >= BLADE_PASS
    times = _amplified(recording, blades) if long and passing and blades else 1.0
    orders = spectrum_findings(table, blades, rotor.magnets, times)
    if not table.clear(1.0):
        return orders.plus(Outcome(untold=(Finding.of("untold_once", "info"),)))
    # among many harmonics those beside the blade pass are no sign of a blade
    along = axial_findings(table, rotor.axial, None if orders.has("harmonics_many") else blades)
    if along.has("blade_suspect"):
        orders = orders.without("second_order")
    change = change_findings(tracked, analyse_change(tracked, table.reference)) if long else short
    return orders.plus(along).plus(change)


def _amplified(recording: Recording, order: int) -> float:
    """Say how many times as large as its force the stand makes an order."""
    try:
        tracked = _blocks(recording, order)
    except InputError:  # the rate does not show it
        return 1.0
    return amplification(analyse_change(tracked)) if tracked.times.size >= FEWEST_BLOCKS else 1.0


def _blocks(recording: Recording, order: int = 1) -> Track:
    """Follow an order in blocks of about 0.1 s, all of the same number of turns."""
    marks = np.zeros(0) if recording.marks is None else recording.marks
    if marks.size < FEWEST_BLOCKS:
        raise InputError("there are too few marks", todo="record for some seconds")
    turn = float(np.median(np.diff(marks))) * recording.marks_per_rev
    return track(recording, turns=max(round(_BLOCK / turn), FEWEST_TURNS), orders=(order,))


def _without_marks(recording: Recording) -> Outcome:
    untold = Finding.of("untold_marks", "info")
    try:
        line = find_line(uniform_samples(recording), recording.sample_rate)
    except InputError:
        return Outcome(untold=(untold,))
    power = sum(float(overall) ** 2 for overall in line.overall)
    if not power > 0:
        return Outcome(untold=(untold,))
    share = min(sum(float(a) ** 2 / 2 for a in line.amplitudes) / power, 1.0)
    found = Finding.of("strongest_line", "info", share_percent=100 * share, speed_rpm=60 * line.frequency)
    return Outcome(good=(found,) if share >= MINOR else (), untold=(untold,))


def _gathered(recording: Recording, heard: Outcome) -> Symptoms:
    good = heard.good
    if not heard.bad and any(finding.code == "once_dominates" for finding in good):
        good = (Finding.of("nothing_against", "info"), *good)
    return Symptoms(recording.source, good, heard.bad, heard.untold)

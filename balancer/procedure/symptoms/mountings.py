"""What runs with the same masses tell about each other: seating, and the stand at other speeds."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import combinations

from balancer.core.runs import Run
from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding
from balancer.procedure.measure import measure
from balancer.procedure.repeats import SAME, agreement
from balancer.procedure.symptoms.change import HELD, STEEP
from balancer.recording.model import Recording
from balancer.units import rpm_from_rad_s

_ONE_SPEED = 0.02  # of the speed: runs within it are repeats of each other
_APART = (0.03, 0.25)  # of the speed: closer tells of seating as well, farther is not one slope


def repeat_symptoms(runs: Sequence[Run]) -> tuple[Finding, ...]:
    """Compare runs with the same masses.

    Parameters
    ----------
    runs : sequence of Run
        Of one part on one stand, in any order; those with the same masses are compared.

    Returns
    -------
    tuple of Finding
        ``mountings_scatter`` when repeats differ by more than 10 % and more than their noise explains,
        ``mountings_agree`` when none does, ``resonance_between`` when 1x grows with another power of speed
        than an unbalance can have, ``untold_one_run`` when nothing could be compared.
    """
    groups = [group for group in _same_masses(runs) if len(group) > 1]
    seated = [found for group in groups for found in _seating(_one_speed(group))]
    steep = [found for group in groups for found in _between(group)]
    findings = [*_worst(seated, "apart_percent"), *_worst(steep, "power")]
    return tuple(findings) or (Finding.of("untold_one_run", "info"),)


def compare_recordings(recordings: Sequence[Recording]) -> tuple[Finding, ...]:
    """Compare recordings of runs with the same masses.

    Parameters
    ----------
    recordings : sequence of Recording
        Those whose speed was not held, as in a coast-down, are left out.

    Returns
    -------
    tuple of Finding
        As from `repeat_symptoms`.

    Raises
    ------
    InputError
        If one cannot be measured.
    """
    measured = [measure(recording) for recording in recordings]
    held = [m for m in measured if (m.fastest - m.slowest) <= HELD * m.speed]
    return repeat_symptoms(
        [Run(tuple(c.once or c.amplitude for c in m.channels), speed=m.speed) for m in held]
    )


def _same_masses(runs: Sequence[Run]) -> list[list[Run]]:
    groups: dict[tuple[object, ...], list[Run]] = {}
    for run in runs:
        groups.setdefault(
            (*sorted((m.mass, m.radius, m.angle) for m in run.masses), len(run.readings)), []
        ).append(run)
    return list(groups.values())


def _one_speed(group: Sequence[Run]) -> list[list[Run]]:
    """Put runs together whose speeds are close; those of unknown speed count as one."""
    gathered: list[list[Run]] = []
    for run in sorted(group, key=lambda r: r.speed or 0.0):
        if gathered and (run.speed or 0.0) <= (gathered[-1][0].speed or 0.0) * (1 + _ONE_SPEED):
            gathered[-1].append(run)
        else:
            gathered.append([run])
    return [runs for runs in gathered if len(runs) > 1]


def _seating(groups: Sequence[Sequence[Run]]) -> list[Finding]:
    findings = []
    for runs in groups:
        found = agreement(runs)
        apart, limit, count = 100 * found.apart, 100 * SAME, len(runs)
        if len(found.together) < count:
            findings.append(
                Finding.of(
                    "mountings_scatter", "warning", runs=count, apart_percent=apart, limit_percent=limit
                )
            )
        else:
            findings.append(
                Finding.of("mountings_agree", "info", runs=count, apart_percent=apart, limit_percent=limit)
            )
    return findings


def _between(group: Sequence[Run]) -> list[Finding]:
    """Compare runs at speeds a little apart: the power of speed between them."""
    findings = []
    for one, other in combinations(group, 2):
        if one.speed is None or other.speed is None:
            continue
        slow, fast = sorted((one, other), key=lambda r: r.speed or 0.0)
        slow_speed, fast_speed = slow.speed or 0.0, fast.speed or 0.0
        if not _APART[0] <= fast_speed / slow_speed - 1 <= _APART[1]:
            continue
        power = _power(slow, fast, math.log(fast_speed / slow_speed))
        if power is not None and abs(power - 2) > STEEP:
            low, high = rpm_from_rad_s(slow_speed), rpm_from_rad_s(fast_speed)
            findings.append(
                Finding.of("resonance_between", "warning", low_rpm=low, high_rpm=high, power=abs(power - 2))
            )
    return findings


def _power(slow: Run, fast: Run, step: float) -> complex | None:
    """Give the power of speed of the strongest channel, of the amplitude alone when there is no phase."""
    sizes = [abs(r.value) for r in fast.readings]
    best = sizes.index(max(sizes))
    a, b = slow.readings[best], fast.readings[best]
    if not abs(a.value) > 0 or not abs(b.value) > 0:
        return None
    if isinstance(a, UncertainComplex) and isinstance(b, UncertainComplex):
        return cmath.log(b.value / a.value) / step
    return complex(math.log(abs(b.value) / abs(a.value)) / step)


def _worst(findings: Sequence[Finding], figure: str) -> list[Finding]:
    """Keep the one that says most: a warning before a note, the larger figure first."""
    if not findings:
        return []
    return [max(findings, key=lambda f: (f.severity == "warning", float(f.figure(figure))))]

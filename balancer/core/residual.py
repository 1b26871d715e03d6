"""Like with like: from raw vibration on some stand to the unbalance left in the part.

Vibration belongs to the stand as much as to the part; g mm and grade belong to the part alone. So runs on
different stands are compared only after each was divided by its own stand's influence coefficient.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from balancer.core.grade import grade_of, permissible_unbalance
from balancer.core.stopping import upper_bound, within_own_uncertainty
from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding

GRADES = (2.5e-3, 6.3e-3, 16e-3)
"""Balance quality grades in m/s that a chart shows as lines (ISO 21940-11)."""


@dataclass(frozen=True)
class Entry:
    """A determination in the history of a part.

    Parameters
    ----------
    when : datetime.date
        Its date.
    stand : str
        The stand it was made on.
    unbalance : UncertainComplex or None
        In kg m; None where only raw vibration is known, as the stand had no influence coefficient.
    frame : str
        From which mark its angle counts; determinations of different marks compare by size only.
    """

    when: date
    stand: str
    unbalance: UncertainComplex | None
    frame: str = ""


@dataclass(frozen=True)
class Point:
    """A determination as a chart shows it, in kg m.

    Parameters
    ----------
    when : datetime.date
        Its date.
    stand : str
        The stand.
    value : float
        Size of the unbalance.
    lower, upper : float
        Between these the true size lies with 95 % probability; from 0 where it cannot be told from none.
    grade : float
        Balance quality grade in m/s of the value.
    """

    when: date
    stand: str
    value: float
    lower: float
    upper: float
    grade: float


@dataclass(frozen=True)
class Series:
    """What of a history can be compared.

    Parameters
    ----------
    points : tuple of Point
        By date.
    lines : tuple of (float, float)
        Each grade in m/s with the unbalance in kg m that it allows.
    vectors : tuple of tuple of Entry
        Determinations whose directions can be compared, too: those of one mark, by date.
    left_out : tuple of Entry
        Those of which only raw vibration is known.
    findings : tuple of Finding
        What to say about it.
    """

    points: tuple[Point, ...]
    lines: tuple[tuple[float, float], ...]
    vectors: tuple[tuple[Entry, ...], ...]
    left_out: tuple[Entry, ...]
    findings: tuple[Finding, ...]


def like_with_like(
    entries: Sequence[Entry], mass: float, speed: float, grades: Sequence[float] = GRADES
) -> Series:
    """Say what of a history can be compared, and give it as a chart shows it.

    Parameters
    ----------
    entries : sequence of Entry
        In any order.
    mass : float
        Of the rotor in kg, for the grade.
    speed : float
        Speed of use in rad/s, for the grade.
    grades : sequence of float, optional
        In m/s, for the lines.

    Returns
    -------
    Series
        By date.

    Raises
    ------
    InputError
        If mass, speed or a grade is not above 0.
    """
    ordered = sorted(entries, key=lambda entry: entry.when)
    known = [entry for entry in ordered if entry.unbalance is not None]
    left_out = tuple(entry for entry in ordered if entry.unbalance is None)
    frames = dict.fromkeys(entry.frame for entry in known)
    stands = {entry.stand for entry in known}
    findings = []
    if left_out:
        names = ", ".join(dict.fromkeys(entry.stand for entry in left_out))
        findings.append(Finding.of("raw_left_out", "info", count=len(left_out), names=names))
    if len(stands) > 1:
        findings.append(Finding.of("several_stands", "info", count=len(stands)))
    if len(frames) > 1:
        findings.append(Finding.of("several_marks", "info", count=len(frames)))
    return Series(
        points=tuple(
            _point(entry, entry.unbalance, mass, speed) for entry in known if entry.unbalance is not None
        ),
        lines=tuple((grade, permissible_unbalance(mass, speed, grade)) for grade in grades),
        vectors=tuple(tuple(entry for entry in known if entry.frame == frame) for frame in frames),
        left_out=left_out,
        findings=tuple(findings),
    )


def _point(entry: Entry, unbalance: UncertainComplex, mass: float, speed: float) -> Point:
    none = within_own_uncertainty(unbalance)
    return Point(
        when=entry.when,
        stand=entry.stand,
        value=unbalance.amplitude,
        lower=0.0 if none else upper_bound(unbalance, 0.025),
        upper=upper_bound(unbalance, 0.95 if none else 0.975),
        grade=grade_of(unbalance.amplitude, mass, speed),
    )

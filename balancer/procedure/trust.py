"""How far a stored influence coefficient may be trusted in the job at hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from balancer.core.vectors import Covariance, UncertainComplex
from balancer.findings import Finding
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from balancer.units import rpm_from_rad_s

SPEED_BAND = 0.05
"""Share by which the speed may differ: beyond it a resonance may lie between (common practice, no source)."""

USUAL_SCATTER, USUAL_JOBS = 0.02, 2
"""Scatter of an influence coefficient from job to job of a careful hand, as a share of it, and how many jobs
this is worth beside those that were made (no source)."""

_POWER, _POWER_SD = 2.0, 1.0  # H grows with the square of the speed, a power more or less: as in Run.at_speed
_DELAY = 5e-3  # s, of a filter of which nothing is known: the slowest that still shows 1x
_YEARLY = 0.02  # rubber ages, screws settle: grows with the root of the years (no source)
_OLD = 180  # days
_FAR_MASS = 0.2  # share of the moving mass
_UNLIKELY = 0.25  # expected share left, from which a coefficient is not worth a run without trial

_MUST_AGREE = (
    ("stand", "stand"),
    ("unit", "unit"),
    ("channels", "channels"),
    ("sensor", "sensor"),
    ("rate", "sample rate"),
    ("lowpass", "low-pass"),
    ("mark_edge", "mark edge"),
    ("pickup", "place of the pick-up"),
    ("hand", "hand of rotation"),
)
_PHASE_ONLY = {"mark_edge", "pickup", "hand"}


@dataclass(frozen=True)
class Trust:
    """A stored coefficient as it may be used.

    Parameters
    ----------
    usable : bool
        Whether it belongs to this job at all.
    influence : tuple of UncertainComplex
        H at the speed of the job, its covariance widened; to be handed to `solve_runs` as `known`. Empty
        when it is not usable.
    expected_left : float
        Share of the vibration that a correction from one run and this coefficient leaves (root mean square,
        the noise of the run not counted); 1 when it is not usable.
    findings : tuple of Finding
        Why not, or how far.
    """

    usable: bool
    influence: tuple[UncertainComplex, ...]
    expected_left: float
    findings: tuple[Finding, ...]


def trust(
    stored: StoredCoefficient,
    set_up: SetUp,
    speed: float,
    today: date | None = None,
    *,
    with_phase: bool = True,
) -> Trust:
    """Say whether and how far a stored coefficient serves in a job.

    What all channels share (another speed, age, the scatter from job to job) is put into each of them n-fold,
    n channels: together they then give no surer answer than one of them by itself.

    Parameters
    ----------
    stored : StoredCoefficient
        From earlier jobs.
    set_up : SetUp
        Of the job.
    speed : float
        Of the job in rad/s.
    today : date, optional
        For the age.
    with_phase : bool
        Whether the job's readings have a phase.

    Returns
    -------
    Trust
        Widened coefficient and findings.
    """
    refusals = tuple(_refusals(stored, set_up, speed, with_phase))
    if refusals:
        return Trust(False, (), 1.0, refusals)
    off = speed / stored.speed - 1
    size, turn = _common_doubt(stored, set_up, speed, today)
    factor = (speed / stored.speed) ** _POWER
    channels = len(stored.influence)
    widened = tuple(
        _widened(h.times(factor), size * math.sqrt(channels), turn * math.sqrt(channels))
        for h in stored.influence
    )
    left = math.sqrt(_own_doubt(stored, with_phase) + size**2 + (turn**2 if with_phase else 0.0))
    findings = [*_remarks(stored, set_up, today), *_speed_remark(off, left)]
    return Trust(True, widened, left, (*findings, _summary(left, stored)))


def _refusals(stored: StoredCoefficient, set_up: SetUp, speed: float, with_phase: bool) -> Iterator[Finding]:
    differing = [name for field, name in _MUST_AGREE if _differ(stored.set_up, set_up, field, with_phase)]
    if differing:
        yield Finding.of("coefficient_other_set_up", "warning", names=", ".join(differing))
    if with_phase and not stored.has_phase:
        yield Finding.of("coefficient_without_phase", "warning")
    off = abs(speed / stored.speed - 1)
    if off > SPEED_BAND:
        yield Finding.of(
            "coefficient_other_speed",
            "warning",
            speed_rpm=rpm_from_rad_s(stored.speed),
            off_percent=100 * off,
            band_percent=100 * SPEED_BAND,
        )


def _differ(one: SetUp, other: SetUp, field: str, with_phase: bool) -> bool:
    first, second = getattr(one, field), getattr(other, field)
    if not first or not second or (field in _PHASE_ONLY and not with_phase):
        return False
    if isinstance(first, float):
        return not math.isclose(first, second, rel_tol=0.01)
    return bool(first != second)


def _common_doubt(
    stored: StoredCoefficient, set_up: SetUp, speed: float, today: date | None
) -> tuple[float, float]:
    """Relative standard deviations that all channels share, along H and across it (rad)."""
    off = abs(speed - stored.speed) / stored.speed
    delay = math.sqrt(2) / (2 * math.pi * set_up.lowpass) if set_up.lowpass else _DELAY
    turn = delay * abs(speed - stored.speed)  # 360 tau df, in rad
    between = math.hypot(_between_jobs(stored), _YEARLY * math.sqrt(_years(stored, today)))
    mass = 0.0
    if stored.set_up.moving_mass and set_up.moving_mass:
        mass = abs(math.log(set_up.moving_mass / stored.set_up.moving_mass))
    return math.hypot(between, _POWER_SD * off, mass), math.hypot(between, _POWER_SD * off, turn)


def _between_jobs(stored: StoredCoefficient) -> float:
    """Scatter to be expected of the next job about the mean of the earlier ones."""
    count = stored.determinations
    return scatter_between_jobs(count, stored.scatter)[0] * math.sqrt(1 + 1 / count)


def scatter_between_jobs(count: int, scatter: float | None) -> tuple[float, int]:
    """Put what a careful hand usually has together with what a few jobs show, which say little.

    Parameters
    ----------
    count : int
        Of the jobs.
    scatter : float or None
        Of their coefficients, as in `StoredCoefficient`; None of a single one.

    Returns
    -------
    scatter : float
        Relative standard deviation of a component from job to job.
    worth : int
        Degrees of freedom behind it, in jobs.
    """
    worth = USUAL_JOBS + count - 1
    own = (count - 1) * (scatter or 0.0) ** 2
    return math.sqrt((USUAL_JOBS * USUAL_SCATTER**2 + own) / worth), worth


def _years(stored: StoredCoefficient, today: date | None) -> float:
    if stored.when is None or today is None:
        return 1.0
    return max((today - stored.when).days, 0) / 365.25


def _widened(h: UncertainComplex, size: float, turn: float) -> UncertainComplex:
    more = Covariance((size * h.amplitude) ** 2, (turn * h.amplitude) ** 2).times(h.value / h.amplitude)
    return UncertainComplex(h.value, h.covariance.plus(more))


def _own_doubt(stored: StoredCoefficient, with_phase: bool) -> float:
    """Square of what the measured uncertainty leaves, channels weighted by their effect."""
    power = sum(h.amplitude**2 for h in stored.influence)
    own = 0.0
    for h in stored.influence:
        seen = 2 * h.covariance.radius**2 if with_phase else h.sd_amplitude**2
        own += (h.amplitude**2 / power) ** 2 * seen / h.amplitude**2
    return own


def _remarks(stored: StoredCoefficient, set_up: SetUp, today: date | None) -> Iterator[Finding]:
    unknown = [
        name for field, name in _MUST_AGREE if not getattr(stored.set_up, field) or not getattr(set_up, field)
    ]
    if unknown:
        yield Finding.of("coefficient_unchecked", "info", names=", ".join(unknown))
    if stored.when is None:
        yield Finding.of("coefficient_undated", "info")
    elif today is not None and (today - stored.when).days > _OLD:
        yield Finding.of("coefficient_old", "info", days=(today - stored.when).days)
    ranges = {stored.set_up.full_scale, set_up.full_scale} - {None}
    if len(ranges) > 1:
        yield Finding.of("coefficient_other_range", "info")
    before, now = stored.set_up.moving_mass, set_up.moving_mass
    if before and now and abs(now / before - 1) > _FAR_MASS:
        yield Finding.of("coefficient_other_mass", "warning", off_percent=100 * abs(now / before - 1))
    if stored.scatter is not None and stored.scatter > 2 * USUAL_SCATTER:
        yield Finding.of(
            "coefficient_scatters",
            "warning",
            scatter_percent=100 * stored.scatter,
            count=stored.determinations,
        )


def _speed_remark(off: float, left: float) -> list[Finding]:
    # said where it is a main part of the doubt
    if abs(off) > 0.5 * left:
        return [Finding.of("coefficient_speed_off", "info", off_percent=100 * abs(off))]
    return []


def _summary(left: float, stored: StoredCoefficient) -> Finding:
    if left > _UNLIKELY:
        return Finding.of("coefficient_weak", "warning", left_percent=100 * left)
    if not stored.has_phase:
        return Finding.of("coefficient_size_serves", "info", left_percent=100 * left)
    return Finding.of("coefficient_serves", "info", left_percent=100 * left)

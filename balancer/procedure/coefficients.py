"""Influence coefficients kept from job to job, with the set-up that they belong to."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.procedure.solve import Solution
from balancer.recording.model import SensorFacts
from balancer.units import g_from_kg, kg_from_g, rad_s_from_rpm, rpm_from_rad_s

_PER_GMM = 1e-6  # from per kg m to per g mm


@dataclass(frozen=True)
class SetUp:
    """All that an influence coefficient depends on beside the speed; empty or None where not known.

    Filters of the sensor and the place and edge of the mark turn and shrink every vector alike: within a job
    that goes into H, but H then serves with no other setting.

    Parameters
    ----------
    stand : str
        The person's name of the bench fixture with its sensor position.
    channels : tuple of str
        Names of the channels in their order.
    unit : str
        Of the readings.
    sensor : str
        As the device names it.
    rate, lowpass : float, optional
        Sample rate that the device announces and bandwidth of its filter, in Hz.
    full_scale : float, optional
        Largest reading in m/s^2.
    mark_edge : str
        ``rising`` or ``falling``.
    pickup : str
        Where the pick-up sits, in the person's words.
    hand : str
        ``cw`` or ``ccw``, seen from the front.
    moving_mass : float, optional
        All that moves with the sensor in kg.

    Raises
    ------
    InputError
        If there is no name of the stand, no channel, or a number is not above 0.
    """

    stand: str
    channels: tuple[str, ...]
    unit: str = "m/s^2"
    sensor: str = ""
    rate: float | None = None
    lowpass: float | None = None
    full_scale: float | None = None
    mark_edge: str = ""
    pickup: str = ""
    hand: str = ""
    moving_mass: float | None = None

    def __post_init__(self) -> None:
        if not self.stand.strip():
            raise InputError("a set-up needs the name of its stand", todo="give the stand a name")
        if not self.channels:
            raise InputError("a set-up needs the names of its channels")
        if self.hand not in {"", "cw", "ccw"}:
            raise InputError(f'the hand of rotation is cw or ccw, not "{self.hand}"')
        for name in ("rate", "lowpass", "full_scale", "moving_mass"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise InputError(f"the {name} of a set-up must be above 0, not {value:g}")

    @classmethod
    def of(
        cls,
        stand: str,
        channels: Sequence[str],
        facts: SensorFacts,
        *,
        pickup: str = "",
        hand: str = "",
        moving_mass: float | None = None,
    ) -> SetUp:
        """Make one from what a recording says of its sensor.

        Parameters
        ----------
        stand : str
            As in the class.
        channels : sequence of str
            Names of the recording's channels.
        facts : SensorFacts
            Of the recording.
        pickup, hand, moving_mass : optional
            As in the class.

        Returns
        -------
        SetUp
            In m/s^2.
        """
        return cls(
            stand=stand,
            channels=tuple(channels),
            sensor=facts.name,
            rate=facts.nominal_rate,
            lowpass=facts.lowpass,
            full_scale=facts.full_scale,
            mark_edge=facts.mark_edge,
            pickup=pickup,
            hand=hand,
            moving_mass=moving_mass,
        )

    def to_json(self) -> dict[str, Any]:
        """Put it into plain data, units in the names."""
        return {
            "stand": self.stand,
            "channels": list(self.channels),
            "unit": self.unit,
            "sensor": self.sensor,
            "rate_hz": self.rate,
            "lowpass_hz": self.lowpass,
            "full_scale_m_s2": self.full_scale,
            "mark_edge": self.mark_edge,
            "pickup": self.pickup,
            "hand": self.hand,
            "moving_mass_g": None if self.moving_mass is None else g_from_kg(self.moving_mass),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> SetUp:
        """Rebuild it from `to_json`.

        Raises
        ------
        InputError
            If a key is missing or holds something else.
        """
        mass = _number(data, "moving_mass_g", optional=True)
        return cls(
            stand=_text(data, "stand"),
            channels=tuple(str(name) for name in _list(data, "channels")),
            unit=_text(data, "unit"),
            sensor=_text(data, "sensor"),
            rate=_number(data, "rate_hz", optional=True),
            lowpass=_number(data, "lowpass_hz", optional=True),
            full_scale=_number(data, "full_scale_m_s2", optional=True),
            mark_edge=_text(data, "mark_edge"),
            pickup=_text(data, "pickup"),
            hand=_text(data, "hand"),
            moving_mass=None if mass is None else kg_from_g(mass),
        )


@dataclass(frozen=True)
class StoredCoefficient:
    """An influence coefficient as it is kept.

    Parameters
    ----------
    set_up : SetUp
        What it belongs to.
    speed : float
        In rad/s.
    influence : tuple of UncertainComplex
        H of each channel in reading per kg m; its covariance is that of the measurement.
    when : date or None
        When it was found, the latest time for a mean.
    runs : int
        Number of runs behind it.
    has_phase : bool
        False when it was found without phase: only the sizes mean something.
    determinations : int
        Number of jobs it is the mean of.
    scatter : float or None
        How far H differs from job to job: relative standard deviation of a component. None for one job.

    Raises
    ------
    InputError
        If the numbers are impossible or do not fit the channels.
    """

    set_up: SetUp
    speed: float
    influence: tuple[UncertainComplex, ...]
    when: date | None
    runs: int
    has_phase: bool = True
    determinations: int = 1
    scatter: float | None = None

    def __post_init__(self) -> None:
        if len(self.influence) != len(self.set_up.channels):
            raise InputError(
                f"a coefficient of {len(self.influence)} channels does not fit a set-up of "
                f"{len(self.set_up.channels)}"
            )
        if not all(math.isfinite(abs(h.value)) and h.value != 0 for h in self.influence):
            raise InputError("an influence coefficient must be a finite number other than 0")
        if not (math.isfinite(self.speed) and self.speed > 0):
            raise InputError("an influence coefficient needs its speed", todo="give speed_rpm")
        if self.runs < 1 or self.determinations < 1:
            raise InputError("an influence coefficient comes of one run or more")
        if self.scatter is not None and not (math.isfinite(self.scatter) and self.scatter >= 0):
            raise InputError(f"{self.scatter:g} is no scatter of influence coefficients")

    def to_json(self) -> dict[str, Any]:
        """Put it into plain data in trade units (per g mm), units in the names."""
        unit = self.set_up.unit
        return {
            "set_up": self.set_up.to_json(),
            "speed_rpm": rpm_from_rad_s(self.speed),
            "influence_per_gmm": [
                {
                    "unit": f"{unit}/(g mm)",
                    "re": h.value.real * _PER_GMM,
                    "im": h.value.imag * _PER_GMM,
                    "variance_re": h.covariance.re * _PER_GMM**2,
                    "variance_im": h.covariance.im * _PER_GMM**2,
                    "covariance": h.covariance.cross * _PER_GMM**2,
                }
                for h in self.influence
            ],
            "when": None if self.when is None else self.when.isoformat(),
            "runs": self.runs,
            "has_phase": self.has_phase,
            "determinations": self.determinations,
            "scatter_percent": None if self.scatter is None else 100 * self.scatter,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> StoredCoefficient:
        """Rebuild it from `to_json`.

        Raises
        ------
        InputError
            If a key is missing or holds something else.
        """
        scatter = _number(data, "scatter_percent", optional=True)
        return cls(
            set_up=SetUp.from_json(_object(data, "set_up")),
            speed=rad_s_from_rpm(_needed(data, "speed_rpm")),
            influence=tuple(_coefficient(entry) for entry in _list(data, "influence_per_gmm")),
            when=_date(data, "when"),
            runs=int(_needed(data, "runs")),
            has_phase=bool(data.get("has_phase", True)),
            determinations=int(_needed(data, "determinations")),
            scatter=None if scatter is None else scatter / 100,
        )


def coefficient_of(solution: Solution, set_up: SetUp, when: date | None = None) -> StoredCoefficient:
    """Make a coefficient to keep from a solved job.

    Parameters
    ----------
    solution : Solution
        Solved from runs with different masses.
    set_up : SetUp
        Of the job.
    when : date, optional
        Day of the job.

    Returns
    -------
    StoredCoefficient
        At the speed of the job's first run.

    Raises
    ------
    InputError
        If the speed is not known, or the coefficient only comes from one that was known beforehand.
    """
    answer = solution.answer
    if answer.influence_from == "known":
        raise InputError(
            "no run of this job tells the influence coefficient: it came from a stored one",
            todo="add a run with a trial mass or a correction",
        )
    if solution.speed is None:
        raise InputError("an influence coefficient needs its speed", todo="give speed_rpm")
    has_phase = answer.method == "influence"
    # without phase the angle is relative to a vector whose own angle was chosen: only the size is a fact
    influence = answer.influence if has_phase else tuple(_size_only(h) for h in answer.influence)
    return StoredCoefficient(set_up, solution.speed, influence, when, len(solution.runs), has_phase)


def _size_only(h: UncertainComplex) -> UncertainComplex:
    return UncertainComplex(complex(h.amplitude), Covariance(h.sd_amplitude**2, 0.0))


def average(coefficients: Sequence[StoredCoefficient]) -> StoredCoefficient:
    """Put several determinations together; their scatter goes along.

    Parameters
    ----------
    coefficients : sequence of StoredCoefficient
        Each of one job, of one set-up, all with phase or all without, at speeds within 1 %.

    Returns
    -------
    StoredCoefficient
        Plain mean at the mean speed. Its covariance is the larger one of what measurements and scatter make
        of the mean; `trust` adds what the scatter means for the next job.

    Raises
    ------
    InputError
        If they do not belong together.
    """
    _check_alike(coefficients)
    if len(coefficients) == 1:
        return coefficients[0]
    count = len(coefficients)
    speed = float(np.mean([c.speed for c in coefficients]))
    values = np.array([[h.value * (speed / c.speed) ** 2 for h in c.influence] for c in coefficients])
    mean = values.mean(axis=0)
    deviations = values / mean - 1
    scatter = math.sqrt(
        float(np.sum(np.abs(deviations) ** 2)) / (2 * (count - 1) * len(mean))  # two components each
    )
    return StoredCoefficient(
        set_up=coefficients[0].set_up,
        speed=speed,
        influence=tuple(
            UncertainComplex(complex(h), _of_mean([c.influence[k] for c in coefficients], scatter * abs(h)))
            for k, h in enumerate(mean)
        ),
        when=max((c.when for c in coefficients if c.when is not None), default=None),
        runs=sum(c.runs for c in coefficients),
        has_phase=coefficients[0].has_phase,
        determinations=count,
        scatter=scatter,
    )


def _of_mean(found: Sequence[UncertainComplex], scatter: float) -> Covariance:
    measured = np.sum([h.covariance.matrix for h in found], axis=0) / len(found) ** 2
    seen = scatter**2 / len(found) * np.eye(2)
    return Covariance.of_matrix(measured if np.trace(measured) >= np.trace(seen) else seen)


def _check_alike(coefficients: Sequence[StoredCoefficient]) -> None:
    if not coefficients:
        raise InputError("there is no influence coefficient to take the mean of")
    if len({c.set_up for c in coefficients}) > 1 or len({c.has_phase for c in coefficients}) > 1:
        raise InputError(
            "influence coefficients of different set-ups have no mean", todo="keep them apart by set-up"
        )
    if any(c.determinations > 1 for c in coefficients):
        raise InputError(
            "a mean of means loses the scatter", todo="give the coefficient of each job by itself"
        )
    speeds = [c.speed for c in coefficients]
    if max(speeds) > 1.01 * min(speeds):
        raise InputError(
            "influence coefficients at different speeds have no mean", todo="keep them apart by speed"
        )


def _coefficient(entry: Any) -> UncertainComplex:
    if not isinstance(entry, Mapping):
        raise InputError("an influence coefficient is an object with re, im and their variances")
    value = complex(_needed(entry, "re"), _needed(entry, "im")) / _PER_GMM
    parts = [_needed(entry, key) / _PER_GMM**2 for key in ("variance_re", "variance_im", "covariance")]
    return UncertainComplex(value, Covariance(*parts))


def _text(data: Mapping[str, Any], key: str) -> str:
    value = data.get(key, "")
    if not isinstance(value, str):
        raise InputError(f"{key} must be a text")
    return value


def _number(data: Mapping[str, Any], key: str, *, optional: bool = False) -> float | None:
    value = data.get(key)
    if value is None and optional:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} must be a number")
    return float(value)


def _needed(data: Mapping[str, Any], key: str) -> float:
    value = _number(data, key)
    assert value is not None
    return value


def _list(data: Mapping[str, Any], key: str) -> list[Any]:
    value = data.get(key)
    if not isinstance(value, list):
        raise InputError(f"{key} must be a list")
    return value


def _object(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = data.get(key)
    if not isinstance(value, Mapping):
        raise InputError(f"{key} must be an object")
    return value


def _date(data: Mapping[str, Any], key: str) -> date | None:
    value = data.get(key)
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise InputError(f"{key} must be a day such as 2026-05-31, not {value!r}") from None

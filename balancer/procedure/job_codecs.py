"""The values of a job as plain data: each key carries the unit in which the trade gives it.

A key that is renamed or added changes what job files and the history hold already.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Blade, Places, Ring, Slot, Spots
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import Strip, Tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.codec import (
    COUNT,
    DEGREES,
    GRADE,
    GRAM_MILLIMETRES,
    GRAMS,
    GRAMS_PER_M2,
    MILLIMETRES,
    NUMBER,
    PER_GRAM_MILLIMETRE,
    RPM,
    TEXT,
    YES_NO,
    Many,
    Maybe,
    Number,
    Plain,
    Record,
)
from balancer.procedure.coefficients import SetUp
from balancer.procedure.job import Job, JobRun, Limits, SensorCheck, Stand
from balancer.procedure.part import Part


@dataclass(frozen=True)
class _Figures:
    """The figures of a finding: numbers and words by name."""

    def out(self, value: Any) -> dict[str, Any]:
        return dict(value)

    def take(self, data: Any, path: str) -> tuple[tuple[str, Any], ...]:
        if not isinstance(data, dict) or not all(type(v) in (int, float, str) for v in data.values()):
            raise InputError(f"{path} must hold numbers and words by name", todo="correct it")
        return tuple(data.items())


@dataclass(frozen=True)
class _Vector:
    """A complex number with its covariance; `scale` converts its unit."""

    scale: Number = NUMBER

    def out(self, value: UncertainComplex) -> dict[str, float]:
        factor = self.scale.out(1.0)
        covariance = value.covariance
        return {
            "re": value.value.real * factor,
            "im": value.value.imag * factor,
            "var_re": covariance.re * factor**2,
            "var_im": covariance.im * factor**2,
            "cov": covariance.cross * factor**2,
        }

    def take(self, data: Any, path: str) -> UncertainComplex:
        re, im, var_re, var_im, cov = _NUMBERS.take(data, path)
        factor = self.scale.take(1.0, path)
        covariance = Covariance(var_re * factor**2, var_im * factor**2, cov * factor**2)
        return UncertainComplex(complex(re, im) * factor, covariance)


_NUMBERS = Record(
    lambda **values: tuple(values.values()),
    {key: (key, NUMBER) for key in ("re", "im", "var_re", "var_im", "cov")},
)
_AMPLITUDE = Record(Amplitude, {"value": ("amplitude", NUMBER), "sd": ("sd_amplitude", NUMBER)})


class _Reading:
    """A reading with phase, or an amplitude without."""

    def out(self, value: Any) -> dict[str, Any]:
        return _AMPLITUDE.out(value) if isinstance(value, Amplitude) else _Vector().out(value)

    def take(self, data: Any, path: str) -> UncertainComplex | Amplitude:
        with_phase = not (isinstance(data, dict) and "amplitude" in data)
        found: UncertainComplex | Amplitude = (_Vector() if with_phase else _AMPLITUDE).take(data, path)
        return found


_FINDING = Record(
    Finding,
    {
        "code": ("code", TEXT),
        "severity": ("severity", Plain(str, ("info", "warning", "error"))),
        "figures": ("figures", _Figures()),
    },
)
_TAPE = Record(
    Tape,
    {
        "name": ("name", TEXT),
        "areal_density": ("g_m2", GRAMS_PER_M2),
        "width": ("width_mm", MILLIMETRES),
        "weighed": ("weighed", YES_NO),
    },
)
_STRIP = Record(
    Strip, {"tape": ("tape", _TAPE), "length": ("length_mm", MILLIMETRES), "layers": ("layers", COUNT)}
)
_MASS = Record(
    Mass, {"mass": ("mass_g", GRAMS), "radius": ("radius_mm", MILLIMETRES), "angle": ("angle_deg", DEGREES)}
)
PIECE = Record(
    Piece,
    {
        "where": ("where", TEXT),
        "kind": ("kind", Plain(str, ("tape", "drop", "washer", "removed", "mass"))),
        "amount": ("mass_g", GRAMS),
        "radius": ("radius_mm", MILLIMETRES),
        "angle": ("angle_deg", DEGREES),
        "strip": ("strip", Maybe(_STRIP)),
        "along_blade": ("along_blade", YES_NO),
        "faces": ("faces", COUNT),
    },
)
_STOCK = Record(
    Stock,
    {
        "tape": ("tape", Maybe(_TAPE)),
        "length_step": ("length_step_mm", MILLIMETRES),
        "shortest": ("shortest_mm", MILLIMETRES),
        "longest": ("longest_mm", MILLIMETRES),
        "layers": ("layers", COUNT),
        "ring_layers": ("ring_layers", COUNT),
        "drop_step": ("drop_step_g", GRAMS),
        "largest_drop": ("largest_drop_g", GRAMS),
        "washers": ("washers_g", Many(GRAMS)),
        "removal_step": ("removal_step_g", GRAMS),
        "largest_removal": ("largest_removal_g", GRAMS),
        "angle_step": ("angle_step_deg", DEGREES),
        "radius_step": ("radius_step_mm", MILLIMETRES),
    },
)
_BLADE = Record(
    Blade,
    {
        "name": ("name", TEXT),
        "angle": ("angle_deg", DEGREES),
        "inner": ("inner_mm", MILLIMETRES),
        "outer": ("outer_mm", MILLIMETRES),
        "usual": ("usual_mm", Maybe(MILLIMETRES)),
        "faces": ("faces", COUNT),
        "sanded_from": ("sanded_from_mm", Maybe(MILLIMETRES)),
    },
)
_SLOT = Record(Slot, {"angle": ("angle_deg", DEGREES), "span": ("span_deg", DEGREES)})
_RING = Record(
    Ring,
    {
        "name": ("name", TEXT),
        "radius": ("radius_mm", MILLIMETRES),
        "slots": ("slots", Many(_SLOT)),
        "removable": ("removable", YES_NO),
    },
)
_SPOTS = Record(
    Spots,
    {
        "name": ("name", TEXT),
        "radius": ("radius_mm", MILLIMETRES),
        "angles": ("angles_deg", Many(DEGREES)),
        "removable": ("removable", YES_NO),
    },
)
PLACES = Record(
    Places,
    {
        "blades": ("blades", Many(_BLADE)),
        "rings": ("rings", Many(_RING)),
        "spots": ("spots", Many(_SPOTS)),
        "blades_first": ("blades_first", YES_NO),
    },
)
_PART = Record(
    Part,
    {
        "kind": ("kind", Plain(str, ("propeller", "bell", "adapter"))),
        "mass": ("mass_g", GRAMS),
        "places": ("places", PLACES),
        "name": ("name", TEXT),
        "hand": ("hand", Plain(str, ("ccw", "cw"))),
        "grade": ("grade_mm_s", GRADE),
    },
)
_RUN = Record(
    Run,
    {
        "readings": ("readings", Many(_Reading())),
        "masses": ("masses", Many(_MASS)),
        "purpose": ("purpose", TEXT),
        "speed": ("speed_rpm", Maybe(RPM)),
    },
)
JOB_RUN = Record(
    JobRun,
    {
        "run": ("run", _RUN),
        "source": ("source", TEXT),
        "findings": ("findings", Many(_FINDING)),
        "signs": ("signs", Many(_FINDING)),
        "set_aside": ("set_aside", TEXT),
        "fit_error": ("fit_error_gmm", GRAM_MILLIMETRES),
    },
)
_STAND = Record(Stand, {"name": ("name", TEXT), "moving_mass": ("moving_mass_g", Maybe(GRAMS))})
_LIMITS = Record(
    Limits, {"force": ("force_n", Maybe(NUMBER)), "vibration": ("vibration_m_s2", Maybe(NUMBER))}
)
_CHECK = Record(SensorCheck, {"findings": ("findings", Many(_FINDING)), "skipped": ("skipped", YES_NO)})


class _SetUp:
    """A set-up, which has a form of its own."""

    def out(self, value: SetUp) -> dict[str, Any]:
        return value.to_json()

    def take(self, data: Any, path: str) -> SetUp:
        if not isinstance(data, dict):
            raise InputError(f"{path} must be an object with named values", todo="correct it")
        try:
            return SetUp.from_json(data)
        except InputError as error:
            raise InputError(f"{path}: {error.what}", todo=error.todo) from None


JOB = Record(
    Job,
    {
        "part": ("part", _PART),
        "stock": ("stock", _STOCK),
        "speed": ("speed_rpm", Maybe(RPM)),
        "stand": ("stand", _STAND),
        "limits": ("limits", _LIMITS),
        "below": ("bell_below", Plain(str, ("balanced", "unbalanced", "accepted"))),
        "acknowledged": ("cautions_acknowledged", YES_NO),
        "check": ("sensor_check", Maybe(_CHECK)),
        "set_up": ("set_up", Maybe(_SetUp())),
        "known": ("known_influence_per_gmm", Maybe(Many(_Vector(PER_GRAM_MILLIMETRE)))),
        "hint": ("hint_influence_per_gmm", Maybe(Many(_Vector(PER_GRAM_MILLIMETRE)))),
        "fitted": ("fitted", Many(PIECE)),
        "runs": ("runs", Many(JOB_RUN)),
    },
)

"""The truth as a JSON file beside a simulated recording, so that a person can test themselves."""

from __future__ import annotations

import cmath
import json
import math
from pathlib import Path
from typing import Any

from balancer.core.masses import Mass
from balancer.errors import InputError, OperationError
from balancer.simulator.truth import Truth
from balancer.units import (
    degrees_0_360,
    g_from_kg,
    gmm_from_kgm,
    kg_from_g,
    kgm_from_gmm,
    m_from_mm,
    mm_from_m,
    rad_s_from_rpm,
    rpm_from_rad_s,
)

_FORM = "balancer truth 1"


def truth_to_json(truth: Truth) -> dict[str, Any]:
    """Put a truth into the trade's units.

    Parameters
    ----------
    truth : Truth
        The truth of one run.

    Returns
    -------
    dict
        Ready for `json.dumps`; names of numbers end in their unit, angles count against the rotation.
        ``correction`` is what to add to what was fitted.
    """
    return {
        "form": _FORM,
        "speed_rpm": rpm_from_rad_s(truth.speed),
        "rotor_mass_g": g_from_kg(truth.rotor_mass),
        "bell": _unbalance_out(truth.bell),
        "propeller": _unbalance_out(truth.propeller),
        "masses": [
            {
                "mass_g": g_from_kg(mass.mass),
                "radius_mm": mm_from_m(mass.radius),
                "angle_deg": degrees_0_360(mass.angle),
            }
            for mass in truth.masses
        ],
        "magnet_pull": {"force_n": abs(truth.pull), "angle_deg": _degrees(truth.pull)},
        "channels": [
            {
                "name": name,
                "influence_m_s2_per_gmm": abs(h) * kgm_from_gmm(1.0),
                "influence_phase_deg": _degrees(h),
                "amplitude_m_s2": abs(vector),
                "phase_deg": _degrees(vector),
            }
            for name, h, vector in zip(truth.channels, truth.influence, truth.vectors, strict=True)
        ],
        "unbalance": _unbalance_out(truth.unbalance),
        "correction": _unbalance_out(truth.correction),
    }


def write_truth(truth: Truth, path: Path) -> None:
    """Write a truth as a JSON file.

    Parameters
    ----------
    truth : Truth
        The truth of one run.
    path : Path
        The file to make or to replace.

    Raises
    ------
    OperationError
        If the file cannot be written.
    """
    text = json.dumps(truth_to_json(truth), indent=2) + "\n"
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OperationError(
            f"the truth could not be written ({error.strerror})", todo="choose another place", file=path
        ) from error


def read_truth(path: Path) -> Truth:
    """Read a truth back.

    Parameters
    ----------
    path : Path
        A file made by `write_truth`.

    Returns
    -------
    Truth
        The same as was written, but for the rounding of the units.

    Raises
    ------
    InputError
        If the file is missing or is no truth file.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", todo="check the name", file=path) from error
    except UnicodeDecodeError as error:
        raise InputError("is not a text file", todo="give the JSON file", file=path) from error
    except json.JSONDecodeError as error:
        raise InputError(
            f"is not valid JSON ({error.msg})", todo="simulate again", file=path, line=error.lineno
        ) from error
    if not isinstance(data, dict) or data.get("form") != _FORM:
        raise InputError(f"is not a truth file (no form {_FORM!r})", todo="give the JSON file", file=path)
    try:
        return _truth_from(data)
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"a value of the truth is missing or wrong ({error})", todo="simulate again", file=path
        ) from error


def _truth_from(data: dict[str, Any]) -> Truth:
    pull, channels = data["magnet_pull"], data["channels"]
    return Truth(
        speed=rad_s_from_rpm(float(data["speed_rpm"])),
        bell=_unbalance_in(data["bell"]),
        propeller=_unbalance_in(data["propeller"]),
        masses=tuple(
            Mass(kg_from_g(m["mass_g"]), m_from_mm(m["radius_mm"]), math.radians(m["angle_deg"]))
            for m in data["masses"]
        ),
        pull=_polar(pull["force_n"], pull["angle_deg"]),
        rotor_mass=kg_from_g(float(data["rotor_mass_g"])),
        channels=tuple(str(c["name"]) for c in channels),
        influence=tuple(
            _polar(gmm_from_kgm(c["influence_m_s2_per_gmm"]), c["influence_phase_deg"]) for c in channels
        ),
    )


def _degrees(value: complex) -> float:
    return degrees_0_360(cmath.phase(value))


def _polar(size: float, angle_deg: float) -> complex:
    return cmath.rect(size, math.radians(angle_deg))


def _unbalance_out(unbalance: complex) -> dict[str, float]:
    return {"unbalance_gmm": gmm_from_kgm(abs(unbalance)), "angle_deg": _degrees(unbalance)}


def _unbalance_in(data: dict[str, float]) -> complex:
    return _polar(kgm_from_gmm(data["unbalance_gmm"]), data["angle_deg"])

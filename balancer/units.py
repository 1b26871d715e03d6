"""The one place where the trade's units meet SI: explicit functions, each named after both units."""

from __future__ import annotations

import math

G_STANDARD = 9.80665
"""Standard gravity in m/s^2 (CGPM 1901, ISO 80000-3)."""

_MM_IN_INCH = 25.4  # exactly (ISO 80000-3)


def rad_s_from_rpm(rpm: float) -> float:
    """Convert rpm to rad/s."""
    return rpm * math.pi / 30.0


def rpm_from_rad_s(speed: float) -> float:
    """Convert rad/s to rpm."""
    return speed * 30.0 / math.pi


def kg_from_g(grams: float) -> float:
    """Convert g to kg."""
    return grams * 1e-3


def g_from_kg(kilograms: float) -> float:
    """Convert kg to g."""
    return kilograms * 1e3


def m_from_mm(millimetres: float) -> float:
    """Convert mm to m."""
    return millimetres * 1e-3


def mm_from_m(metres: float) -> float:
    """Convert m to mm."""
    return metres * 1e3


def mm_from_in(inches: float) -> float:
    """Convert in to mm."""
    return inches * _MM_IN_INCH


def in_from_mm(millimetres: float) -> float:
    """Convert mm to in."""
    return millimetres / _MM_IN_INCH


def um_from_m(metres: float) -> float:
    """Convert m to um."""
    return metres * 1e6


def kgm_from_gmm(unbalance: float) -> float:
    """Convert an unbalance from g mm to kg m."""
    return unbalance * 1e-6


def gmm_from_kgm(unbalance: float) -> float:
    """Convert an unbalance from kg m to g mm."""
    return unbalance * 1e6


def kg_m2_from_g_m2(areal_density: float) -> float:
    """Convert an areal density from g/m^2 to kg/m^2."""
    return areal_density * 1e-3


def g_m2_from_kg_m2(areal_density: float) -> float:
    """Convert an areal density from kg/m^2 to g/m^2."""
    return areal_density * 1e3


def degrees_0_360(angle: float) -> float:
    """Convert rad to degrees in [0, 360).

    Examples
    --------
    >>> degrees_0_360(-math.pi / 2)
    270.0
    """
    # the second remainder: a tiny negative angle gives exactly 360.0 from the first
    return math.degrees(angle) % 360.0 % 360.0


def acceleration_factor(unit: str) -> float:
    """Give the factor that turns an acceleration in `unit` into m/s^2.

    Parameters
    ----------
    unit : {"m/s^2", "g", "mg"}
        The unit; g is standard gravity.

    Returns
    -------
    float
        The factor.

    Raises
    ------
    KeyError
        If the unit is none of these.
    """
    return {"m/s^2": 1.0, "g": G_STANDARD, "mg": G_STANDARD * 1e-3}[unit]

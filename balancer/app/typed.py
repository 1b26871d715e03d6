"""What a person typed, on any page: all that is missing is told at once; knows no Streamlit."""

from __future__ import annotations

from collections.abc import Mapping

from balancer.errors import InputError
from balancer.units import kg_from_g, m_from_mm


def all_there(wanted: Mapping[str, object]) -> None:
    """Refuse to go on while something is missing: all of it in one sentence.

    Parameters
    ----------
    wanted : mapping of str to object
        What is needed, by how a sentence names it; None where nothing was typed.
    """
    missing = [what for what, value in wanted.items() if value is None]
    if missing:
        raise InputError(f"still missing: {', '.join(missing)}", todo="add it and press again")


def typed_m(millimetres: float | None) -> float | None:
    """Give a length in m; None where nothing was typed."""
    return None if millimetres is None else m_from_mm(millimetres)


def typed_kg(grams: float | None) -> float | None:
    """Give a mass in kg; None where nothing was typed."""
    return None if grams is None else kg_from_g(grams)

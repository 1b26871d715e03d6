"""In which unit vibration is shown and typed: what the person chose, as a value; knows no Streamlit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from balancer.units import acceleration_factor
from balancer.wording import significant

_STORED = frozenset({"m/s^2", "m/s²"})


@dataclass(frozen=True)
class Vibration:
    """A unit in which vibration is shown; everything is computed and kept in m/s^2.

    Parameters
    ----------
    word : str
        For people.
    factor : float
        Turns m/s^2 into it.
    long : str
        So that nobody takes it for grams.
    per_gmm : str
        The word where grams stand beside it.
    """

    word: str
    factor: float
    long: str
    per_gmm: str

    def text(self, value: float, digits: int = 3) -> str:
        """Write an acceleration given in m/s^2, without the unit.

        Examples
        --------
        >>> IN_G.text(9.80665), IN_M_S2.text(9.80665)
        ('1.00', '9.81')
        """
        return significant(self.factor * value, digits)

    def instead_of(self, unit: str) -> Vibration:
        """Give how values of a unit are shown: what is no acceleration in m/s^2 stays as it is."""
        if unit in _STORED:
            return self
        word = unit.replace("^2", "²")
        return Vibration(word, 1.0, word, word)


IN_M_S2 = Vibration("m/s²", 1.0, "m/s²", "m/s²")
IN_G = Vibration("g", 1.0 / acceleration_factor("g"), "g (times gravity, 9.81 m/s²)", "g (gravity)")

CHOICES: Mapping[str, Vibration] = MappingProxyType({"m_s2": IN_M_S2, "g": IN_G})
"""By what stands in the page's address; the usual one first."""

"""A correction as a strip of tape."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from balancer.errors import InputError


@dataclass(frozen=True)
class Tape:
    """A roll of tape.

    Parameters
    ----------
    name : str
        As the person calls it.
    areal_density : float
        In kg/m^2, above 0.
    width : float
        In m, above 0.
    weighed : bool
        True when the person weighed a strip; False for a figure out of a list.

    Raises
    ------
    InputError
        If density or width are not above 0.
    """

    name: str
    areal_density: float
    width: float
    weighed: bool = False

    def __post_init__(self) -> None:
        for what, value in (("mass per area", self.areal_density), ("width", self.width)):
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"the {what} of the tape must be above 0", todo="weigh and measure a strip")

    @classmethod
    def of_strip(cls, name: str, mass: float, length: float, width: float) -> Tape:
        """Make one from a weighed strip: mass in kg, length and width in m.

        Examples
        --------
        A strip of 1 m by 12 mm that weighs 1.8 g has 150 g/m^2:

        >>> round(Tape.of_strip("mine", 1.8e-3, 1.0, 12e-3).areal_density, 6)
        0.15
        """
        if not (length > 0 and width > 0):
            raise InputError(
                "length and width of the weighed strip must be above 0", todo="measure the strip"
            )
        return cls(name, mass / (length * width), width, weighed=True)

    @property
    def mass_per_length(self) -> float:
        """Mass of one metre in kg."""
        return self.areal_density * self.width

    def length_for(self, mass: float) -> float:
        """Give the length in m of a single layer that weighs `mass` (kg)."""
        return mass / self.mass_per_length


# Thickness times density, in kg/m^2, the middle of what is usual: a first guess until a strip has been
# weighed. Common practice, no source.
USUAL_DENSITIES: Mapping[str, float] = MappingProxyType(
    {"packing": 0.048, "polyimide": 0.073, "aluminium": 0.145, "masking": 0.120, "vinyl": 0.200}
)


def usual_tape(kind: str, width: float) -> Tape:
    """Give a roll of a usual kind; its density must be replaced by weighing.

    Parameters
    ----------
    kind : {"packing", "polyimide", "aluminium", "masking", "vinyl"}
        What it is made of.
    width : float
        In m.

    Returns
    -------
    Tape
        The roll, marked as not weighed.

    Raises
    ------
    InputError
        If the kind is not in the list.
    """
    if kind not in USUAL_DENSITIES:
        raise InputError(
            f"no tape named {kind} is in the list",
            todo=f"choose one of {', '.join(USUAL_DENSITIES)} or weigh a strip",
        )
    return Tape(kind, USUAL_DENSITIES[kind], width)


@dataclass(frozen=True)
class Strip:
    """A strip cut for a correction, in layers that lie on each other.

    Parameters
    ----------
    tape : Tape
        The roll.
    length : float
        Of one layer in m.
    layers : int
        How many, 1 or more.
    """

    tape: Tape
    length: float
    layers: int

    @property
    def mass(self) -> float:
        """Mass of all layers in kg."""
        return self.tape.mass_per_length * self.length * self.layers


def cut_strip(tape: Tape, mass: float, longest: float = 0.030) -> Strip:
    """Say how a mass is made of tape: the fewest layers that stay below the longest strip.

    Parameters
    ----------
    tape : Tape
        The roll.
    mass : float
        In kg, not negative.
    longest : float
        Longest strip in m that the place has room for.

    Returns
    -------
    Strip
        The strip.
    """
    whole = tape.length_for(mass)
    layers = max(1, math.ceil(whole / longest - 1e-9))
    return Strip(tape, whole / layers, layers)


def acting_share(length: float, radius: float) -> float:
    """Give the share of its mass with which a strip bent round the shaft acts at its middle.

    A strip of length L along a ring of radius r acts as its mass times (sin a)/a with a = L/2r: the mean of
    its direction cosine.

    Parameters
    ----------
    length : float
        In m, above 0.
    radius : float
        Of the ring in m, above 0.

    Returns
    -------
    float
        1 for a short strip, 2/pi for one that goes half way round.

    Examples
    --------
    >>> round(acting_share(math.pi * 0.014, 0.014), 4)
    0.6366
    """
    half = length / (2 * radius)
    return math.sin(half) / half

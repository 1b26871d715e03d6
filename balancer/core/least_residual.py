"""The test of the least residual unbalance that a bench can reach."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from balancer.errors import InputError

PLACES = 12
"""Angles at which the test mass goes: every 30 degrees."""

TOLERANCE = 0.12
"""Share of their mean by which a reading may differ."""

TEST_MASS = 10.0
"""The test mass in multiples of the least achievable residual unbalance."""


@dataclass(frozen=True)
class LeastResidual:
    """Outcome of the test.

    Parameters
    ----------
    passed : bool
        Whether every reading is within 12 % of the mean.
    mean : float
        Of the readings, in their unit.
    deviations : tuple of float
        Of each reading from the mean, as a share of it.
    implied : float
        Residual unbalance that the spread speaks of, in multiples of the test mass: a residual U under a
        test mass W turned round gives readings from W - U to W + U, once around as a cosine. At 0.1 the
        residual is just what was claimed.
    """

    passed: bool
    mean: float
    deviations: tuple[float, ...]
    implied: float

    @property
    def worst(self) -> float:
        """The largest deviation as a share of the mean."""
        return max(abs(deviation) for deviation in self.deviations)


def least_residual_test(readings: Sequence[float]) -> LeastResidual:
    """Judge the twelve readings of the test.

    Balance first in at most four runs, turn the angular reference by 60 or 90 degrees, then put ten times the
    claimed least residual unbalance at 0, 30 .. 330 degrees. Every reading must lie within 12 % of their mean
    (Bloch and Geitner, Machinery Component Maintenance and Repair, pp. 296-298).

    Parameters
    ----------
    readings : sequence of float
        Twelve amplitudes in the order of the angles, in any unit that grows with the unbalance.

    Returns
    -------
    LeastResidual
        Whether the claim stands, and by how much.

    Raises
    ------
    InputError
        If there are not twelve readings above 0.
    """
    if len(readings) != PLACES:
        raise InputError(
            f"the test takes {PLACES} readings, not {len(readings)}", todo="read at 0, 30 .. 330 degrees"
        )
    if not all(math.isfinite(reading) and reading > 0 for reading in readings):
        raise InputError("every reading must be a number above 0", todo="repeat the run that gave none")
    mean = sum(readings) / PLACES
    deviations = tuple(reading / mean - 1 for reading in readings)
    turns = [2 * math.pi * place / PLACES for place in range(PLACES)]
    along = sum(d * math.cos(t) for d, t in zip(deviations, turns, strict=True))
    across = sum(d * math.sin(t) for d, t in zip(deviations, turns, strict=True))
    return LeastResidual(
        passed=all(abs(deviation) <= TOLERANCE for deviation in deviations),
        mean=mean,
        deviations=deviations,
        implied=2 * math.hypot(along, across) / PLACES,
    )


def claimed_residual(rotor_mass: float, eccentricity: float, planes: int = 1) -> tuple[float, float]:
    """Give the least residual unbalance claimed for a bench, and the unbalance of the test mass.

    Parameters
    ----------
    rotor_mass : float
        In kg, above 0.
    eccentricity : float
        Least distance of the centre of mass from the shaft in m that the bench claims to reach, above 0.
    planes : int
        Correction planes that share the unbalance evenly: 1 for a propeller or a bell.

    Returns
    -------
    least, trial : float
        Unbalance per plane in kg m, the second ten times the first.

    Raises
    ------
    InputError
        If one of them is not above 0.
    """
    for name, value in (("rotor mass", rotor_mass), ("eccentricity", eccentricity), ("planes", planes)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"the {name} must be above 0, not {value:g}", todo=f"give the {name}")
    least = rotor_mass * eccentricity / planes
    return least, TEST_MASS * least

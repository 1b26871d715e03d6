"""A stand with its sensor, and the influence coefficients that were found on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from balancer.errors import InputError
from balancer.history.records.kept import Kept, check_digest, check_id, check_name, check_words
from balancer.history.records.machine import LONGEST_NAME
from balancer.procedure.coefficients import SetUp, StoredCoefficient


@dataclass(frozen=True, kw_only=True)
class StandRecord(Kept):
    """A bench fixture with its sensor.

    Parameters
    ----------
    name : str
        As the person calls it; unique.
    place : str
        Where the sensor sits, in the person's words.
    moving_mass : float or None
        All that shakes with the sensor in kg, above 0; None when not known.
    set_up : SetUp or None
        Sensor and pick-up as last used here, under the stand's name; None until something was recorded.
    photo : str
        Digest of a photo in the store; empty for none.
    words : str
        What else the person says.
    """

    name: str
    place: str = ""
    moving_mass: float | None = None
    set_up: SetUp | None = None
    photo: str = ""
    words: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        check_name("the name of the stand", self.name, LONGEST_NAME)
        check_words("the place of the sensor", self.place)
        check_words("what is said of the stand", self.words)
        if self.photo:
            check_digest("photo", self.photo)
        if self.moving_mass is not None and not 0 < self.moving_mass < math.inf:
            raise InputError("the moving mass of the stand must be above 0", todo="weigh it or leave it out")
        if self.set_up is not None and self.set_up.stand != self.name:
            raise InputError(
                f'the set-up of stand "{self.name}" is that of "{self.set_up.stand}"',
                todo="give both the same name",
            )

    def renamed(self, name: str) -> StandRecord:
        """Give the stand under another name, its set-up too."""
        set_up = None if self.set_up is None else replace(self.set_up, stand=name)
        return replace(self, name=name, set_up=set_up)


@dataclass(frozen=True, kw_only=True)
class CoefficientRecord(Kept):
    """An influence coefficient as one job found it.

    Parameters
    ----------
    stand : str
        Id of its stand.
    coefficient : StoredCoefficient
        With its set-up, speed, day, runs and scatter.
    job : str or None
        Id of the job that found it.
    """

    stand: str
    coefficient: StoredCoefficient
    job: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check_id("stand", self.stand)
        if self.job is not None:
            check_id("job", self.job)

"""A machine: a multirotor with its numbered arms."""

from __future__ import annotations

from dataclasses import dataclass

from balancer.errors import InputError
from balancer.history.records.kept import Kept, check_name, check_words
from balancer.procedure.part import Hand

LONGEST_NAME = 60


@dataclass(frozen=True)
class Arm:
    """A place for one motor.

    Parameters
    ----------
    number : int
        From 1; two motors on one arm count as two.
    hand : {"ccw", "cw"}
        How its propeller turns, seen from the front.
    """

    number: int
    hand: Hand

    def __post_init__(self) -> None:
        if not 1 <= self.number <= 99:
            raise InputError("arms are numbered from 1 to 99", todo="number them anew")
        if self.hand not in {"ccw", "cw"}:
            raise InputError(f'an arm turns ccw or cw, not "{self.hand}"', todo="correct it")


@dataclass(frozen=True, kw_only=True)
class Machine(Kept):
    """A multirotor.

    Parameters
    ----------
    name : str
        As the person calls it; unique.
    arms : tuple of Arm
        One or more, in order, each number once.
    words : str
        What else the person says.
    """

    name: str
    arms: tuple[Arm, ...]
    words: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        check_name("the name of the machine", self.name, LONGEST_NAME)
        check_words("what is said of the machine", self.words)
        numbers = [arm.number for arm in self.arms]
        if not numbers or numbers != sorted(set(numbers)):
            raise InputError(
                "a machine has one arm or more, in order, each number once", todo="number them anew"
            )

    def arm(self, number: int) -> Arm:
        """Give an arm by its number; an `InputError` if there is none of it."""
        for arm in self.arms:
            if arm.number == number:
                return arm
        raise InputError(
            f"{self.name} has no arm {number}",
            todo=f"choose one of {', '.join(str(arm.number) for arm in self.arms)}",
        )

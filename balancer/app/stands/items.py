"""How the outcome of a check is put: what was checked, how it came out, what that means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Mood = Literal["good", "look", "bad", "untold", "seen"]

MOODS: Mapping[Mood, str] = MappingProxyType(
    {
        "good": "Good",
        "look": "Look at it",
        "bad": "Do not use it so",
        "untold": "Cannot be told",
        "seen": "Seen",
    }
)


@dataclass(frozen=True)
class Item:
    """What one check found.

    Parameters
    ----------
    title : str
        What was checked.
    mood : {"good", "look", "bad", "untold", "seen"}
        How it came out.
    text : str
        Figures, what they mean and what to do.
    """

    title: str
    mood: Mood
    text: str


def worst(items: Sequence[Item]) -> Mood:
    """Give the mood of several checks together: what is wrong counts before what cannot be told."""
    moods = {item.mood for item in items}
    order: tuple[Mood, ...] = ("bad", "look", "good", "untold", "seen")
    return next((mood for mood in order if mood in moods), "untold")

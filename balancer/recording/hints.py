"""What a person says about a foreign file that does not say it itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Stamps = Literal["sensor", "arrival"]


@dataclass(frozen=True)
class Hints:
    """Answers to what a reader would have to guess; None where nothing is said.

    A file that states the same fact otherwise is refused: a contradiction is not settled by guessing either.

    Parameters
    ----------
    time_unit : str, optional
        ``s``, ``ms``, ``us`` or ``ns``, of a time column (or of a file of mark times) that names none.
    unit : str, optional
        ``m/s^2``, ``g`` or ``mg``, of acceleration columns that name none.
    rate : float, optional
        Samples a second, for a table without a time column.
    stamps : {"sensor", "arrival"}, optional
        What uneven time stamps are: when a sample was taken, or when it arrived.
    wav_scale : float, optional
        Acceleration in m/s^2 at the full scale of a sound file.
    mark_channel : int, optional
        Channel of a sound file, from 1, that holds the mark pulse; 0 when none does.
    """

    time_unit: str | None = None
    unit: str | None = None
    rate: float | None = None
    stamps: Stamps | None = None
    wav_scale: float | None = None
    mark_channel: int | None = None

    @property
    def of_a_table(self) -> tuple[str, ...]:
        """Options of those that were answered and speak of tables."""
        said = {
            "--time-unit": self.time_unit,
            "--unit": self.unit,
            "--rate": self.rate,
            "--stamps": self.stamps,
        }
        return tuple(option for option, value in said.items() if value is not None)


NOTHING = Hints()
"""What is said when nothing is said."""

"""What is known of the bench, as plain facts: how it stands, what is wished of it, what it has kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import inf, isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from balancer.errors import InputError

if TYPE_CHECKING:
    from balancer.live.running import LiveVectors

BAND = 0.02
"""The speed is steady when fastest and slowest differ by no more than this fraction,"""

HOLD = 3.0
"""for so many seconds."""

BenchState = Literal["off", "starting", "running", "lost", "stopped"]
"""off: nothing was started yet. lost: the source went away, could not be opened, or its process died.
stopped: at somebody's wish, or because a file came to its end."""

BUSY: tuple[BenchState, ...] = ("starting", "running")
"""States in which no other source can be started."""

CaptureState = Literal["waiting", "recording", "done", "failed"]


@dataclass(frozen=True)
class Wish:
    """What is to be cut out of the stream, once the speed is steady.

    Parameters
    ----------
    owner : str
        Whose it is, such as the key of a job.
    label : str
        What it is, for people.
    revolutions : int
        At least so many.
    band, hold : float
        Steady: fastest and slowest speed differ by no more than this fraction, for so many seconds.
    marks : bool
        Whether it must have marks. If it need not, and the speed is unknown: it begins once the vibration
        has kept its level for `hold` s (which that of a rotor at rest does, too),
    seconds : float
        and lasts so long.

    Raises
    ------
    InputError
        If a number is out of its range.
    """

    owner: str
    label: str
    revolutions: int = 400
    band: float = BAND
    hold: float = HOLD
    marks: bool = True
    seconds: float = 8.0

    def __post_init__(self) -> None:
        ranges = {
            "revolutions": (self.revolutions, 10, 20_000),
            "band": (self.band, 0.001, 0.5),
            "hold": (self.hold, 0.5, 60.0),
            "seconds": (self.seconds, 0.5, 600.0),
        }
        for name, (value, least, most) in ranges.items():
            if not (isfinite(value) and least <= value <= most):
                raise InputError(
                    f"{name} {value:g} is out of range", todo=f"choose from {least:g} to {most:g}"
                )


@dataclass(frozen=True)
class Capture:
    """How it stands with a wish.

    Parameters
    ----------
    wish : Wish
        What was asked for.
    state : {"waiting", "recording", "done", "failed"}
        waiting: for a steady speed.
    share : float
        Of what is to be recorded, 0 to 1; 0 while waiting.
    trouble : str
        Why it failed, a sentence; else empty. While it waits: why it had to begin again, or empty.
    """

    wish: Wish
    state: CaptureState = "waiting"
    share: float = 0.0
    trouble: str = ""

    @property
    def pending(self) -> bool:
        """Whether it still waits or records."""
        return self.state in ("waiting", "recording")


@dataclass(frozen=True)
class BenchFile:
    """A recording that the bench has kept.

    Parameters
    ----------
    name : str
        Of the file.
    path : Path
        Where it is.
    started : datetime
        When, with the time zone of this computer.
    size : int
        In bytes.
    """

    name: str
    path: Path
    started: datetime
    size: int


@dataclass(frozen=True)
class BenchView:
    """How the bench stands at one moment.

    Parameters
    ----------
    state : str
        See `BenchState`.
    source : str
        Its name, as for ``balancer record --source``; empty before the first.
    simulated : bool
        Whether it is a simulated one, which can be told a speed and masses.
    trouble : str
        A sentence on what went wrong, else empty.
    file : Path or None
        What is written now, or was written last; None when there is none.
    started : datetime or None
        When the source was started.
    seconds, samples, lost, gaps : float and int
        What has come: seconds on the device's clock.
    rate : float
        Measured sample rate in Hz, 0 while it is unknown.
    age : float
        Seconds since samples last came; infinite before the first.
    now : LiveVectors or None
        Speed and 1x vectors; None when unknown, or older than `live.running.STALE`.
    steady : bool
        Whether the speed is steady, by the latest wish or the usual band and hold.
    still_for : float
        Seconds for which the speed has stayed within the band.
    capture : Capture or None
        How it stands with the latest wish.
    hello : str
        What the board says of itself, for people.
    marks : int
        Marks that have come; with none, the speed is unknown.
    """

    state: BenchState = "off"
    source: str = ""
    simulated: bool = False
    trouble: str = ""
    file: Path | None = None
    started: datetime | None = None
    seconds: float = 0.0
    samples: int = 0
    lost: int = 0
    gaps: int = 0
    rate: float = 0.0
    age: float = inf
    now: LiveVectors | None = None
    steady: bool = False
    still_for: float = 0.0
    capture: Capture | None = None
    hello: str = ""
    marks: int = 0

    @property
    def busy(self) -> bool:
        """Whether a source is in use."""
        return self.state in BUSY

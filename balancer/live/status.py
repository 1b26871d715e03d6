"""The status file of a recorder: small, whole at every moment, for other processes to look at."""

from __future__ import annotations

import json
import math
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from balancer.live.decoder import Totals
from balancer.live.running import LiveVectors
from balancer.units import degrees_0_360, rpm_from_rad_s

RecorderState = Literal["starting", "waiting", "recording", "finished", "stopped", "lost", "failed"]
"""waiting: for a steady speed. finished: as much as was asked for. stopped: on request. lost: the source is
gone. failed: it could not be written."""


@dataclass(frozen=True)
class Status:
    """How a recording stands.

    Parameters
    ----------
    state : str
        See `RecorderState`.
    file, source : str
        Where to and where from.
    samples : int
        In the file.
    seconds : float
        They last, on the device's clock.
    totals : Totals
        What the decoder has seen.
    steady : bool
        Whether the speed has stayed within the band.
    age : float
        Seconds since something came.
    now : LiveVectors or None
        What the rotor does; None while it is unknown.
    message : str
        The last message of the device.
    error : str
        What went wrong, else empty.
    """

    state: RecorderState
    file: str
    source: str
    samples: int
    seconds: float
    totals: Totals
    steady: bool
    age: float
    now: LiveVectors | None
    message: str = ""
    error: str = ""

    def to_json(self) -> dict[str, Any]:
        """Give it in the trade's units, ready for `json.dumps`; ``written`` is the time of this computer."""
        now = self.now
        return {
            "state": self.state,
            "file": self.file,
            "source": self.source,
            "samples": self.samples,
            "seconds": self.seconds,
            "revolutions": now.revolutions if now else 0,
            "gaps": self.totals.gaps,
            "lost": self.totals.lost,
            "damaged": self.totals.damaged,
            "restarts": max(self.totals.segments - 1, 0),
            "speed_rpm": rpm_from_rad_s(now.speed) if now else None,
            "spread_percent": 100 * now.spread if now else None,
            "steady": self.steady,
            "channels": [
                {
                    "name": vector.channel,
                    "unit": vector.unit,
                    "amplitude": vector.amplitude,
                    "phase_deg": degrees_0_360(vector.lag),
                    "sd_amplitude": vector.sd_amplitude,
                    "sd_phase_deg": math.degrees(vector.sd_lag),
                }
                for vector in (now.recent if now else ())
            ],
            "message": self.message,
            "error": self.error or None,
            "age_s": self.age,
            "written": time.time(),
        }


def write_status(status: Status, path: Path) -> None:
    """Replace the status file in one step.

    Parameters
    ----------
    status : Status
        What to write.
    path : Path
        The file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    part = path.with_name(path.name + ".part")
    part.write_text(json.dumps(status.to_json()) + "\n", encoding="utf-8")
    os.replace(part, path)

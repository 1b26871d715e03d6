"""What the stream has told so far: how much came, how fast the rotor turns, how long it has been still."""

from __future__ import annotations

from math import inf

from balancer.app.bench.capture import Moment
from balancer.app.bench.still import LEVEL_BAND, Level, Still
from balancer.app.bench.view import BAND, HOLD
from balancer.live.running import STALE, LiveVectors, RunningOrders
from balancer.live.segment import DecodedBlock


class Tally:
    """Adds up block by block.

    Attributes
    ----------
    seconds : float
        Of stream so far: the device's clock, over its restarts.
    samples, marks : int
        That have come.
    now : LiveVectors or None
        The newest result.
    speed : Still
        How long the speed has been still.
    """

    def __init__(self) -> None:
        self.seconds, self.samples, self.marks = 0.0, 0, 0
        self.now: LiveVectors | None = None
        self.speed = Still(BAND)
        self._running = RunningOrders(HOLD)
        self._level, self._levels = Still(LEVEL_BAND), Level()
        self._segment, self._newest = -1, 0.0  # time of the newest sample within the segment
        self._turned = -inf  # on the clock of the stream, when the speed was last known

    def add(self, block: DecodedBlock) -> bool:
        """Take what came next; tell whether there is a new result."""
        self._count(block)
        result = self._running.add(block)
        if result is not None:
            self.now, self._turned = result, self.seconds
            self._add_speed(result)
        level = self._levels.add(block.times, block.samples)
        if level is not None:
            self._level.add(self.seconds, level)
        return result is not None

    def let_stillness_begin_anew(self, band: float | None = None) -> None:
        """Forget how long it has been still; from here on the speed is held against this band, if given."""
        self.speed = Still(band or self.speed.band)
        self._level.restart()

    def begin_count(self) -> None:
        """Let revolutions and the 1x vectors of the whole run be counted from here."""
        self._running.restart(self._newest)

    def moment(self, reached: int, whole: int) -> Moment:
        """Say how it stands after so many bytes of the file, and so many of whole records."""
        return Moment(
            clock=self.seconds,
            # by the clock of the stream: a busy computer is no reason to begin a capture again
            turning=self.seconds - self._turned < STALE,
            speed=self.speed,
            level=self._level,
            revolutions=self._running.revolutions,
            reached=reached,
            whole=whole,
        )

    def _count(self, block: DecodedBlock) -> None:
        if block.segment != self._segment:
            self._segment = block.segment
            self._newest = float(block.times[0]) if block.times.size else 0.0
            self.let_stillness_begin_anew()
        if block.times.size:
            self.seconds += float(block.times[-1]) - self._newest
            self._newest = float(block.times[-1])
        self.samples += block.times.size
        self.marks += block.marks.size

    def _add_speed(self, now: LiveVectors) -> None:
        self.speed.add(self.seconds, now.speed)
        if self.speed.seconds > now.span and now.spread > self.speed.band:
            self.speed.restart()  # between two results it left the band

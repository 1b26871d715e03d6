"""A wish on its way to being fulfilled: waits for a steady speed, then finds where to cut the stream."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from balancer.app.bench.still import Still
from balancer.app.bench.view import Capture, CaptureState, Wish
from balancer.errors import OperationError
from balancer.live.running import BLOCK

Then = Callable[[str, bytes], None]
"""What is done with the name and the bytes of what was cut out."""

Begin = Callable[[], bytes]
"""Begins the count of revolutions, and gives the header that a stream needs which begins here."""

TOLERANCE = BLOCK
"""Seconds by which a hold may fall short."""

SPEED_LEFT = "The speed left its band, so it begins again."
LEVEL_LEFT = "The vibration changed its level, so it begins again."

_MORE = 2  # revolutions, because measuring leaves out those that are not whole at either end


@dataclass(frozen=True)
class Moment:
    """What is known after a look at the file.

    Parameters
    ----------
    clock : float
        Seconds of stream so far.
    turning : bool
        Whether the speed is known.
    speed, level : Still
        How long the speed and the level of the vibration have been still, on the same clock.
    revolutions : int
        Since the count was last begun.
    reached, whole : int
        Bytes read from the file, and those up to the end of the last whole record.
    """

    clock: float
    turning: bool
    speed: Still
    level: Still
    revolutions: int
    reached: int
    whole: int


@dataclass(frozen=True)
class Cut:
    """What to take from the file: these bytes, behind a header of their own."""

    header: bytes
    start: int
    stop: int

    def of(self, file: Path) -> bytes:
        """Give these bytes of a file; an `OperationError` if it cannot be read."""
        try:
            with file.open("rb") as whole:
                whole.seek(self.start)
                return self.header + whole.read(self.stop - self.start)
        except OSError as error:
            raise OperationError(f"the recording cannot be read ({error.strerror})", file=file) from None


class Catch:
    """Follows a wish from look to look.

    Parameters
    ----------
    wish : Wish
        What is wanted.
    then : callable
        Takes what was cut out.

    Attributes
    ----------
    capture : Capture
        How it stands.
    """

    def __init__(self, wish: Wish, then: Then) -> None:
        self.capture = Capture(wish)
        self.then = then
        self._header = b""
        self._start, self._begun = 0, 0.0
        self._by_marks = True

    def look(self, moment: Moment, begin: Begin) -> Cut | None:
        """Go on with what is known now; give where to cut once all is there."""
        if self.capture.state == "waiting":
            self._wait(moment, begin)
            return None
        if self.capture.state != "recording":
            return None
        if self._has_changed(moment):
            trouble = SPEED_LEFT if self._by_marks else LEVEL_LEFT
            self.capture = replace(self.capture, state="waiting", share=0.0, trouble=trouble)
            return None
        share = self._share(moment)
        self.capture = replace(self.capture, share=min(share, 1.0))
        return Cut(self._header, self._start, moment.whole) if share >= 1 else None

    def end(self, trouble: str = "") -> None:
        """Note that it is done, or why it failed."""
        state: CaptureState = "failed" if trouble else "done"
        self.capture = Capture(self.capture.wish, state, self.capture.share, trouble)

    def _wait(self, moment: Moment, begin: Begin) -> None:
        wish = self.capture.wish
        self._by_marks = wish.marks or moment.turning
        if self._by_marks and not moment.turning:
            return
        if self._still(moment).seconds < wish.hold - TOLERANCE:
            return
        header = begin()
        if header:
            self._header, self._start, self._begun = header, moment.reached, moment.clock
            self.capture = replace(self.capture, state="recording", trouble="")

    def _has_changed(self, moment: Moment) -> bool:
        """Tell whether it has left its band, stands still, or was thought to stand still and turns."""
        return moment.turning != self._by_marks or self._still(moment).since > self._begun

    def _still(self, moment: Moment) -> Still:
        return moment.speed if self._by_marks else moment.level

    def _share(self, moment: Moment) -> float:
        wish = self.capture.wish
        if self._by_marks:
            return moment.revolutions / (wish.revolutions + _MORE)
        return (moment.clock - self._begun) / wish.seconds

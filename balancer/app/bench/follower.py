"""Follows the file of a recording while it grows: counts, speed, 1x, what is shown, and what is wished."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from math import inf

from balancer.app.bench.capture import TOLERANCE, Catch, Cut, Then
from balancer.app.bench.process import PATIENCE, RecordProcess
from balancer.app.bench.tally import Tally
from balancer.app.bench.view import BAND, HOLD, BenchView, Wish
from balancer.errors import BalancerError, OperationError
from balancer.live.follow import PIECE as END_PIECE
from balancer.live.follow import FollowedFile
from balancer.live.running import STALE
from balancer.live.scope import Scope
from balancer.live.segment import DecodedBlock
from balancer.recording.hello import Hello

PAUSE = 0.045
"""Seconds between two looks at the file: twenty or so a second, which is as lively as eyes can tell."""

AHEAD = 0.5
"""Seconds of stream after which it shows what a source was told: twice what a simulated one makes at once."""

PIECE = 1 << 12
"""Bytes taken in at one look, so that after a pause, too, it looks several times in each second of stream."""

_BEHIND = 8  # full pieces in a row
_log = logging.getLogger(__name__)


class Follower:
    """One source, from its start to its end: the process that records, and a thread that follows its file.

    Parameters
    ----------
    process : RecordProcess
        Just started.
    source : str
        Its name.
    simulated : bool
        Whether it can be told a speed and masses.
    scope : Scope
        Is given all that comes.
    """

    def __init__(self, process: RecordProcess, source: str, simulated: bool, scope: Scope) -> None:
        self.process, self.source, self.simulated = process, source, simulated
        self._scope = scope
        self._tally = Tally()
        self._came = self._moved = -inf  # on this computer's clock: samples, and a new speed
        self._steady = BAND, HOLD
        # what the thread has found out: replaced as a whole, so that others see it all of one moment
        self._seen = BenchView("starting", source, simulated, started=datetime.now().astimezone())
        self._catch: Catch | None = None
        self._catching = threading.Lock()  # over whose wish it is, and whether it is still wanted
        self._telling = threading.Lock()
        self._told, self._shows_at = self.process.told, 0.0
        self._ending = False
        self._thread = threading.Thread(target=self._work, name="bench", daemon=True)
        self._thread.start()

    @property
    def busy(self) -> bool:
        """Whether the source is in use."""
        return self._seen.busy

    def view(self) -> BenchView:
        """Say how it stands, from what is known."""
        seen, catch, came, moved = self._seen, self._catch, self._came, self._moved
        now = time.monotonic()  # read last: nothing has come after it
        fresh = seen.now is not None and now - moved < STALE
        still = seen.still_for if fresh else 0.0
        return replace(
            seen,
            age=now - came,
            now=seen.now if fresh else None,
            steady=fresh and still >= self._steady[1] - TOLERANCE,
            still_for=still,
            capture=catch.capture if catch else None,
        )

    def capture(self, wish: Wish, then: Then) -> None:
        """Wait for a steady speed, then cut so much out and hand it over.

        Raises
        ------
        OperationError
            If another wish is pending, or the source is not in use.
        """
        with self._catching:
            if not self.busy:
                raise OperationError("nothing is running", todo="start a source first")
            if self._catch is not None and self._catch.capture.pending:
                label = self._catch.capture.wish.label
                raise OperationError(f"{label} is being recorded already", todo="wait for it, or drop it")
            self._catch = Catch(wish, then)
            self._steady = wish.band, wish.hold

    def drop_capture(self) -> None:
        """Let the wish go."""
        with self._catching:
            self._catch = None

    def settle(self) -> None:
        """Let what was lost count as stopped: somebody has seen it."""
        if self._seen.state == "lost":
            self._seen = replace(self._seen, state="stopped", trouble="")

    def tell(self, words: Mapping[str, object]) -> None:
        """Tell a simulated source; what was still before does not count any more."""
        with self._telling:
            self.process.tell(**words)
            self._told = True

    def end(self) -> None:
        """End the recording and the thread."""
        self._ending = True
        self.process.end()
        if threading.current_thread() is not self._thread:  # what a capture does may end all
            self._thread.join(PATIENCE)

    def _work(self) -> None:
        try:
            self._follow()
            trouble = self.process.trouble()
        except Exception as error:  # a mistake of ours must not leave a source in use that nobody follows
            _log.exception("the recording could not be followed")
            self.process.end()
            self.process.trouble()
            trouble = f"The recording could not be followed any further ({error})."
        lost = bool(trouble) and not self._ending
        with self._catching:
            # first, so that nobody sees a run waited for from a source that is lost
            if self._catch is not None and self._catch.capture.pending:
                self._catch.end(trouble or "The recording ended before this was complete.")
            file = self._seen.file
            self._seen = replace(
                self._seen,
                state="lost" if lost else "stopped",
                trouble=trouble if lost or self._seen.samples else "",
                file=file if file is not None and file.exists() else None,
            )

    def _follow(self) -> None:
        """Look at the file again and again, until the process has ended and all that it wrote was read."""
        followed, full = None, 0
        try:
            while True:
                alive = self.process.alive  # asked before reading, so that nothing can come afterwards
                followed = followed or self._open()
                piece = self._piece(full)
                more = self._read(followed, piece) if followed else 0
                full = full + 1 if more == piece else 0
                if not alive and not more:
                    break
                if alive and not full:
                    time.sleep(PAUSE)
            if followed:
                self._look(followed, followed.decoder.finish())
        finally:
            if followed:
                followed.close()

    def _piece(self, full: int) -> int:
        """Say how much to take in at one look: more when it has fallen behind, and all when it is to end."""
        if self._ending:
            return END_PIECE
        return PIECE if full < _BEHIND else 4 * PIECE

    def _read(self, followed: FollowedFile, piece: int) -> int:
        """Look at what was added; tell how many bytes it was."""
        before = followed.reached
        self._look(followed, followed.read(piece))
        return followed.reached - before

    def _open(self) -> FollowedFile | None:
        """Open the file once something is in it: Windows lets nobody remove an empty one that is open."""
        try:
            size = self.process.file.stat().st_size
        except OSError:
            return None
        if self._seen.state == "starting":
            self._seen = replace(self._seen, state="running", file=self.process.file)
        return FollowedFile(self.process.file) if size else None

    def _look(self, followed: FollowedFile, blocks: list[DecodedBlock]) -> None:
        for block in blocks:
            self._take(block)
        if self._told:
            self._wait_until_it_shows(followed)
        if blocks:
            self._note(followed)
        with self._catching:
            catch = self._catch if self._catch and self._catch.capture.pending else None
        if catch:
            self._see_to(catch, followed)

    def _wait_until_it_shows(self, followed: FollowedFile) -> None:
        """Let nothing count as still before the stream can show what a simulated source was told."""
        self._tally.let_stillness_begin_anew()
        with self._telling:
            taken = self.process.taken()
            if taken is None or followed.reached < taken:
                self._shows_at = self._tally.seconds + AHEAD
            elif self._tally.seconds >= self._shows_at:
                self._told = False

    def _take(self, block: DecodedBlock) -> None:
        """Take what came next to everybody who wants it."""
        now = time.monotonic()
        if self._tally.add(block):
            self._moved = now
        if block.times.size:
            self._came = now
        self._scope.add(block)

    def _note(self, followed: FollowedFile) -> None:
        """Let others see how it stands now."""
        tally, totals = self._tally, followed.decoder.totals
        self._seen = replace(
            self._seen,
            seconds=tally.seconds,
            samples=tally.samples,
            marks=tally.marks,
            lost=totals.lost,
            gaps=totals.gaps,
            rate=followed.decoder.rate,
            now=tally.now,
            still_for=tally.speed.seconds,
            hello=self._seen.hello or _words(followed.decoder.hello),
        )

    def _see_to(self, catch: Catch, followed: FollowedFile) -> None:
        """See how far a wish is."""
        tally, band = self._tally, catch.capture.wish.band
        if tally.speed.band != band:
            tally.let_stillness_begin_anew(band)

        def begin() -> bytes:
            tally.begin_count()
            return followed.decoder.header()

        cut = catch.look(tally.moment(followed.reached, followed.whole), begin)
        if cut:
            self._hand_over(catch, cut, followed.decoder.form)

    def _hand_over(self, catch: Catch, cut: Cut, form: str) -> None:
        """Give what was cut out to whoever wished for it, in this thread: recording goes on meanwhile."""
        file = self.process.file
        name = f"{file.stem}-{cut.start}.stream{'.csv' if form == 'text' else ''}"
        trouble = ""
        try:
            data = cut.of(file)
            with self._catching:
                wanted = self._catch is catch
            if wanted:
                catch.then(name, data)
        except BalancerError as error:
            trouble = str(error)
        except Exception as error:  # whatever a page does must not end the recording
            _log.exception("what was recorded could not be taken over")
            trouble = f"What was recorded could not be taken over ({error or type(error).__name__})."
        catch.end(trouble)


def _words(hello: Hello | None) -> str:
    """Say what the board says of itself."""
    if hello is None:
        return ""
    named = [word for word in (hello.board, hello.sensor) if word]
    return ", ".join([*named, f"{len(hello.axes)} axes at {hello.rate_hz:g} Hz"])

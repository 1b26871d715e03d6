"""The recorder: what comes from a source goes to a file as it came, and is on the disk within a second."""

from __future__ import annotations

import errno
import os
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from balancer.errors import OperationError
from balancer.live.decoder import StreamDecoder
from balancer.live.running import STALE, RunningOrders
from balancer.live.segment import DecodedBlock
from balancer.live.source import Source
from balancer.live.status import RecorderState, Status, write_status

SYNC_EVERY = 0.4
"""Seconds between two times that all written is made to reach the disk."""

STATUS_EVERY = 0.2
"""Seconds between two status files and two calls for progress."""

_QUEUE = 256


@dataclass(frozen=True)
class Plan:
    """How long to record.

    Parameters
    ----------
    seconds : float, optional
        On the device's clock; left out: without end.
    revolutions : int, optional
        Whole revolutions.
    band, hold : float, optional
        With a band: wait until the speed has stayed within this fraction for `hold` s, then begin.
    """

    seconds: float | None = None
    revolutions: int | None = None
    band: float | None = None
    hold: float = 3.0


class Recorder:
    """Records from an open source into a new file.

    Parameters
    ----------
    source : Source
        Open; the caller closes it.
    path : str or Path
        The file to make.
    plan : Plan
        How long.
    status : str or Path, optional
        A status file to keep up to date.
    progress : callable, optional
        Called with the status as often as that.
    open_file : callable, optional
        Makes the file; for tests.

    Raises
    ------
    OperationError
        If there is a file of that name, or one cannot be made.
    """

    def __init__(
        self,
        source: Source,
        path: str | Path,
        plan: Plan,
        *,
        status: str | Path | None = None,
        progress: Callable[[Status], None] = lambda status: None,
        open_file: Callable[[Path], BinaryIO] = lambda path: path.open("xb", buffering=0),
    ) -> None:
        self._source, self._path, self._plan = source, Path(path), plan
        self._status_path = None if status is None else Path(status)
        self._progress = progress
        self._decoder, self._running = StreamDecoder(), RunningOrders(plan.hold)
        self._state: RecorderState = "starting" if plan.band is None else "waiting"
        self._error = ""
        self._stop = threading.Event()
        self._queue: queue.Queue[bytes] = queue.Queue(_QUEUE)
        self._samples, self._seconds = 0, 0.0
        self._last_time: tuple[int, float] | None = None
        self._came = self._synced = self._told = self._moved = time.monotonic()
        self._written, self._newest = 0, 0.0
        self._before = self._decoder.totals
        self._unsynced = False
        self._file = _make(self._path, open_file)

    def stop(self) -> None:
        """End the recording soon; may be called from a signal handler or another thread."""
        self._stop.set()

    def status(self) -> Status:
        """Say how it stands now."""
        now = self._running.latest if time.monotonic() - self._moved < STALE else None
        return Status(
            state=self._state,
            file=str(self._path),
            source=self._source.name,
            samples=self._samples,
            seconds=self._seconds,
            totals=self._decoder.totals.since(self._before),
            steady=now is not None and now.is_steady(self._plan.band or _USUAL_BAND, self._plan.hold),
            age=time.monotonic() - self._came,
            now=now if self._state in _RUNNING else self._running.latest,
            message=self._decoder.message,
            error=self._error,
        )

    def run(self) -> Status:
        """Record until the plan is fulfilled, the source ends, or `stop` was called.

        Returns
        -------
        Status
            How it ended; ``error`` tells what was kept when it went wrong.
        """
        reader = threading.Thread(target=self._read, name="reader", daemon=True)
        try:
            self._tell(first=True)
            reader.start()
            while self._state in _RUNNING:
                self._turn(reader)
        finally:
            self._stop.set()
            if reader.ident is not None:
                reader.join(timeout=2.0)
            self._finish_file()
        self._running.renew()
        self._tell(last=True)
        return self.status()

    def _read(self) -> None:
        """Do nothing but read, so that a slow disk costs no bytes."""
        while not self._stop.is_set() and self._source.state == "open":
            data = self._source.read()
            while data and not self._stop.is_set():
                try:
                    self._queue.put(data, timeout=0.1)
                    break
                except queue.Full:
                    continue

    def _turn(self, reader: threading.Thread) -> None:
        """Take what came, and look after the disk and those who watch."""
        alive = reader.is_alive()
        data = self._take()
        if data:
            self._came = time.monotonic()
            self._handle(data)
        elif self._stop.is_set():
            self._state = "stopped"
        elif not alive:
            self._end_of_source()
        self._sync()
        self._tell()

    def _take(self) -> bytes:
        pieces = []
        try:
            pieces.append(self._queue.get(timeout=0.02))
            while len(pieces) < _QUEUE:
                pieces.append(self._queue.get_nowait())
        except queue.Empty:
            pass
        return b"".join(pieces)

    def _handle(self, data: bytes) -> None:
        if self._state == "starting":
            self._state = "recording"
        if self._state == "recording" and not self._write(data):
            return
        for block in self._decoder.feed(data):
            if self._running.add(block) is not None:
                self._moved = time.monotonic()
            if block.times.size:
                self._newest = float(block.times[-1])
            if self._state == "recording":
                self._count(block)
        if self._state == "waiting":
            self._begin_when_steady()
        elif self._fulfilled():
            self._state = "finished"

    def _begin_when_steady(self) -> None:
        now = self._running.latest
        assert self._plan.band is not None
        if now is not None and now.is_steady(self._plan.band, self._plan.hold):
            self._state = "recording"
            self._running.restart(self._newest)
            self._before = replace(self._decoder.totals, segments=0)
            self._write(self._decoder.header())

    def _count(self, block: DecodedBlock) -> None:
        if not block.times.size:
            return
        before = self._last_time
        start = before[1] if before and before[0] == block.segment else float(block.times[0])
        self._seconds += float(block.times[-1]) - start
        self._last_time = (block.segment, float(block.times[-1]))
        self._samples += block.times.size

    def _fulfilled(self) -> bool:
        plan = self._plan
        if plan.seconds is not None and self._seconds >= plan.seconds:
            return True
        return plan.revolutions is not None and self._running.revolutions >= plan.revolutions

    def _end_of_source(self) -> None:
        if self._source.state == "lost":
            self._state, self._error = "lost", f"{self._source.trouble}: {self._kept()}"
        elif self._plan.seconds is None and self._plan.revolutions is None:
            self._state = "finished"
        else:
            self._state, self._error = "lost", f"{self._source.name} ended too early: {self._kept()}"

    def _write(self, data: bytes) -> bool:
        view = memoryview(data)
        try:
            while view:
                done = self._file.write(view)
                self._written += done
                view = view[done:]
        except OSError as error:
            why = "the disk is full" if error.errno == errno.ENOSPC else f"writing failed ({error.strerror})"
            self._state, self._error = "failed", f"{why}: {self._kept()}"
            return False
        self._unsynced = True
        return True

    def _kept(self) -> str:
        if not self._written:
            return "nothing was kept"
        return f"the first {self._seconds:.1f} s ({self._samples} samples) are in {self._path}"

    def _sync(self, at_once: bool = False) -> None:
        now = time.monotonic()
        if not self._unsynced or (now - self._synced < SYNC_EVERY and not at_once):
            return
        self._synced, self._unsynced = now, False
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            # what is no file on a disk, such as a pipe, cannot be synchronised and need not be
            if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EROFS):
                self._state = "failed"
                self._error = f"writing failed ({error.strerror}): {self._kept()}"

    def _finish_file(self) -> None:
        self._sync(at_once=True)
        self._file.close()
        if not self._written:
            self._path.unlink(missing_ok=True)

    def _tell(self, first: bool = False, last: bool = False) -> None:
        now = time.monotonic()
        if now - self._told < STATUS_EVERY and not (first or last):
            return
        self._told = now
        status = self.status()
        if self._status_path is not None:
            try:
                write_status(status, self._status_path)
            except OSError:
                if first:
                    raise OperationError(
                        "the status file cannot be written",
                        todo="choose another place",
                        file=self._status_path,
                    ) from None
                # a full disk must not end what can still be saved
        self._progress(status)


_USUAL_BAND = 0.02
_RUNNING = ("starting", "waiting", "recording")


def _make(path: Path, open_file: Callable[[Path], BinaryIO]) -> BinaryIO:
    try:
        return open_file(path)
    except FileExistsError:
        raise OperationError(
            "there is a file of this name already", todo="choose another name", file=path
        ) from None
    except OSError as error:
        raise OperationError(
            f"the file cannot be made ({error.strerror})", todo="check the folder and its space", file=path
        ) from None

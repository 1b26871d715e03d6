"""How a recording ends from outside: Ctrl-C, a termination signal, or a parent process that is gone."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable
from types import FrameType

from balancer.live.recorder import Recorder
from balancer.live.status import Status

_SIGNALS = [
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
]


def run_until_told(
    recorder: Recorder, stdin: int | None = None, command: Callable[[bytes], None] | None = None
) -> Status:
    """Record until the plan is fulfilled or somebody asks for the end; what came is kept in either case.

    Parameters
    ----------
    recorder : Recorder
        Ready to run. Must be called in the main thread.
    stdin : int, optional
        File descriptor whose end means that the parent is gone; lines on it are commands.
    command : callable, optional
        Takes each such line.

    Returns
    -------
    Status
        How it ended.
    """

    def stop(number: int, frame: FrameType | None) -> None:
        recorder.stop()

    before = {number: signal.signal(number, stop) for number in _SIGNALS}
    if stdin is not None:
        # a daemon that reads the descriptor itself: a buffered reader would block the end of the program
        watch = threading.Thread(target=_watch, args=(stdin, recorder, command), name="stdin", daemon=True)
        watch.start()
    try:
        return recorder.run()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _watch(stdin: int, recorder: Recorder, command: Callable[[bytes], None] | None) -> None:
    rest = b""
    while True:
        try:
            data = os.read(stdin, 4096)
        except OSError:
            data = b""
        if not data:
            recorder.stop()
            return
        *lines, rest = (rest + data).split(b"\n")
        for line in lines:
            if line.strip() and command is not None:
                command(line)

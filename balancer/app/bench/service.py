"""The bench: one source at a time, for all tabs and pages."""

from __future__ import annotations

import math
import os
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from balancer.app.bench.follower import Follower
from balancer.app.bench.kept import kept_files, new_file
from balancer.app.bench.process import COMMAND, RecordProcess
from balancer.app.bench.view import BenchFile, BenchView, Wish
from balancer.contract.job import mass_json
from balancer.core.masses import Mass
from balancer.errors import InputError, OperationError
from balancer.live.ports import device_of_board
from balancer.live.scope import Scope
from balancer.simulator.live_source import FASTEST, SLOWEST
from balancer.units import rad_s_from_rpm


class Bench:
    """The source in use: a `record` process of its own, the file that it writes, a thread that follows it.

    Every call returns within a few tenths of a second, and any thread may make it. A source takes about a
    second to open (a board whose speed must be found, some seconds): meanwhile the state is "starting"; what
    then stands in the way is told in `view().trouble`, with the state "lost", and `pick_up` tries again.

    Parameters
    ----------
    home : Path
        Folder of the person's data.
    command : sequence of str, optional
        How to start `balancer record`.
    extra : sequence of str, optional
        Further arguments of it, for tests.

    Attributes
    ----------
    scope : Scope
        What is shown of the running rotor; is given all that comes.
    """

    def __init__(self, home: Path, *, command: Sequence[str] = COMMAND, extra: Sequence[str] = ()) -> None:
        self.scope = Scope()
        self._home, self._command = home, (*command, *extra)
        self._control = threading.RLock()  # starting and ending, one at a time
        self._follower: Follower | None = None
        self._closed = False
        self._told: dict[str, Any] = {}  # the simulated bench's speed and masses, for picking it up

    def start(self, source: str, *, masses: Sequence[Mass] = ()) -> None:
        """Begin to record a source into a new file.

        Parameters
        ----------
        source : str
            As for ``balancer record --source``.
        masses : sequence of Mass
            On the rotor of a simulated one from the beginning.

        Raises
        ------
        InputError
            If there is no such port, board or file.
        OperationError
            If a source is in use, or the recording cannot be started.
        """
        with self._control:
            self._refuse_when_busy()
            check_source(source)
            self._told = {"masses": [mass_json(mass) for mass in masses]} if masses else {}
            self._begin(source)

    def pick_up(self) -> None:
        """Begin again with the source that was lost or stopped, into a new file.

        Raises
        ------
        InputError, OperationError
            As `start`, or if there was none yet.
        """
        with self._control:
            self._refuse_when_busy()
            if self._follower is None:
                raise OperationError("no source was used yet", todo="start one")
            check_source(self._follower.source)
            self._begin(self._follower.source)

    def stop(self) -> None:
        """End the recording, which stays on the disk; does nothing when nothing runs."""
        with self._control:
            if self._follower is not None:
                self._follower.end()
                self._follower.settle()

    def close(self) -> None:
        """End all, because the server ends; nothing can be started any more."""
        self._closed = True
        self.stop()

    def tell(self, *, speed_rpm: float | None = None, masses: Sequence[Mass] | None = None) -> None:
        """Change what the simulated bench does; a speed is steady anew from here on.

        Parameters
        ----------
        speed_rpm : float, optional
            The motor follows within a second.
        masses : sequence of Mass, optional
            These and no others are on the rotor.

        Raises
        ------
        InputError
            If the motor does not reach that speed.
        OperationError
            If no simulated bench is running.
        """
        follower = self._follower
        if follower is None or not follower.busy or not follower.simulated:
            raise OperationError("no simulated bench is running", todo="start it first")
        words: dict[str, Any] = {}
        if speed_rpm is not None:
            if not (math.isfinite(speed_rpm) and SLOWEST <= rad_s_from_rpm(speed_rpm) <= FASTEST):
                raise InputError(
                    "the simulated motor runs at 300 to 30,000 rpm", todo="ask for a speed in between"
                )
            words["speed_rpm"] = float(speed_rpm)
        if masses is not None:
            words["masses"] = [mass_json(mass) for mass in masses]
        self._told |= words
        follower.tell(words)

    def view(self) -> BenchView:
        """Say how it stands; made from what is known, without a look at the disk."""
        return self._follower.view() if self._follower else BenchView()

    def capture(self, wish: Wish, then: Callable[[str, bytes], None]) -> None:
        """Cut a piece out of the stream once the speed is steady.

        Parameters
        ----------
        wish : Wish
            How much, and what steady means.
        then : callable
            Takes a file name and the bytes of a complete stream file, in the bench's own thread: the
            recording goes on meanwhile. What it raises makes the capture fail, with its sentence.

        Raises
        ------
        OperationError
            If nothing is running, or another wish is pending.
        """
        if self._follower is None:
            raise OperationError("nothing is running", todo="start a source first")
        self._follower.capture(wish, then)

    def drop_capture(self) -> None:
        """Let the wish go; does nothing when there is none."""
        if self._follower is not None:
            self._follower.drop_capture()

    def recordings(self) -> tuple[BenchFile, ...]:
        """List the recordings kept from earlier, latest first, without the one that is being written."""
        view = self.view()
        using = view.file if view.busy else None
        return tuple(file for file in kept_files(self._home) if file.path != using)

    def _refuse_when_busy(self) -> None:
        if self._closed:
            raise OperationError("the program is ending", todo="start it again")
        if self._follower is not None and self._follower.busy:
            raise OperationError(f"{self._follower.source} is in use", todo="stop it first")

    def _begin(self, source: str) -> None:
        process = RecordProcess(source, new_file(self._home), self._command)
        self.scope.clear()
        simulated = source.partition(":")[0] == "simulated"
        if simulated and self._told:
            process.tell(**self._told)
        self._follower = Follower(process, source, simulated, self.scope)


def check_source(source: str) -> None:
    """Refuse what plainly is not there, without opening anything.

    Parameters
    ----------
    source : str
        As for ``balancer record --source``.

    Raises
    ------
    InputError
        If there is no such port, board or file.
    """
    kind, _, rest = source.partition(":")
    if kind == "board":
        device_of_board(rest)
    elif kind == "file" and not Path(rest).is_file():
        raise InputError("there is no such file", todo="check the name", file=rest)
    elif kind == "serial" and os.name == "posix" and "://" not in rest and not Path(rest).exists():
        raise InputError("there is no such port", todo="plug the board in", file=rest)
    elif not source.strip():
        raise InputError("no source was named", todo="choose one")

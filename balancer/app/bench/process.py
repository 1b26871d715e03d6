"""The process that records: started, told, ended, and asked why it ended."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from balancer.app.plain import in_page_words
from balancer.errors import OperationError
from balancer.wording import capital

COMMAND = (sys.executable, "-P", "-c", "from balancer.cli import main; main()", "record")
"""How to start `balancer record`, whatever the name under which it was installed."""

PATIENCE = 3.0
"""Seconds that the process has to end when it is told to, before it is ended by force."""

ENDED = ("finished", "stopped")
"""States in which nothing went wrong."""


_LEAST_ROOM = 1 << 16  # bytes: less than that, and a recording cannot begin
_TAKEN = re.compile(r"^(\d+) taken after byte (\d+)$", re.MULTILINE)


class RecordProcess:
    """One run of `balancer record` into one file.

    Parameters
    ----------
    source : str
        Name of the source.
    file : Path
        The file to make; its status and what it says go into files beside it until it has ended.
    command : sequence of str
        How to start the command.

    Raises
    ------
    OperationError
        If it cannot be started.
    """

    def __init__(self, source: str, file: Path, command: Sequence[str]) -> None:
        self.file = file
        self._status = file.with_name(f"{file.name}.status.json")
        self._log = file.with_name(f"{file.name}.log")
        self._saying, self._lines = threading.Lock(), 0
        arguments = ["--source", source, "--out", str(file), "--status", str(self._status)]
        try:
            with self._log.open("wb") as log:
                self._process = subprocess.Popen(
                    [*command, *arguments, "--until-stdin-closes"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.DEVNULL,
                    stderr=log,
                    # on Windows, no window of its own opens beside the browser
                    creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
                )
        except OSError as error:
            raise OperationError(f"the recording cannot be started ({error.strerror})", file=file) from None

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    @property
    def told(self) -> bool:
        """Whether anything was told to the source."""
        return self._lines > 0

    @property
    def alive(self) -> bool:
        """Whether it still runs."""
        return self._process.poll() is None

    def tell(self, **words: object) -> None:
        """Send a line to the source; a process that is gone shows elsewhere."""
        stdin = self._process.stdin
        assert stdin is not None
        with self._saying, suppress(OSError, ValueError):
            self._lines += 1
            stdin.write(json.dumps(words).encode() + b"\n")
            stdin.flush()

    def taken(self) -> int | None:
        """Give the byte of the file after which all that was told can show; None while it is not known."""
        taken = _TAKEN.findall(self._log_text())
        return int(taken[-1][1]) if taken and int(taken[-1][0]) >= self._lines else None

    def let_end(self) -> None:
        """Tell it to end, as it also is when this process dies; returns at once."""
        stdin = self._process.stdin
        assert stdin is not None
        with self._saying, suppress(OSError):
            stdin.close()

    def end(self) -> None:
        """Tell it to end and wait until it has; what it recorded is whole."""
        self.let_end()
        if not self.file.exists():  # it is still looking for the board, and listens to nobody meanwhile
            self._process.terminate()
        for force in (self._process.terminate, self._process.kill):
            try:
                self._process.wait(PATIENCE)
                return
            except subprocess.TimeoutExpired:
                force()
        self._process.wait()

    def trouble(self) -> str:
        """Say why it ended, once it has, in a sentence or nothing; tidy up beside the file."""
        self.let_end()  # lets go of our end of the pipe
        try:
            state, error = self._last_status()
            code = self._process.wait(PATIENCE)
            if error:
                return _sentence(error.rstrip(".") + ".")
            if state in ENDED:
                return ""
            kept = "what came before is kept" if self.file.exists() else "nothing is kept of it"
            by_itself = f"The recording ended by itself (status {code}); {kept}."
            if self._disk_is_full():  # then it could not even write down why
                by_itself = "The disk is full, so the recording ended: make room and start it again."
            return _sentence(self._last_words()) or by_itself
        finally:
            for path in (self._status, self._log):
                with suppress(OSError):
                    path.unlink()

    def _disk_is_full(self) -> bool:
        with suppress(OSError):
            return shutil.disk_usage(self.file.parent).free < _LEAST_ROOM
        return False

    def _last_status(self) -> tuple[str, str]:
        try:
            said = json.loads(self._status.read_text("utf-8"))
            return str(said["state"]), str(said["error"] or "")
        except (OSError, ValueError, KeyError, TypeError):
            return "", ""

    def _last_words(self) -> str:
        """Give the line on which a command that fails says why; the cautions before it are no reason."""
        lines = [line.strip() for line in self._log_text().splitlines() if not line.startswith("  - ")]
        said = [line for line in lines if line and not _TAKEN.match(line)]
        return said[-1] if said and not said[-1].endswith(":") else ""

    def _log_text(self) -> str:
        try:
            return self._log.read_text("utf-8", "replace")
        except OSError:
            return ""


def _sentence(text: str) -> str:
    """Make a sentence for a page of what the command says; the name of a source stays as it is written."""
    word = text.partition(" ")[0]
    return in_page_words(capital(text) if word.isalpha() else text)

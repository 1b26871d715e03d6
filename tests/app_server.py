"""The page's server for tests: started as a person starts it, ended as a person ends it."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

BALANCER_APP = ("-c", "from balancer.cli import main; main()", "app", "--no-browser")


@dataclass(frozen=True)
class Server:
    """A running server; its log is a file, since one whose output nobody reads may not end."""

    process: subprocess.Popen[bytes]
    log: Path
    port: int

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextlib.contextmanager
def running(folder: Path, command: tuple[str, ...] = BALANCER_APP, *, clean: bool = True) -> Iterator[Server]:
    """Start a server in a folder of its own, wait until it is well, and end it with Ctrl-C.

    Its log must hold no traceback, unless the test is about one (`clean` is then False). Its environment asks
    for every interface, which the page must not obey.
    """
    log = folder / "server.log"
    environment = {**os.environ, "HOME": str(folder), "STREAMLIT_SERVER_ADDRESS": "0.0.0.0"}
    environment["XDG_DATA_HOME"] = str(folder / "data")  # where the jobs go on Linux
    if command[: len(BALANCER_APP) - 1] == BALANCER_APP[:-1] and "--port" not in command:
        # of its own: two servers that start at the same moment would both take the next free one
        with socket.create_server(("127.0.0.1", 0)) as trial:
            command = (*command, "--port", str(trial.getsockname()[1]))
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, *command], stdout=out, stderr=subprocess.STDOUT, env=environment, cwd=folder
        )
    try:
        yield Server(process, log, _port(process, log))
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
        assert not (clean and "Traceback" in log.read_text())
    finally:
        process.kill()
        process.wait()


def _port(process: subprocess.Popen[bytes], log: Path) -> int:
    end = time.monotonic() + 60
    while time.monotonic() < end and process.poll() is None:
        found = re.search(r"http://127\.0\.0\.1:(\d+)", log.read_text())
        with contextlib.suppress(urllib.error.URLError):
            if found:
                health = f"http://127.0.0.1:{found[1]}/_stcore/health"
                with urllib.request.urlopen(health, timeout=10) as answer:
                    if answer.read() == b"ok":
                        return int(found[1])
        time.sleep(0.05)
    raise AssertionError(f"the server did not start:\n{log.read_text()}")

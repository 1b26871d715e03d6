"""The server behind the page: in this process, for this computer only, its safety settings as flags.

It stands outside `app` because the command line starts it and the two faces never import each other: the
page is named here, not imported.
"""

from __future__ import annotations

import os
import socket
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import click

from balancer.errors import OperationError

ADDRESS = "127.0.0.1"
FIRST_PORT = 8501
_LAST_PORT = FIRST_PORT + 99


def run(*, port: int | None, browser: bool, home: str | None = None) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    port : int or None
        Its port; None takes 8501 or the next free one.
    browser : bool
        Whether to open it in the person's browser.
    home : str, optional
        Folder of the person's data, instead of the usual one.

    Raises
    ------
    OperationError
        If the port asked for is taken or not allowed, or none is free.
    """
    chosen = free_port(port)
    # late, so that a port is refused at once; with all of the page's parts, so that its first paint is quick
    from streamlit.web import cli  # noqa: PLC0415

    import_module("balancer.app.show")
    # straight out, even into a file: whoever started this waits for the address
    click.echo(f"The page is at http://{ADDRESS}:{chosen} (this computer only). Ctrl-C ends it.")
    with suppress(
        click.Abort, KeyboardInterrupt
    ):  # raised once more when all is closed: it is how the page ends
        cli.main(arguments(chosen, browser, home), prog_name="streamlit", standalone_mode=False)


def arguments(port: int, browser: bool, home: str | None = None) -> list[str]:
    """Give the command line of the server.

    Flags beat every settings file and the environment, so that none of these can be changed by accident.

    Parameters
    ----------
    port : int
        Port of the page.
    browser : bool
        Whether to open it in the person's browser.
    home : str, optional
        Folder of the person's data, handed on to the page.

    Returns
    -------
    list of str
        What follows the command's name.
    """
    settings = {
        "server.address": ADDRESS,
        "server.port": str(port),
        "server.headless": _word(not browser),
        "server.showEmailPrompt": "false",
        "server.fileWatcherType": "none",
        "server.maxUploadSize": "50",
        "server.enableCORS": "true",
        "server.enableXsrfProtection": "true",
        "browser.gatherUsageStats": "false",
        "runner.magicEnabled": "false",
        "client.toolbarMode": "viewer",
        "client.showErrorLinks": "false",
        "client.showErrorDetails": "type",
        "logger.hideWelcomeMessage": "true",
    }
    hosts = [f"--server.allowedHosts={host}" for host in ("localhost", ADDRESS)]
    page = str(Path(__file__).parent / "app" / "server.py")
    flags = [*(f"--{name}={value}" for name, value in settings.items()), *hosts]
    return ["run", page, *flags, *(() if home is None else ("--", "--home", home))]


def free_port(asked: int | None) -> int:
    """Give the port asked for if it can be had, or the first free one from 8501 on.

    Parameters
    ----------
    asked : int or None
        What the person asked for.

    Returns
    -------
    int
        A port that was free a moment ago.

    Raises
    ------
    OperationError
        If it cannot be had.
    """
    if asked is not None:
        problem = _problem(asked)
        if problem:
            raise OperationError(
                f"port {asked} cannot be used ({problem})",
                todo="choose another with --port, or leave it out for the next free one",
            )
        return asked
    for port in range(FIRST_PORT, _LAST_PORT + 1):
        if not _problem(port):
            return port
    raise OperationError(
        f"all ports from {FIRST_PORT} to {_LAST_PORT} are taken", todo="choose one with --port"
    )


def _problem(port: int) -> str:
    """Say why a port cannot be had; empty when it can."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        if os.name == "posix":
            # a port whose last connections are still being closed counts as free, as it does for the server
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((ADDRESS, port))
        except OSError as error:
            return (error.strerror or "it is taken").lower()
    return ""


def _word(yes: bool) -> str:
    return "true" if yes else "false"

"""The server behind the page: in this process, for this computer only, its safety settings as flags.

It stands outside `app` because the command line starts it and the two faces never import each other: the
page is named here, not imported.
"""

from __future__ import annotations

import os
import secrets
import socket
import threading
import time
import urllib.error
import urllib.request
import webbrowser
from contextlib import suppress
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

import click

from balancer.errors import OperationError

ADDRESS = "127.0.0.1"
EVERYWHERE = "0.0.0.0"
FIRST_PORT = 8501
_LAST_PORT = FIRST_PORT + 99
_LOCAL = ("localhost", ADDRESS)
_ELSEWHERE = ("198.51.100.1", "10.255.255.254", "172.31.255.254", "192.168.255.254")
"""An address that is nobody's (RFC 5737) and one of each range of private ones (RFC 1918)."""

_PATIENCE = 60.0  # s for the server to come up
_QUIET = 4.0  # s that the first paint has to itself before the other pages are loaded
_FIRST_PAGE = "balancer.app.views.balance"
_LATER = (
    "scipy.signal",
    *(f"balancer.app.views.{page}" for page in ("recordings", "live", "parts", "matching", "stands")),
    "pyarrow",
)
"""What takes long to load and is asked for later: the first spin, the other pages, charts."""


def _new_code() -> str:
    return f"{secrets.randbelow(10**6):06d}"


@dataclass(frozen=True)
class Network:
    """How other computers reach the page.

    Parameters
    ----------
    addresses : tuple of str
        This computer's own in its networks.
    names : tuple of str
        Its names there.
    code : str
        Six digits that are asked for, made for this start.
    """

    addresses: tuple[str, ...]
    names: tuple[str, ...] = ()
    code: str = field(default_factory=_new_code, repr=False)

    @classmethod
    def of_this_computer(cls) -> Network:
        """Look up this computer's addresses; nothing is sent for it.

        Raises
        ------
        OperationError
            If it is in no network.
        """
        found = dict.fromkeys(filter(None, map(_address_towards, _ELSEWHERE)))
        if not found:
            raise OperationError(
                "this computer is in no network", todo="join that of the phone, or leave --network out"
            )
        name = socket.gethostname().lower()
        return cls(tuple(found), (name, f"{name.partition('.')[0]}.local"))


def _address_towards(other: str) -> str:
    """Give the own address that packets to another one would leave from; empty when there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial, suppress(OSError):
        trial.connect((other, 9))  # of a datagram socket: looks the way up and sends nothing
        own = str(trial.getsockname()[0])
        return "" if own.startswith("127.") else own
    return ""


def run(*, port: int | None, browser: bool, home: str | None = None, network: bool = False) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    port : int or None
        Its port; None takes 8501 or the next free one.
    browser : bool
        Whether to open it in the person's browser.
    home : str, optional
        Folder of the person's data, instead of the usual one.
    network : bool, optional
        Let other computers of the network open it, too, with a code.

    Raises
    ------
    OperationError
        If the port asked for is taken or not allowed, or none is free; if there is no network.
    """
    others = Network.of_this_computer() if network else None
    chosen = free_port(port, EVERYWHERE if network else ADDRESS)
    # late, so that a port is refused at once; with all of the page's parts, so that its first paint is quick
    from streamlit.web import cli  # noqa: PLC0415

    import_module("balancer.app.show")
    # a header that says where a request comes from must not be believed: it could say "this computer"
    os.environ.pop("FORWARDED_ALLOW_IPS", None)
    # straight out, even into a file: whoever started this waits for the address
    click.echo("\n".join(welcome(chosen, others)))
    threading.Thread(target=_attend, args=(chosen, browser), daemon=True).start()
    with suppress(
        click.Abort, KeyboardInterrupt
    ):  # raised once more when all is closed: it is how the page ends
        cli.main(arguments(chosen, home, others), prog_name="streamlit", standalone_mode=False)


def welcome(port: int, network: Network | None = None) -> list[str]:
    """Give the lines that tell where the page is and, in plain words, who can open it.

    Parameters
    ----------
    port : int
        Port of the page.
    network : Network, optional
        How other computers reach it; None when they do not.
    """
    here = f"http://{ADDRESS}:{port}"
    if network is None:
        return [f"The page is at {here} (this computer only). Ctrl-C ends it."]
    addresses = " or ".join(f"http://{address}:{port}" for address in network.addresses)
    return [
        f"The page is at {here} on this computer.",
        f"On a phone in the same network: {addresses}",
        f"It asks for this code: {network.code[:3]} {network.code[3:]}",
        "Anyone in this network who knows the code can see your data and work the bench: start it, stop it, "
        "change jobs. Nothing is encrypted, so others in the network could read along and find the code. "
        "Use it in a network of your own, and stay at the bench while a rotor is turned from a phone.",
        "Ctrl-C ends it; the next start makes a new code.",
    ]


def arguments(port: int, home: str | None = None, network: Network | None = None) -> list[str]:
    """Give the command line of the server.

    Flags beat every settings file and the environment, so that none of these can be changed by accident.

    Parameters
    ----------
    port : int
        Port of the page.
    home : str, optional
        Folder of the person's data, handed on to the page.
    network : Network, optional
        How other computers reach the page; None when they do not.

    Returns
    -------
    list of str
        What follows the command's name.
    """
    settings = {
        "server.address": ADDRESS if network is None else EVERYWHERE,
        "server.port": str(port),
        "server.headless": "true",  # the browser is opened here: a server with routes of its own opens none
        "server.showEmailPrompt": "false",
        "server.fileWatcherType": "none",
        "server.maxUploadSize": "50",
        "server.enableCORS": "true",
        "server.enableXsrfProtection": "true",
        "browser.serverAddress": ADDRESS,  # else it asks a server elsewhere which address it has
        "browser.gatherUsageStats": "false",
        "runner.magicEnabled": "false",
        "client.toolbarMode": "viewer",
        "client.showErrorLinks": "false",
        "client.showErrorDetails": "type",
        "logger.hideWelcomeMessage": "true",
    }
    known = _LOCAL if network is None else (*_LOCAL, *network.addresses, *network.names)
    hosts = [f"--server.allowedHosts={host}" for host in known]
    page = str(Path(__file__).parent / "app" / "server.py")
    flags = [*(f"--{name}={value}" for name, value in settings.items()), *hosts]
    # the page's own arguments stay in this process: no list of processes shows the code
    own = [
        *(() if home is None else ("--home", home)),
        *(() if network is None else ("--code", network.code)),
    ]
    return ["run", page, *flags, *(("--", *own) if own else ())]


def _attend(port: int, browser: bool) -> None:
    """Once the server answers, open the browser, and load what the pages need before they ask for it.

    The browser takes a second to load its own parts, and the first page's modules are ready by then.
    """
    if not _up(f"http://{ADDRESS}:{port}"):
        return
    if browser:
        webbrowser.open(f"http://{ADDRESS}:{port}")
    # what cannot be loaded is told where it is needed
    with suppress(Exception):
        import_module(_FIRST_PAGE)
        time.sleep(_QUIET)
        for module in _LATER:
            import_module(module)


def _up(url: str) -> bool:
    end = time.monotonic() + _PATIENCE
    while time.monotonic() < end:
        with suppress(OSError), urllib.request.urlopen(f"{url}/_stcore/health", timeout=5) as answer:
            return bool(answer.status == 200)
        time.sleep(0.02)
    return False


def free_port(asked: int | None, address: str = ADDRESS) -> int:
    """Give the port asked for if it can be had, or the first free one from 8501 on.

    Parameters
    ----------
    asked : int or None
        What the person asked for.
    address : str, optional
        Where it is to be bound.

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
        problem = _problem(asked, address)
        if problem:
            raise OperationError(
                f"port {asked} cannot be used ({problem})",
                todo="choose another with --port, or leave it out for the next free one",
            )
        return asked
    for port in range(FIRST_PORT, _LAST_PORT + 1):
        if not _problem(port, address):
            return port
    raise OperationError(
        f"all ports from {FIRST_PORT} to {_LAST_PORT} are taken", todo="choose one with --port"
    )


def _problem(port: int, address: str) -> str:
    """Say why a port cannot be had; empty when it can."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        if os.name == "posix":
            # a port whose last connections are still being closed counts as free, as it does for the server
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OSError as error:
            return (error.strerror or "it is taken").lower()
    return ""

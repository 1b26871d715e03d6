"""The server behind the page: its safety settings, its port, its start and its end."""

from __future__ import annotations

import contextlib
import http.client
import importlib.util
import os
import re
import socket
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from streamlit.web.cli import main_run

from balancer import launch
from balancer.app.live import route
from balancer.app.recordings import ask
from balancer.errors import OperationError
from tests.app_server import BALANCER_APP, running

APP = Path(launch.__file__).parent / "app"


NETWORK = launch.Network(("192.0.2.2", "198.51.100.7"), ("workshop", "workshop.local"), "012345")


def settings(network=None):
    flags = [
        flag for flag in launch.arguments(8501, None, network)[2:] if flag.startswith("--") and "=" in flag
    ]
    pairs = [flag.removeprefix("--").split("=", 1) for flag in flags]
    return {name: [value for n, value in pairs if n == name] for name, _ in pairs}


def test_safety_settings_read_back():
    assert settings() == {
        "server.address": ["127.0.0.1"],
        "server.port": ["8501"],
        "server.headless": ["true"],
        "server.allowedHosts": ["localhost", "127.0.0.1"],
        "server.showEmailPrompt": ["false"],
        "server.fileWatcherType": ["none"],
        "server.maxUploadSize": ["50"],
        "server.enableCORS": ["true"],
        "server.enableXsrfProtection": ["true"],
        "browser.serverAddress": ["127.0.0.1"],
        "browser.gatherUsageStats": ["false"],
        "runner.magicEnabled": ["false"],
        "client.toolbarMode": ["viewer"],
        "client.showErrorLinks": ["false"],
        "client.showErrorDetails": ["type"],
        "logger.hideWelcomeMessage": ["true"],
    }


def test_streamlit_knows_every_setting():
    context = main_run.make_context("run", launch.arguments(8501)[1:])
    assert context.params["server_address"] == "127.0.0.1"
    assert context.params["server_allowedHosts"] == ("localhost", "127.0.0.1")
    assert context.params["browser_gatherUsageStats"] is False


def test_in_the_network_only_the_door_differs():
    known = ["localhost", "127.0.0.1", "192.0.2.2", "198.51.100.7", "workshop", "workshop.local"]
    opened = {"server.address": ["0.0.0.0"], "server.allowedHosts": known}
    assert settings(NETWORK) == settings() | opened
    assert launch.arguments(8501, None, NETWORK)[-3:] == ["--", "--code", "012345"]
    assert launch.arguments(8501, "folder", NETWORK)[-5:] == ["--", "--home", "folder", "--code", "012345"]


def test_in_the_network_it_is_said_what_is_open():
    text = "\n".join(launch.welcome(8501, NETWORK))
    for words in ("http://192.0.2.2:8501 or http://198.51.100.7:8501", "012 345", "who knows the code"):
        assert words in text
    assert "Nothing is encrypted" in text
    assert "code" not in "\n".join(launch.welcome(8501))


def test_every_start_has_a_code_of_its_own():
    codes = {launch.Network(("192.0.2.2",)).code for _ in range(20)}
    assert len(codes) > 10
    assert all(re.fullmatch(r"\d{6}", code) for code in codes)
    assert not any(code in repr(launch.Network((), (), code)) for code in codes)


def test_the_option_says_what_it_opens(balancer):
    status, out, _ = balancer("app", "--help")
    text = " ".join(out.split())
    assert status == 0
    assert "--network" in text
    assert "can work the bench, and nothing is encrypted" in text


@pytest.mark.skipif(os.name != "posix", reason="the stand-in for a browser is a shell script")
@pytest.mark.parametrize(("wish", "opened"), [((), True), (("--no-browser",), False)])
def test_the_browser_opens_unless_it_is_not_wanted(tmp_path, monkeypatch, wish, opened):
    seen = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {seen}\n')
    browser.chmod(0o755)
    monkeypatch.setenv("BROWSER", f"{browser} %s")
    with running(tmp_path, (*BALANCER_APP[:3], *wish)) as server:
        end = time.monotonic() + (10 if opened else 1)
        while not (seen.exists() and seen.read_text()) and time.monotonic() < end:
            time.sleep(0.05)
        assert (seen.read_text().strip() if seen.exists() else "") == (server.url if opened else "")


def test_the_icon_of_the_page_lies_here_and_the_upload_limit_is_the_boxes_own():
    """Streamlit's named icons come from the network; a browser walk sees that nothing is fetched at all."""
    texts = "".join(path.read_text() for path in APP.rglob("*.py"))
    assert (APP / "icon.svg").is_file()
    assert 'with_name("icon.svg")' in (APP / "main.py").read_text()
    assert ":material/" not in texts
    assert settings()["server.maxUploadSize"] == [str(ask.FILE_MB)]


# what Streamlit draws charts and tables with
HEAVY = {"pandas", "pyarrow", "altair"}


def test_the_start_page_loads_nothing_heavy():
    code = "import sys, balancer.app.views.balance; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(done.stdout.split())
    assert "streamlit" in loaded
    assert loaded & HEAVY == set()


def test_what_is_loaded_ahead_is_there():
    assert all(importlib.util.find_spec(name) for name in (launch._FIRST_PAGE, *launch._LATER))


def test_the_page_that_is_served_is_there():
    assert Path(launch.arguments(8501)[1]).is_file()


@pytest.fixture
def taken_port():
    with socket.create_server((launch.ADDRESS, 0)) as server:
        yield server.getsockname()[1]


def test_a_taken_port_is_refused_in_one_sentence(balancer, taken_port):
    status, out, err = balancer("app", "--no-browser", "--port", taken_port)
    assert (status, out) == (1, "")
    assert re.fullmatch(rf"port {taken_port} cannot be used \(.+\); choose another .+\.\n", err)


def test_the_next_free_port_is_taken_when_none_was_asked_for(monkeypatch, taken_port):
    monkeypatch.setattr(launch, "FIRST_PORT", taken_port)
    monkeypatch.setattr(launch, "_LAST_PORT", taken_port + 20)
    assert taken_port < launch.free_port(None) <= taken_port + 20


def test_no_free_port_is_told(monkeypatch, taken_port):
    monkeypatch.setattr(launch, "FIRST_PORT", taken_port)
    monkeypatch.setattr(launch, "_LAST_PORT", taken_port)
    with pytest.raises(OperationError, match=r"all ports from .* are taken; choose one with --port"):
        launch.free_port(None)


def upgrade_status(port, path, host, origin):
    """Ask for a WebSocket (RFC 6455) under a host name from a page, and give the status of the answer."""
    headers = {"Host": host, "Connection": "Upgrade", "Upgrade": "websocket"}
    headers |= {"Origin": origin} if origin else {}
    headers |= {"Sec-WebSocket-Version": "13", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
        connection.request("GET", path, headers=headers)
        return connection.getresponse().status


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has the whole of 127.0.0.0/8 on its loopback")
@pytest.mark.parametrize("path", ["/_stcore/stream", route.PATH])
def test_starts_for_this_computer_only_and_ends_cleanly(tmp_path, path):
    with running(tmp_path) as server:
        # bound to every interface it would answer here, too
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.2", server.port), timeout=5)
        own, other = f"127.0.0.1:{server.port}", "elsewhere.example"
        asked = ((own, f"http://{own}"), (other, f"http://{other}"), (own, f"http://{other}"), (own, None))
        assert [upgrade_status(server.port, path, *one) for one in asked] == [101, 403, 403, 403]


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_can_be_read(scheme):
    """WCAG 2.2, success criteria 1.4.3 (text 4.5:1) and 1.4.11 (parts of controls 3:1)."""
    theme = tomllib.loads((APP / ".streamlit" / "config.toml").read_text())["theme"][scheme]
    for ground in (theme["backgroundColor"], theme["secondaryBackgroundColor"]):
        assert contrast(theme["textColor"], ground) >= 4.5
        assert contrast(theme["linkColor"], ground) >= 4.5
    assert contrast("#ffffff", theme["primaryColor"]) >= 4.5
    assert contrast(theme["primaryColor"], theme["backgroundColor"]) >= 3


def test_the_folder_of_the_data_is_handed_to_the_page():
    assert launch.arguments(8501, "folder")[-3:] == ["--", "--home", "folder"]
    assert "--home" not in launch.arguments(8501)

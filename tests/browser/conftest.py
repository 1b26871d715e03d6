"""A server and a browser for the walks; each page asserts that nothing left this computer."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.app_server import running

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium; without it, or without Playwright, the walks are skipped and say so."""
    api = pytest.importorskip(
        "playwright.sync_api", reason="Playwright is not installed: pip install playwright"
    )
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not there: apt install chromium")
    with api.sync_playwright() as playwright:
        # its own sandbox needs rights that a container often withholds; only our own page is opened
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """`balancer app`, ended with Ctrl-C after the last walk: status 0 and no traceback are asserted."""
    with running(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.fixture
def open_page(chromium, server):
    """Open the page in a size and a colour scheme; at the end no foreign request and no error were seen."""
    seen: list[str] = []
    contexts = []

    def open_page(width=1440, height=900, scheme="light"):
        context = chromium.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: seen.append(request.url))
        page.on("websocket", lambda socket: seen.append(socket.url))
        page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(server.url)
        return page

    errors: list[str] = []
    yield open_page
    for context in contexts:
        context.close()
    assert {urlsplit(url).hostname for url in seen if not url.startswith(("data:", "blob:"))} == {"127.0.0.1"}
    assert errors == []

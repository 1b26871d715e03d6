"""A server and a browser for the walks; each page asserts that nothing left this computer."""

from __future__ import annotations

import re
import shutil
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.app_server import running
from tests.browser.walk import RESTS, with_home

CHROMIUM = Path("/usr/bin/chromium")
HEALTH = re.compile(r"/[a-z]+/_stcore/(health|host-config)")
"""A page that is opened by its own address asks below it first whether the server is well; then above it."""


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
def context(chromium):
    """One for all pages: what the app's pages are made of is loaded once."""
    context = chromium.new_context(color_scheme="light")
    context.add_init_script(path=RESTS)
    yield context
    context.close()


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """`balancer app`, ended with Ctrl-C after the last walk: status 0 and no traceback are asserted."""
    with running(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.fixture(scope="module")
def full_home(example, tmp_path_factory):
    """A copy of the example history."""
    return shutil.copytree(example[0], tmp_path_factory.mktemp("full") / "home")


@pytest.fixture(scope="module")
def full(full_home):
    """A server on a copy of the example history."""
    with running(full_home.parent, with_home(full_home)) as server:
        yield server


@contextmanager
def guarded(context):
    """Open pages; at the end each is closed, and no foreign request and no error were seen."""
    seen: list[str] = []
    errors: list[str] = []
    pages = []

    def told(message):
        where = message.location.get("url", "")
        asked_below = "404" in message.text and HEALTH.fullmatch(urlsplit(where).path)
        if message.type == "error" and not asked_below:
            errors.append(f"{message.text} {where}")

    def open_page(url, width=1440, height=900, scheme="light"):
        page = context.new_page()
        pages.append(page)
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        page.on("request", lambda request: seen.append(request.url))
        page.on("websocket", lambda socket: seen.append(socket.url))
        page.on("console", told)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("dialog", lambda dialog: errors.append(dialog.message))
        page.goto(url)
        return page

    yield open_page
    for page in pages:
        page.close()
    assert {urlsplit(url).hostname for url in seen if not url.startswith(("data:", "blob:", "file:"))} <= {
        "127.0.0.1"
    }
    assert errors == []


@pytest.fixture
def open_page(context, server):
    """Open the app in a size and a colour scheme, as one that is started for the first time."""
    with guarded(context) as opened:

        def open_page(*size, address="", **scheme):
            return opened(f"{server.url}/{address}", *size, **scheme)

        yield open_page


@pytest.fixture
def open_full(context, full):
    """Open the app on a copy of the example history in a size and a colour scheme."""
    with guarded(context) as opened:

        def open_full(*size, address="", **scheme):
            return opened(f"{full.url}/{address}", *size, **scheme)

        yield open_full


@pytest.fixture
def open_url(context):
    """Open an address in a size and a colour scheme."""
    with guarded(context) as opened:
        yield opened


@pytest.fixture(scope="session")
def judge():
    """Assert that axe-core finds nothing serious on a page as it is now, light and dark."""
    pytest.importorskip(
        "axe_playwright_python.sync_playwright",
        reason="axe-playwright-python is not installed: pip install -e '.[dev]'",
    )
    from tests.browser.accessibility import serious  # noqa: PLC0415 - needs what was just asked for

    def judge(page):
        assert serious(page) == []

    return judge

"""The page of stands in a real browser: added, opened by its address, the checks with nothing plugged in."""

from __future__ import annotations

import pytest

from tests.app_server import running

pytestmark = pytest.mark.browser

IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """A server of its own: with no stand in the history yet, the form for one stands open."""
    with running(tmp_path_factory.mktemp("stands")) as server:
        yield server


def idle(page):
    page.wait_for_selector(IDLE)


def overhang(page):
    idle(page)
    return page.evaluate(
        "Math.max(document.documentElement.scrollWidth,"
        " document.querySelector('[data-testid=stMain]').scrollWidth) - innerWidth"
    )


def test_a_stand_is_added_and_the_checks_show_their_examples(open_page):
    page = open_page(1440, 900, "dark")
    idle(page)
    page.get_by_role("link", name="Stands").click()
    page.get_by_role("heading", name="Stands").wait_for()
    page.set_viewport_size({"width": 390, "height": 844})
    idle(page)
    page.get_by_role("textbox", name="Name").fill("walk <b>bench</b>")
    page.get_by_role("button", name="Add this stand").click()
    page.get_by_role("heading", name="walk <b>bench</b>").wait_for()
    assert "stand=" in page.url
    assert overhang(page) <= 0
    page.get_by_role("radio", name="Sensor check").click()
    page.get_by_role("heading", name="Sensor check").wait_for()
    idle(page)
    page.get_by_role("radio", name="Example").click()
    page.get_by_text("Nothing speaks against this sensor.").wait_for()
    assert overhang(page) <= 0
    idle(page)
    page.get_by_role("radio", name="Bench check").click()
    page.get_by_role("heading", name="Do runs repeat?").wait_for()
    idle(page)
    page.get_by_role("radio", name="Example").first.click()
    page.get_by_text("All 3 runs agree").wait_for()
    assert overhang(page) <= 0

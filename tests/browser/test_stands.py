"""The page of stands in a real browser: added, opened by its address, the checks with nothing plugged in."""

from __future__ import annotations

import pytest

from tests.app_server import running
from tests.browser.walk import choose, heading, overhang

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A server of its own: with no stand in the history yet, the form for one stands open."""
    with running(tmp_path_factory.mktemp("stands")) as server:
        yield server


def test_a_stand_is_added_and_the_checks_show_their_examples(open_url, empty, judge):
    page = open_url(f"{empty.url}/stands", 390, 844, "dark")
    heading(page, "Stands")
    judge(page)
    page.get_by_role("textbox", name="Name").fill("walk <b>bench</b>")
    page.get_by_role("button", name="Add this stand").click()
    page.get_by_role("heading", name="walk <b>bench</b>").wait_for()
    assert "stand=" in page.url
    assert overhang(page) <= 0
    choose(page, "Sensor check")
    heading(page, "Sensor check")
    choose(page, "Example")
    page.get_by_text("Nothing speaks against this sensor.").wait_for()
    assert overhang(page) <= 0
    judge(page)
    choose(page, "Bench check")
    heading(page, "Do runs repeat?")
    page.get_by_role("radio", name="Example").first.click()
    page.get_by_text("All 3 runs agree").wait_for()
    assert overhang(page) <= 0
    judge(page)

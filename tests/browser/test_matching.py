"""The page of matching in a real browser: what is advised, noted by a click, and there after a reload."""

from __future__ import annotations

import shutil

import pytest

from tests.app_server import BALANCER_APP, running

pytestmark = pytest.mark.browser

IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"


@pytest.fixture(scope="module")
def server(tmp_path_factory, example):
    """A server on a copy of the example history."""
    folder = tmp_path_factory.mktemp("matching")
    shutil.copytree(example[0], folder / "home")
    with running(folder, (*BALANCER_APP, "--home", str(folder / "home"))) as server:
        yield server


def idle(page):
    page.wait_for_selector(IDLE)


def overhang(page):
    idle(page)
    return page.evaluate(
        "Math.max(document.documentElement.scrollWidth,"
        " document.querySelector('[data-testid=stMain]').scrollWidth) - innerWidth"
    )


def test_what_is_advised_is_noted_by_a_click(open_page):
    page = open_page(1440, 900, "light")
    idle(page)
    page.get_by_role("link", name="Matching").click()
    page.get_by_role("heading", name="Leave every propeller where it is").wait_for()
    page.set_viewport_size({"width": 390, "height": 844})
    assert overhang(page) <= 0
    page.get_by_role("radio", name="any angle").click()
    page.get_by_role("heading", name="Worth it").wait_for()
    # both pictures are drawn, and each is named in full for those who cannot see it
    now, then = page.get_by_role("img", name="The machine from above").all()
    assert "stays" not in now.get_attribute("aria-label")
    assert "turn to" in then.get_attribute("aria-label")
    assert now.bounding_box()["width"] > 250
    assert overhang(page) <= 0
    page.get_by_role("button", name="They now stand like this").click()
    page.get_by_text("Noted in the history").wait_for()
    page.get_by_role("heading", name="Leave every propeller where it is").wait_for()
    assert page.get_by_role("button", name="They now stand like this").count() == 0

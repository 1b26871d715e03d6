"""The page of matching in a real browser: what is advised, noted by a click, and there after a reload."""

from __future__ import annotations

import pytest

from tests.browser.walk import go, overhang

pytestmark = pytest.mark.browser


def test_what_is_advised_is_noted_by_a_click(open_full, judge):
    page = open_full()
    go(page, "Matching")
    page.get_by_role("heading", name="Leave every propeller where it is").wait_for()
    page.set_viewport_size({"width": 390, "height": 844})
    assert overhang(page) <= 0
    page.get_by_role("radio", name="any angle").click()
    page.get_by_role("heading", name="Worth it").wait_for()
    # both pictures are drawn, and each is named in full for those who cannot see it
    pictures = page.get_by_role("img", name="The machine from above")
    pictures.nth(1).wait_for()
    now, then = pictures.all()
    assert "stays" not in now.get_attribute("aria-label")
    assert "turn to" in then.get_attribute("aria-label")
    assert now.bounding_box()["width"] > 250
    assert overhang(page) <= 0
    judge(page)
    page.get_by_role("button", name="They now stand like this").click()
    page.get_by_text("Noted in the history").wait_for()
    page.get_by_role("heading", name="Leave every propeller where it is").wait_for()
    page.get_by_role("button", name="They now stand like this").wait_for(state="detached")

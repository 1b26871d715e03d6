"""A part spun live: the run comes by itself into the job, and onto a screen that only looks on.

That it comes, too, when nobody looks is shown without a page: tests/faces/test_app_steps.py.
"""

from __future__ import annotations

import re

import pytest

from tests.browser.walk import button, click, heading, job, picture

pytestmark = pytest.mark.browser


def test_a_trial_run_spun_live(open_page):
    page = open_page()
    job(page, "Spin the trial run")
    button(page, "spin_live").click()
    picture(page, "rpm", "recorded")
    assert page.locator(".st-key-spin button").count() == 0  # nothing to press but Cancel
    phone = open_page(390, 844, "dark", address="?" + page.url.partition("?")[2])
    page.close()  # who began it goes away
    words = phone.get_by_role("img", name=re.compile("recorded")).locator("text").first
    words.wait_for()
    size = words.evaluate("e => parseFloat(getComputedStyle(e).fontSize) * e.getScreenCTM().a")
    assert size >= 48  # px: read from two metres
    heading(phone, "Fit the correction")
    phone.get_by_text(re.compile(r"^Run 3, ")).wait_for()
    picture(phone, "1x vector of each run", "3 trial", "circle noise at rest")
    click(phone, "back", then="Spin the trial run")
    phone.get_by_text("set aside: the job went back to before it").wait_for()

"""A part spun live: the run comes into the job by itself, also when the tab is closed meanwhile."""

from __future__ import annotations

import json
import re
import time
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.browser.test_walks import STEPS, click, idle, picture

pytestmark = pytest.mark.browser


def run(page, number):
    """Wait for a run in the list."""
    page.get_by_text(re.compile(rf"^Run {number}, ")).wait_for()
    idle(page)


def test_spun_live_from_the_as_is_run_to_the_trial_run(open_page, server):
    page = open_page()
    click(page, "begin", then="Read the cautions")
    for key, title in STEPS[:3]:
        click(page, key, then=title)
    click(page, "spin_live")
    picture(page, "rpm", "recorded")
    assert page.locator(".st-key-spin button").count() == 0  # nothing to press but Cancel
    run(page, 1)  # by itself
    click(page, "spin", then="Fit the trial piece")
    click(page, "fit", then="Spin the trial run")
    click(page, "spin_live")
    picture(page, "% recorded")
    address = page.url
    page.close()

    phone = open_page(390, 844, "dark")
    phone.goto(address)
    words = phone.get_by_role("img", name=re.compile("recorded")).locator("text").first
    words.wait_for()
    size = words.evaluate("e => parseFloat(getComputedStyle(e).fontSize) * e.getScreenCTM().a")
    assert size >= 48
    phone.close()
    (job,) = server.log.parent.rglob(f"{parse_qs(urlsplit(address).query)['job'][0]}.json")
    end = time.monotonic() + 60
    while len(json.loads(job.read_text())["runs"]) < 3:  # nobody looks while it is recorded
        assert time.monotonic() < end
        time.sleep(0.1)

    page = open_page()
    page.goto(address)
    page.get_by_role("heading", name="Fit the correction", exact=True).wait_for()
    run(page, 3)
    picture(page, "1x vector of each run", "3 trial", "circle noise at rest")
    click(page, "back", then="Spin the trial run")
    page.get_by_text("set aside: the job went back to before it").wait_for()

"""What the walks through the app do again and again; whoever acts waits first until the page rests."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from tests.app_server import BALANCER_APP

RESTS = Path(__file__).with_name("rests.js")
"""Gives every page `walk.rests()`: whether its script rests and all that was asked is answered."""

RUN = re.compile(r"^Run \d+, ")

STEPS = (
    ("begin", "Read the cautions"),
    ("acknowledge", "Balance the bare bell first"),
    ("bell", "Check the sensor at rest"),
    ("check", "Spin the as-is run"),
    ("spin", "Spin the as-is run"),
    ("spin", "Fit the trial piece"),
    ("fit", "Spin the trial run"),
    ("spin", "Fit the correction"),
    ("fit", "Spin the check run"),
    ("spin", "Done"),
)
"""The button of each step of a whole job on the simulated bench, and the heading of the step that follows."""


def with_home(folder):
    """Give the command that starts the app on a home folder."""
    return (*BALANCER_APP, "--home", str(folder))


def idle(page):
    """Wait until the page's script rests: what is clicked while it runs may get lost."""
    page.bring_to_front()  # a tab behind another one draws at a crawl, and a person looks at one at a time
    # looked for every 20 ms: by frames, as is usual, it would make the page draw all the time
    page.wait_for_function("window.walk?.rests()", polling=20)


def heading(page, name):
    page.get_by_role("heading", name=name, exact=True).first.wait_for()
    idle(page)


def go(page, name):
    """Go to a page of the app by its link at the top."""
    idle(page)
    page.get_by_role("navigation").or_(page.get_by_role("banner")).get_by_role(
        "link", name=name, exact=True
    ).first.click()
    idle(page)


def button(page, key):
    # a button that explains itself is there twice: one of the two is shown, by the width of the window
    return page.locator(f"[class*='st-key-{key}'] button:visible").first


def click(page, key, then=""):
    """Click a button, and wait until the heading that follows stands and the script rests again."""
    idle(page)
    button(page, key).click()
    if then:
        page.get_by_role("heading", name=then, exact=True).wait_for()
    idle(page)


def choose(page, label):
    idle(page)
    page.get_by_role("radio", name=label, exact=True).click()
    idle(page)


def type_in(page, key, value):
    idle(page)
    box = page.locator(f"[class*='st-key-{key}'] input").first
    box.fill(str(value))
    box.press("Tab")


def drop(page, key, *paths):
    """Hand files in."""
    idle(page)
    box = page.locator(f"[class*='st-key-{key}'] input[type=file]")
    box.set_input_files([str(path) for path in paths])


def download(page, name):
    """Take a file away; give its name and its bytes."""
    idle(page)
    with page.expect_download() as coming:
        page.get_by_role("button", name=name, exact=True).first.click()
    return coming.value.suggested_filename, Path(coming.value.path()).read_bytes()


def picture(page, *words):
    """Wait for the drawing whose description says all these words, and give its size on the page."""
    found = page.get_by_role("img", name=re.compile(".*".join(map(re.escape, words))))
    found.wait_for()
    return found.bounding_box()


def overhang(page):
    """Pixels by which the page is wider than the window."""
    idle(page)
    return page.evaluate(
        "Math.max(document.documentElement.scrollWidth,"
        " document.querySelector('[data-testid=stMain]').scrollWidth) - innerWidth"
    )


def steps(page, upto="Done", act=click) -> Iterator[str]:
    """Walk through a job on the simulated bench up to a step; give the name of each step when it is there.

    Parameters
    ----------
    page : playwright.sync_api.Page
        With the first page of the app.
    upto : str
        Heading of the step to come to.
    act : callable
        Presses the button of a key: `click`, or the keyboard.
    """
    for key, title in STEPS:
        idle(page)
        runs = page.get_by_text(RUN).count()
        act(page, key)
        page.get_by_role("heading", name=title, exact=True).wait_for()
        if key == "spin":  # its heading may have stood there before
            page.get_by_text(re.compile(rf"^Run {runs + 1}, ")).wait_for()
        idle(page)
        yield title
        if title == upto:
            return


def job(page, upto):
    """Walk through a job up to a step."""
    assert list(steps(page, upto))[-1] == upto

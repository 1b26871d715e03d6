"""Walks through the page in a real browser, by clicks alone."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from balancer import launch
from balancer.core.masses import Mass
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from tests.app_server import running

pytestmark = pytest.mark.browser

PROPELLER = coastal_propeller(1)
FIRST = "Step 1 of 4: a part as it came"
IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"


def idle(page):
    """Wait until the page's script rests: what is clicked while it runs may get lost."""
    page.wait_for_selector(IDLE)


def click(page, key, then=""):
    """Click a button, and wait until the heading that follows stands and the script rests again."""
    idle(page)
    page.locator(f".st-key-{key} button").click()
    if then:
        page.get_by_role("heading", name=then).wait_for()
        idle(page)


def choose(page, label):
    idle(page)
    page.get_by_role("radio", name=label, exact=True).click()


def type_in(page, key, value):
    idle(page)
    box = page.locator(f".st-key-{key} input")
    box.fill(str(value))
    box.press("Tab")


def picture(page, *words):
    """Wait for the drawing whose description says all these words, and give its size on the page."""
    found = page.get_by_role("img", name=re.compile(".*".join(map(re.escape, words))))
    found.wait_for()
    return found.bounding_box()


def look(page, path):
    """Keep a picture of the whole page."""
    size = page.viewport_size
    height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": max(size["height"], height)})
    page.screenshot(path=path)
    page.set_viewport_size(size)


def whole_job(page, tmp_path, name):
    """Walk from the cautions to the check run; keep a picture of every step on the way."""
    click(page, "read_cautions", then=FIRST)
    for step, (key, title) in enumerate(
        (
            ("begin", "Step 2 of 4: a trial piece of tape"),
            ("spin", "Step 3 of 4: the correction"),
            ("spin", "Step 4 of 4: the check run"),
        ),
        2,
    ):
        click(page, key, then=title)
        yield step
        look(page, tmp_path / f"{name}-step-{step}.png")


def test_whole_job_on_the_simulated_bench(open_page, tmp_path):
    page = open_page()
    page.get_by_text("Keep a cut-off within reach").wait_for()
    for step in whole_job(page, tmp_path, "light"):
        if step == 3:
            box = picture(page, "Where the tape goes", "turning counter-clockwise", "Add", "blade 2")
            assert box["width"] > 300
            assert box["y"] < 450  # beside the instruction, on the first screen
    picture(page, "1x vector of each run", "check")
    page.get_by_text("inside the permissible").wait_for()
    page.get_by_text("Show the hidden truth").click()
    page.get_by_text("of the hidden unbalance away").wait_for()
    with page.expect_download() as coming:
        page.get_by_role("button", name="All figures (JSON)").click()
    solution = json.loads(Path(coming.value.path()).read_text())
    assert solution["residual"]["unbalance_gmm"] < solution["residual"]["permissible_gmm"]
    click(page, "another", then=FIRST)


def recorded(folder, name, number, *masses):
    fitted = [Mass(g * 1e-3, mm * 1e-3, math.radians(deg)) for g, mm, deg in masses]
    recording = PROPELLER.record(speed=COASTAL_SPEED, duration=4.0, masses=fitted, seed=number)
    write(recording, folder / name, overwrite=True)
    return folder / name


def test_files_are_dropped_in(open_page, tmp_path):
    page = open_page()
    click(page, "read_cautions", then=FIRST)
    choose(page, "My recordings")
    page.locator(".st-key-file_0 input[type=file]").set_input_files(recorded(tmp_path, "as-is.stream.csv", 1))
    page.get_by_text("as-is.stream.csv: 4.0 s of x, y, z").wait_for()
    # a name that Markdown would make a picture of, fetched from elsewhere; the fixture sees every request
    bad = tmp_path / "![picture](https:192.0.2.1)<img src=x>.csv"
    bad.write_bytes(b"\x00 no recording")
    page.locator(".st-key-file_1 input[type=file]").set_input_files(bad)
    page.get_by_test_id("stAlert").get_by_text(bad.name).wait_for()
    for what, value in (("mass", 0.030), ("radius", 60), ("angle", 90)):
        type_in(page, f"{what}_1_0", value)
    click(page, "solve")
    page.get_by_test_id("stAlert").get_by_text(bad.name).nth(1).wait_for()
    page.locator(".st-key-file_1 input[type=file]").set_input_files(
        recorded(tmp_path, "trial.stream.csv", 2, (0.030, 60, 90))
    )
    page.get_by_text("trial.stream.csv: 4.0 s of x, y, z").wait_for()
    click(page, "solve", then="The correction")
    picture(page, "Where the tape goes", "blade 2")
    picture(page, "1x vector of each run", "trial")
    look(page, tmp_path / "files.png")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_phone_has_no_sideways_scroll(open_page, tmp_path, scheme):
    page = open_page(390, 844, scheme)
    assert page.evaluate(f"matchMedia('(prefers-color-scheme: {scheme})').matches")

    def overhang():
        idle(page)
        return page.evaluate(
            "Math.max(document.documentElement.scrollWidth,"
            " document.querySelector('[data-testid=stMain]').scrollWidth) - innerWidth"
        )

    page.get_by_text("Keep a cut-off within reach").wait_for()
    assert overhang() <= 0
    for _ in whole_job(page, tmp_path, f"phone-{scheme}"):
        assert overhang() <= 0
        page.wait_for_function("document.querySelector('[data-testid=stMain]').scrollTop === 0")
    click(page, "another", then=FIRST)
    choose(page, "My recordings")
    page.get_by_text("Run 2").wait_for()
    assert overhang() <= 0
    look(page, tmp_path / f"phone-{scheme}-files.png")


def test_dark_on_a_laptop(open_page, tmp_path):
    page = open_page(scheme="dark")
    for _ in whole_job(page, tmp_path, "dark"):
        pass
    ground = page.evaluate("getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor")
    assert ground == "rgb(23, 22, 20)"


def test_an_unforeseen_error_shows_no_traceback(chromium, tmp_path):
    """With the settings of the page, a script that breaks shows neither its code nor where it lies."""
    script = tmp_path / "breaks.py"
    script.write_text("import streamlit as st\nst.title('here')\nraise RuntimeError('secret words')\n")
    port = launch.free_port(None)
    flags = [str(script) if flag.endswith("main.py") else flag for flag in launch.arguments(port, False)]
    code = f"from streamlit.web import cli; print('http://127.0.0.1:{port}', flush=True); cli.main({flags!r})"
    with running(tmp_path, ("-c", code), clean=False) as server:
        page = chromium.new_page()
        page.goto(server.url)
        page.get_by_test_id("stException").wait_for()
        shown = page.inner_text("body")
        page.close()
    assert "RuntimeError" in shown
    assert not any(word in shown for word in ("Traceback", "secret words", "breaks.py", "Ask "))

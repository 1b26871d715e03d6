"""The page of recordings in a real browser: charts drawn, words readable, nothing fetched from elsewhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from balancer.recording.stream_writer import make_stream_text
from tests import foreign, taps

pytestmark = pytest.mark.browser

IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"


@pytest.fixture
def opened(open_page):
    """Open the page of recordings in a size and a colour scheme."""

    def opened(width=1440, height=900, scheme="light"):
        page = open_page(1440, 900, scheme)
        idle(page)
        page.get_by_role("link", name="Recordings").click()
        heading(page, "Recordings")
        page.set_viewport_size({"width": width, "height": height})
        return page

    return opened


def idle(page):
    page.wait_for_selector(IDLE)


def choose(page, label):
    idle(page)
    page.get_by_role("radio", name=label, exact=True).click()


def drop(page, *paths):
    idle(page)
    box = page.locator("[class*='st-key-recordings_files'] input[type=file]")
    box.set_input_files([str(path) for path in paths])


def heading(page, name):
    page.get_by_role("heading", name=name).wait_for()


def overhang(page):
    idle(page)
    return page.evaluate(
        "Math.max(document.documentElement.scrollWidth,"
        " document.querySelector('[data-testid=stMain]').scrollWidth) - innerWidth"
    )


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it, of `rgb(r, g, b)`."""
    parts = np.array([float(part) for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(page):
    """Least contrast of the words in charts against the ground of the page."""
    ground = page.evaluate("getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor")
    inks = page.evaluate(
        "[...document.querySelectorAll('.vega-embed svg text')].map(e => getComputedStyle(e).fill)"
    )
    assert inks
    pairs = (sorted((luminance(ground), luminance(ink))) for ink in set(inks))
    return min((light + 0.05) / (dark + 0.05) for dark, light in pairs)


@pytest.mark.parametrize(("width", "height", "scheme"), [(1440, 900, "light"), (390, 844, "dark")])
def test_examples(opened, tmp_path, width, height, scheme):
    page = opened(width, height, scheme)
    choose(page, "Example: steady run")
    heading(page, "One turn of the shaft")
    page.get_by_text("Phase of 1x against speed").wait_for()  # comes by itself when it is read
    page.wait_for_function("document.querySelectorAll('.vega-embed svg').length === 7")
    assert overhang(page) <= 0
    assert contrast(page) >= 4.5
    choose(page, "3")
    page.locator(".vega-embed svg").get_by_text("blade pass", exact=True).wait_for()
    choose(page, "Order")
    page.get_by_text("at order 1.00.").wait_for()
    choose(page, "Example: run-up")
    heading(page, "1x against speed")
    page.get_by_text("Resonance at 34").or_(page.get_by_text("Resonance at 33")).first.wait_for(
        timeout=60_000
    )
    assert overhang(page) <= 0
    with page.expect_download() as coming:
        page.get_by_role("button", name="Picture (SVG)").click()
    assert Path(coming.value.path()).read_text().startswith("<svg")
    page.screenshot(path=tmp_path / "run-up.png")


def test_files_with_hostile_names(opened, tmp_path):
    name = "<img src=x onerror=alert(1)>"
    signal = foreign.even()
    times = foreign.numbers(signal.times)
    table = tmp_path / "![p](https:192.0.2.1)<b>.csv"
    table.write_text(foreign.table(signal, ("time", times), "", names=("x", "y", "z")))
    marked = tmp_path / "marked.csv"
    named = (f"{name} acc", "y", "z")
    marked.write_text(foreign.table(signal, ("time_s", times), names=named, mark="mark"))
    tapped = tmp_path / "taps.stream.csv"
    modes = [(38.0, 0.03, (1.0, 0.3, 0.1))]
    tapped.write_bytes(make_stream_text(taps.recorded(taps.tapped(np.random.default_rng(1), modes))))
    page = opened()
    drop(page, table, marked, tapped)
    page.get_by_text("say it with “Time unit”").wait_for()
    choose(page, "s")
    choose(page, "m/s²")
    page.get_by_text("2502 rpm").first.wait_for()
    for file, title in ((marked.name, "One turn of the shaft"), (tapped.name, "What rings")):
        idle(page)
        page.locator(".st-key-recordings_shown input").click()
        page.get_by_role("option", name=file).click()
        heading(page, title)
    page.get_by_text("damping ratio").wait_for()
    assert page.locator("img[src=x]").count() == 0
    for name in ("Stands", "Recordings"):  # a look at another page loses nothing
        idle(page)
        page.get_by_role("link", name=name).click()
        heading(page, name)
    heading(page, "What rings")
    page.get_by_text("damping ratio").wait_for()
    idle(page)
    page.screenshot(path=tmp_path / "kept.png")

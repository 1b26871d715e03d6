"""The page of recordings in a real browser: charts drawn, words readable, nothing fetched from elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from balancer.recording.stream_writer import make_stream_text
from tests import foreign, taps
from tests.browser.walk import choose, download, drop, go, idle, overhang

pytestmark = pytest.mark.browser


def see(page, name):
    """Wait for a heading; the page may still come back by itself with more."""
    page.get_by_role("heading", name=name).wait_for()


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it, of `rgb(r, g, b)`."""
    parts = np.array([float(part) for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


GROUND = "getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor"
INKS = "[...document.querySelectorAll('.vega-embed svg text')].map(e => getComputedStyle(e).fill)"


def contrast(page):
    """Least contrast of the words in charts against the ground of the page."""
    ground = page.evaluate(GROUND)
    inks = page.evaluate(INKS)
    assert inks
    pairs = (sorted((luminance(ground), luminance(ink))) for ink in set(inks))
    return min((light + 0.05) / (dark + 0.05) for dark, light in pairs)


def test_examples(open_page, tmp_path, judge):
    page = open_page(address="recordings")
    choose(page, "Example: steady run")
    see(page, "One turn of the shaft")
    page.get_by_text("Phase of 1x against speed").wait_for()  # comes by itself when it is read
    page.wait_for_function("document.querySelectorAll('.vega-embed svg').length === 7")
    assert overhang(page) <= 0
    assert contrast(page) >= 4.5
    light = page.evaluate(INKS)
    page.set_viewport_size({"width": 390, "height": 844})
    page.emulate_media(color_scheme="dark")
    # charts and ground change their colours one after the other
    page.wait_for_function(
        f"light => {{ const inks = {INKS}, dark = parseInt({GROUND}.match(/\\d+/)) < 128;"
        " return dark && inks.length && inks.every(ink => !light.includes(ink)); }",
        arg=light,
    )
    assert overhang(page) <= 0
    assert contrast(page) >= 4.5
    judge(page)
    choose(page, "3")
    page.locator(".vega-embed svg").get_by_text("blade pass", exact=True).wait_for()
    choose(page, "Order")
    page.get_by_text("at order 1.00.").wait_for()
    choose(page, "Example: run-up")
    see(page, "1x against speed")
    page.get_by_text("Resonance at 34").or_(page.get_by_text("Resonance at 33")).first.wait_for(
        timeout=60_000
    )
    assert overhang(page) <= 0
    _, drawn = download(page, "Picture (SVG)")
    assert drawn.startswith(b"<svg")
    page.screenshot(path=tmp_path / "run-up.png")


def test_files_with_hostile_names(open_page, tmp_path):
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
    page = open_page(address="recordings")
    see(page, "Recordings")
    drop(page, "recordings_files", table, marked, tapped)
    page.get_by_text("say it with “Time unit”").wait_for()
    choose(page, "s")
    choose(page, "m/s²")
    page.get_by_text("2502 rpm").first.wait_for()
    for file, title in ((marked.name, "One turn of the shaft"), (tapped.name, "What rings")):
        idle(page)
        page.locator(".st-key-recordings_shown input").click()
        page.get_by_role("option", name=file).click()
        see(page, title)
    page.get_by_text("damping ratio").wait_for()
    assert page.locator("img[src=x]").count() == 0
    for name in ("Stands", "Recordings"):  # a look at another page loses nothing
        go(page, name)
        see(page, name)
    see(page, "What rings")
    page.get_by_text("damping ratio").wait_for()
    idle(page)
    page.screenshot(path=tmp_path / "kept.png")

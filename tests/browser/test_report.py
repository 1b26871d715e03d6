"""A report in a real browser: from a file, on a screen, on a phone, and as a printed PDF."""

from __future__ import annotations

import re
from datetime import UTC

import pytest

from balancer.history.parts import find_part
from balancer.history.store import Store
from balancer.report.gather import machine_sheet, part_card
from balancer.report.page import card_page, sheet_page
from tests.report import stories

pytestmark = pytest.mark.browser

# ISO 216: A4 is 210 by 297 mm; a PDF counts in 1/72 inch
A4 = (595, 842)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """HTML files of an ordinary machine, and of one whose every name tries to be something else."""
    folder = tmp_path_factory.mktemp("reports")
    found = {}
    with Store.open(folder / "home") as store:
        tern = stories.build(store)
        found["sheet"] = sheet_page(machine_sheet(store, tern.id, stories.NOW, UTC))
        found["card"] = card_page(part_card(store, find_part(store, "P1").id, stories.NOW, UTC))
    with Store.open(folder / "hostile") as store:
        stories.hostile(store)
        machine = stories.makers.machine(stories.MACHINE)
        found["hostile"] = sheet_page(machine_sheet(store, machine.id, stories.NOW, UTC))
    paths = {}
    for name, text in found.items():
        paths[name] = folder / f"{name}.html"
        paths[name].write_text(text, encoding="utf-8")
    return paths


@pytest.fixture
def open_file(context, open_url):
    """Open a file in a size and a colour scheme; at the end nothing but the files was asked for."""
    opened, asked = [], []

    def open_file(path, width=1280, height=900, scheme="light"):
        opened.append(path.as_uri())
        return open_url(path.as_uri(), width, height, scheme)

    def note(request):
        asked.append(request.url)

    context.on("request", note)
    yield open_file
    context.remove_listener("request", note)
    assert asked == opened


@pytest.mark.parametrize("name", ["card", "sheet", "hostile"])
def test_on_a_screen_nothing_sticks_out(open_file, pages, tmp_path, name):
    page = open_file(pages[name])
    for scheme, ground in (("light", "rgb(255, 255, 255)"), ("dark", "rgb(23, 22, 20)")):
        page.emulate_media(color_scheme=scheme)
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == ground
        for width, height in ((1280, 900), (390, 844)):
            page.set_viewport_size({"width": width, "height": height})
            _nothing_sticks_out(page, width)
            page.screenshot(path=tmp_path / f"{name}-{width}-{scheme}.png")


def _nothing_sticks_out(page, width):
    assert page.evaluate("document.documentElement.scrollWidth") == width
    for box in page.evaluate(
        "[...document.querySelectorAll('figure > svg')].map(s => s.getBoundingClientRect().toJSON())"
    ):
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert box["width"] > 250
    # nothing outside a table that can be scrolled is cut off
    cut = page.evaluate(
        "[...document.querySelectorAll('h1, h2, h3, p, li, figure')]"
        ".filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.outerHTML.slice(0, 200))"
    )
    assert cut == []


def test_names_are_words_and_not_markup(open_file, pages):
    page = open_file(pages["hostile"])
    assert page.locator("script").count() == 0
    assert page.locator("main i, main h1 b").count() == 0
    assert stories.MACHINE in page.locator("h1").inner_text()
    for label in stories.HOSTILE[:4]:
        assert page.get_by_role("link", name=label, exact=True).count() == 1
    right_to_left = page.get_by_role("link", name=stories.HOSTILE[1]).locator("bdi")
    assert right_to_left.evaluate("e => getComputedStyle(e).direction") == "rtl"
    assert page.locator("h1").evaluate("e => getComputedStyle(e).direction") == "ltr"


def test_the_pictures_have_names(open_file, pages):
    page = open_file(pages["card"])
    for words in (
        r"1x vector of each run",
        r"On it: .*of tape",
        r"Unbalance over time in g mm with 95 % bounds",
    ):
        assert page.get_by_role("img", name=re.compile(words)).count() == 1


@pytest.mark.parametrize("name", ["card", "sheet", "hostile"])
def test_it_prints_on_a4(open_file, pages, tmp_path, name):
    page = open_file(pages[name], scheme="dark")
    printed = page.pdf(path=tmp_path / f"{name}.pdf", prefer_css_page_size=True)
    sizes = {
        (round(float(w)), round(float(h)))
        for w, h in re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", printed)
    }
    assert sizes == {A4}
    count = len(re.findall(rb"/Type\s*/Page\b", printed))
    fitted = page.locator("article").count() or 1
    # a first page with all arms, and up to three for each card
    assert fitted < count <= fitted * 3 + 1


def test_print_has_a_light_ground_and_every_arm_begins_a_page(open_file, pages):
    page = open_file(pages["sheet"], scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    style = "e => getComputedStyle(e)"
    assert page.locator("body").evaluate(f"({style})(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.locator("body").evaluate(f"({style})(document.body).color") == "rgb(26, 26, 26)"
    arms = page.locator("main > section.fresh")
    assert arms.count() == 3
    assert all(one.evaluate("e => getComputedStyle(e).breakBefore") == "page" for one in arms.all())
    for figure in page.locator("figure").all():
        assert figure.evaluate("e => getComputedStyle(e).breakInside") == "avoid"

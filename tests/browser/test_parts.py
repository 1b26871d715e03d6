"""The page of the parts in a real browser, on the example history: list, story, report, a phone."""

from __future__ import annotations

import json
import re

import pytest

from tests.browser.walk import choose, click, download, go, heading, overhang, type_in

pytestmark = pytest.mark.browser


def rows(page):
    return page.locator(".st-key-parts_list a")


def test_from_the_list_to_a_part_and_its_report(open_full, tmp_path, judge):
    page = open_full()
    go(page, "Parts")
    heading(page, "Parts")
    due = int(re.match(r"\d+", page.get_by_text(re.compile(r"^\d+ of 15 parts are due")).inner_text())[0])
    choose(page, "What is due")
    page.wait_for_function(f"document.querySelectorAll('.st-key-parts_list a').length === {due}")
    rows(page).filter(has_text="P4").click()
    heading(page, "Propeller P4")
    page.get_by_role("link", name="All parts", exact=True).click()
    heading(page, "Parts")
    assert rows(page).count() == due  # the filter is still there
    choose(page, "All parts")
    page.wait_for_function("document.querySelectorAll('.st-key-parts_list a').length === 15")
    rows(page).filter(has_text="P6").click()
    heading(page, "Propeller P6")
    page.get_by_role("img", name=re.compile("Unbalance over time in g mm with 95 % bounds")).wait_for()
    # the page's figure is that of the file: 95 % bound of what is left
    shown = page.locator("[data-testid=stMetricValue]").first.inner_text()
    name, data = download(page, "Data (JSON)")
    latest = json.loads(data)["latest"]
    assert re.fullmatch(r"P6-report-\d{4}-\d\d-\d\d\.json", name)
    assert float(shown.removeprefix("≤ ")) == pytest.approx(latest["left"]["bound_95_gmm"], rel=0.06)
    name, report = download(page, "Report to read and print (HTML)")
    assert name.endswith(".html")
    assert "tipped over on landing" in report.decode()
    judge(page)
    page.screenshot(path=tmp_path / "part.png")
    address = page.url
    page.go_back()
    heading(page, "Parts")
    page.go_forward()
    heading(page, "Propeller P6")
    assert page.url == address
    page.get_by_role("button", name="Balance it").click()
    page.wait_for_url(re.compile(r"/\?.*begin=" + address.partition("part=")[2]))


def test_a_part_is_added_and_crashes(open_full, tmp_path):
    page = open_full(address="parts")
    heading(page, "Parts")
    page.get_by_text("Add a part", exact=True).click()
    type_in(page, "add_label", "P20")
    choose(page, "Clockwise")
    type_in(page, "add_diameter", 12)
    type_in(page, "add_blades", 2)
    click(page, "add_do", then="Propeller P20")
    page.get_by_text("Propeller P20 is added.").wait_for()
    page.get_by_text("Say what happened to it").click()
    choose(page, "It crashed")
    page.get_by_label("What there is to say about it").first.fill("a fence")
    page.get_by_role("button", name="Keep it in the story").click()
    page.get_by_text("It crashed: this is kept in the story of P20.").wait_for()
    page.reload()  # the address names the part
    heading(page, "Propeller P20")
    page.get_by_text("it crashed 0 days ago").first.wait_for()
    page.get_by_text("crashed, a fence").wait_for()
    page.set_viewport_size({"width": 390, "height": 844})
    assert overhang(page) <= 0
    page.get_by_role("link", name="All parts", exact=True).click()
    heading(page, "Parts")
    rows(page).filter(has_text="P20").filter(has_text="due").wait_for()
    assert overhang(page) <= 0
    page.screenshot(path=tmp_path / "phone.png")

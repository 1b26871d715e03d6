"""Every page, light and dark, judged by axe-core: nothing serious against WCAG 2.2, levels A and AA.

axe-core (of axe-playwright-python, dev extras) runs inside the page and asks nothing of the network: the
fixture sees every request.
"""

from __future__ import annotations

import re
import shutil

import pytest

from balancer.history.parts import find_any_part
from balancer.history.store import Store
from tests.app_server import BALANCER_APP, running

pytestmark = pytest.mark.browser

IDLE = "[data-testid=stApp][data-test-script-state=notRunning]"
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
RUN = re.compile(r"^Run \d+, ")
STILL = "*, *::before, *::after { transition: none !important; animation: none !important }"
"""Without it axe may meet a colour on its way from one theme or state to another."""

PAGES = ("Balance a rotor", "Live", "Recordings", "Parts", "Matching", "Stands")


@pytest.fixture(scope="session")
def axe():
    api = pytest.importorskip(
        "axe_playwright_python.sync_playwright",
        reason="axe-playwright-python is not installed: pip install -e '.[dev]'",
    )
    return api.Axe()


@pytest.fixture(scope="module")
def full(example, tmp_path_factory):
    """A server on a copy of the example history."""
    folder = tmp_path_factory.mktemp("full")
    shutil.copytree(example[0], folder / "home")
    with running(folder, (*BALANCER_APP, "--home", str(folder / "home"))) as server:
        yield server, folder / "home"


def serious(axe, page):
    """What is serious or critical: the rule, what it says, and where.

    Streamlit fades in what a run has brought, after the script rests: what is found is looked at again, and
    stands only if it is still there the third time.
    """
    page.add_style_tag(content=STILL)
    found = []
    for pause in (0, 500, 1500):
        page.wait_for_timeout(pause)
        found = _serious_now(axe, page)
        if not found:
            break
    return found


def _serious_now(axe, page):
    found = axe.run(page, options={"runOnly": RULES, "resultTypes": ["violations"]}).response["violations"]
    return [
        (one["id"], one["help"], [node["html"][:160] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


@pytest.fixture
def go(chromium, full):
    """Open a page of the app by its name, in a colour scheme and a width."""
    contexts = []

    def go(name, scheme, width=1440, query=""):
        context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        path = "" if name == PAGES[0] else name.lower()
        page.goto(f"{full[0].url}/{path}?{query}")
        page.get_by_role("heading", level=1).first.wait_for()
        page.wait_for_selector(IDLE)
        return page

    yield go
    for context in contexts:
        context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_every_page(axe, go, name, scheme):
    assert serious(axe, go(name, scheme)) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_step_of_a_job_with_its_pictures(axe, go, scheme):
    page = go(PAGES[0], scheme)
    for key, then in (
        ("begin", "Read the cautions"),
        ("acknowledge", "Balance the bare bell first"),
        ("bell", "Check the sensor at rest"),
        ("check", "Spin the as-is run"),
        ("spin", "Spin the as-is run"),
        ("spin", "Fit the trial piece"),
    ):
        runs = page.get_by_text(RUN).count()
        page.locator(f"[class*='st-key-{key}'] button").first.click()
        page.get_by_role("heading", name=then, exact=True).wait_for()
        if key == "spin":
            page.get_by_text(RUN).nth(runs).wait_for()
        page.wait_for_selector(IDLE)
    page.get_by_role("img", name="Trial mass").wait_for()
    assert serious(axe, page) == []


@pytest.mark.parametrize(("scheme", "width"), [("light", 1440), ("dark", 390)])
def test_a_recording_with_its_charts(axe, go, scheme, width):
    page = go("Recordings", scheme, width)
    page.get_by_role("radio", name="Example: steady run", exact=True).click()
    page.get_by_text("Phase of 1x against speed").wait_for(timeout=60_000)
    page.wait_for_function("document.querySelectorAll('.vega-embed svg').length === 7")
    page.wait_for_selector(IDLE)
    assert serious(axe, page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_story_of_a_part(axe, go, full, scheme):
    with Store.open(full[1]) as store:
        part = find_any_part(store, "P6").id
    page = go("Parts", scheme, query=f"part={part}")
    page.get_by_role("heading", name="P6").first.wait_for()
    page.wait_for_selector(IDLE)
    assert serious(axe, page) == []


def test_axe_finds_what_is_wrong(axe, chromium):
    """A page with a picture without a name and words that cannot be read: a test that can fail."""
    page = chromium.new_page()
    page.set_content(
        "<html lang=en><title>t</title><main><h1>t</h1><img src=x:><p style=color:#ccc>pale</p></main>"
    )
    assert {rule for rule, *_ in serious(axe, page)} == {"image-alt", "color-contrast"}
    page.close()

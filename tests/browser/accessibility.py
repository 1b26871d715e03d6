"""axe-core's judgement of a page as it is now: WCAG 2.2, levels A and AA, light and dark.

axe-core (of axe-playwright-python, dev extras) runs inside the page and asks nothing of the network: the
fixture sees every request.
"""

from __future__ import annotations

from functools import lru_cache

import pytest

STANDARD = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
OF_COLOUR = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}

SETTLED = """scheme => {
    const app = document.querySelector("[data-testid=stApp]");
    const light = () => parseInt(getComputedStyle(app).backgroundColor.match(/\\d+/)[0]) > 127;
    const there = () => walk.rests() && app.querySelector("[data-testid=stHtml] style");
    const still = animation => !isFinite(animation.effect.getComputedTiming().endTime);
    return (!app || (light() === (scheme === "light") && there())) && document.getAnimations().every(still);
}"""
"""The page has the ground of the colour scheme and our own style, and no colour is on its way to another.

The style comes as an element of Streamlit whose program is loaded on first use, some hundred ms after the
first widgets are drawn: until then the chosen one of several buttons has Streamlit's colours, which are too
pale on the dark ground. And Streamlit changes its theme some time after the scheme has changed.
"""


def serious(page):
    """What is serious or critical: colour scheme, the rule, what it says, and where."""
    before = "dark" if page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches") else "light"
    found = _now(page, "light", STANDARD) + _now(page, "dark", OF_COLOUR)
    page.emulate_media(color_scheme=before)
    return found


@lru_cache(maxsize=1)
def _axe():
    # late: who runs the suite without the dev extras collects this module, too
    reason = "axe-core is not installed: pip install -e '.[dev]'"
    return pytest.importorskip("axe_playwright_python.sync_playwright", reason=reason).Axe()


def _now(page, scheme, rules):
    page.emulate_media(color_scheme=scheme)
    page.wait_for_function(SETTLED, arg=scheme, polling=20)
    found = _axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]}).response["violations"]
    return [
        (scheme, one["id"], one["help"], [node["html"][:160] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]

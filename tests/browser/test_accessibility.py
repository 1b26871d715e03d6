"""Every page judged by axe-core, light and dark; the walks have what they come to judged as well."""

from __future__ import annotations

import pytest

from balancer.history.parts import find_any_part
from balancer.history.store import Store
from tests.browser.walk import go, heading, idle

pytestmark = pytest.mark.browser

PAGES = ("Balance a rotor", "Live", "Recordings", "Parts", "Matching", "Stands")


def test_every_page(open_full, judge):
    page = open_full()
    for name in PAGES:
        go(page, name)
        page.get_by_role("heading", level=1).first.wait_for()
        judge(page)


def test_the_story_of_a_part_on_a_phone(open_full, full_home, judge):
    with Store.open(full_home) as store:
        part = find_any_part(store, "P6").id
    page = open_full(390, 844, address=f"parts?part={part}")
    heading(page, "Propeller P6")
    idle(page)
    judge(page)


def test_axe_finds_what_is_wrong(context, judge):
    """A page with a picture without a name and words that cannot be read, on either ground: it can fail."""
    from tests.browser.accessibility import serious  # noqa: PLC0415 - the fixture has asked for what it needs

    page = context.new_page()
    page.set_content(
        "<html lang=en><title>t</title><main><h1>what it says</h1><img src=x:><p style=color:#ccc>pale</p>"
        "<style>@media (prefers-color-scheme: dark) { h1 { color: #eee } }</style></main>"
    )
    found = serious(page)
    page.close()
    assert {one[:2] for one in found} == {
        ("light", "image-alt"),
        ("light", "color-contrast"),
        ("dark", "color-contrast"),
    }
    dark = next(one for one in found if one[0] == "dark")
    assert len(dark[-1]) == 2  # the heading is pale in the dark only

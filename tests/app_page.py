"""Pages of the app run without a browser: what more than one test does with them."""

from __future__ import annotations

import re
import time


def settled(page):
    """Run on until what is at work is done: a page in a browser comes back by itself."""
    end = time.monotonic() + 25
    while any("some seconds" in info.value for info in page.info) and time.monotonic() < end:
        time.sleep(0.05)
        page.run()
    assert not page.exception
    return page


def words_of(*elements):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)|\u2060", r"\1", "\n".join(e.value for group in elements for e in group))


def address(page, name):
    """What the page's address says; AppTest gives it as it was set, or in a list."""
    value = page.query_params[name]
    return value if isinstance(value, str) else value[0]

"""Boxes whose contents are made only while they are open: what is typed there outlives their closing."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from tests.app_page import settled, words_of

pytestmark = pytest.mark.closed

MAIN = str(Path(app.__file__).with_name("main.py"))


def opened(view):
    page = AppTest.from_file(MAIN, default_timeout=30).run()
    return settled(page.switch_page(f"views/{view}").run())


def told(page):
    return words_of(page.markdown, page.success, page.info, page.caption)


def box(page, label, *, open_):
    """Open or close a box as a click does."""
    (found,) = [one for one in page.expander if one.label == label]
    page.session_state[found.proto.id.rpartition("-")[2]] = open_
    return settled(page.run())


def keys(page):
    return {
        one.key for kind in ("number_input", "text_input", "button_group", "button") for one in page.get(kind)
    }


def test_what_is_asked_of_matching_outlives_its_box(home):
    page = opened("matching.py")
    assert "matching_grade" not in keys(page)
    page = box(page, "More about the question", open_=True)
    page.number_input(key="matching_grade").set_value(100.0)
    page = settled(page.run())
    assert "Every arm is within G100" in told(page)
    page = box(page, "More about the question", open_=False)
    assert "matching_grade" not in keys(page)
    assert "Every arm is within G100" in told(page)
    page = box(page, "More about the question", open_=True)
    assert page.number_input(key="matching_grade").value == 100.0


def test_a_form_half_filled_in_outlives_its_box(home):
    page = opened("parts.py")
    assert "add_label_0" not in keys(page)
    page = box(page, "Add a part", open_=True)
    page.text_input(key="add_label_0").set_value("P9").run()
    page = box(box(page, "Add a part", open_=False), "Add a part", open_=True)
    assert page.text_input(key="add_label_0").value == "P9"

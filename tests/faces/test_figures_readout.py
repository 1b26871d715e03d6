"""The large words: their size, the bar's share, and the description in step with both."""

from __future__ import annotations

import math
from xml.etree import ElementTree

import pytest

from balancer.errors import InputError
from balancer.figures import svg
from balancer.figures.readout import SIZE, readout_picture


def drawn(*lines, **options):
    return ElementTree.fromstring(readout_picture(lines, **options))


def test_words_are_48_px_high_on_a_phone_and_stay_inside_the_picture():
    root = drawn("5203 rpm", "speed unknown for a long while")
    assert 340 / 360 * SIZE >= 48
    short, long = root.iter("text")
    assert {short.get("font-size"), long.get("font-size")} == {svg.px(SIZE)}
    assert short.get("textLength") is None
    assert float(long.get("x")) + float(long.get("textLength")) <= 360


@pytest.mark.parametrize("share", [0.0, 0.25, 1.0])
def test_the_bar_is_filled_as_far_as_the_description_says(share):
    root = drawn("5203 rpm", share=share)
    full, frame = root.iter("rect")
    assert full.get("data-part") == "share"
    assert float(full.get("width")) == pytest.approx(share * float(frame.get("width")), abs=0.02)
    assert root.get("aria-label") == f"5203 rpm, {100 * share:.0f} % recorded."
    assert not list(drawn("5203 rpm").iter("rect"))


def test_good_and_not_good_differ_in_more_than_colour():
    good, other = (drawn("5203 rpm", good=state).find("line") for state in (True, False))
    assert good.get("stroke-dasharray") != other.get("stroke-dasharray")


def test_empty_lines_are_left_out_and_words_are_escaped():
    root = drawn("<b>", " ")
    assert [text.text for text in root.iter("text")] == ["<b>"]


@pytest.mark.parametrize(("lines", "share"), [((), None), (("",), None), (("a",), 1.1), (("a",), math.nan)])
def test_what_cannot_be_shown_is_refused(lines, share):
    with pytest.raises(InputError):
        readout_picture(lines, share=share)

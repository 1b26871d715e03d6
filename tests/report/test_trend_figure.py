"""The chart of a part's unbalance over time."""

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest

from balancer.errors import InputError
from balancer.figures import palette, standalone
from balancer.figures.trend import TrendPoint, TrendView, chart_points, trend_picture

START = date(2026, 3, 4)
LINES = (("G2.5", 0.2), ("G6.3", 0.5), ("G16", 1.25))


def point(days=0, value=1.0, left=False, lower=None):
    lower = 0.8 * value if lower is None else lower
    return TrendPoint(START + timedelta(days), value, lower, 1.2 * value, left)


def view(*points, **more):
    return TrendView(
        points or (point(), point(left=True, value=0.02)), **dict(lines=LINES, asked="G6.3") | more
    )


def elements(drawn, name):
    return [one for one in ET.fromstring(standalone(drawn)).iter() if one.tag.endswith(f"}}{name}")]


def words(drawn):
    return [one.text for one in elements(drawn, "text")]


def test_it_is_one_line_of_well_formed_svg_that_says_what_it_shows():
    drawn = trend_picture(view(events=((START + timedelta(30), "crashed"),)))
    assert "\n" not in drawn
    assert " id=" not in drawn
    label = ET.fromstring(standalone(drawn)).attrib["aria-label"]
    assert "2026-03-04 found 1.0 (0.80 to 1.2)" in label
    assert "2026-03-04 left 0.020" in label
    assert "G6.3 allows 0.50" in label
    assert "2026-04-03 crashed" in label
    assert {"G2.5", "G6.3", "G16", "as found", "as left", "crashed"} <= set(words(drawn))


def test_the_scale_is_logarithmic():
    """Equal factors are equal ways: the three grades are a factor of 2.5 apart."""
    dashed = [
        float(one.attrib["y1"])
        for one in elements(trend_picture(view()), "line")
        if one.attrib.get("stroke-dasharray") == "6 3"
    ]
    first, second, third = dashed
    assert first - second == pytest.approx(second - third, abs=0.03)
    assert first > second > third


def test_the_grade_that_is_asked_for_stands_out():
    lines = [
        one for one in elements(trend_picture(view()), "line") if one.attrib.get("stroke-dasharray") == "6 3"
    ]
    assert [one.attrib["stroke"] == palette.GREEN for one in lines] == [False, True, False]


def test_what_cannot_be_told_from_none_ends_in_an_arrow():
    told = trend_picture(view(point(value=1.0)))
    untold = trend_picture(view(point(value=1.0, lower=0.0)))
    assert len(elements(untold, "polygon")) == len(elements(told, "polygon")) + 1


@pytest.mark.parametrize("days", [0, 1, 9, 60, 75, 200, 700, 3000, 20000])
def test_a_few_round_dates_for_any_span(days):
    drawn = trend_picture(view(point(), point(days)))
    dates = [word for word in words(drawn) if re.fullmatch(r"\d{4}(-\d\d){0,2}", word or "")]
    assert 1 <= len(dates) <= 8
    assert len(set(dates)) == len(dates)
    for one in elements(drawn, "text"):
        assert 0 <= float(one.attrib["x"]) <= 440


@pytest.mark.parametrize("value", [0.0, 1e-9, 3e-4, 0.02, 1.0, 99.0, 5e4])
def test_any_size_lies_on_the_chart(value):
    for drawn in (trend_picture(view(point(value=value))), trend_picture(view(point(value=value), lines=()))):
        for one in elements(drawn, "circle"):
            assert 15 < float(one.attrib["cy"]) <= 270.1


def test_words_of_events_do_not_lie_on_each_other():
    events = tuple((START + timedelta(50 + n), f"event {n}") for n in range(4))
    drawn = trend_picture(view(point(), point(100), events=events))
    at = {
        (one.attrib["x"], one.attrib["y"])
        for one in elements(drawn, "text")
        if (one.text or "").startswith("event")
    }
    assert len({y for _, y in at}) == len(at) == 2
    lines = [one for one in elements(drawn, "line") if one.attrib.get("stroke-dasharray") == "2 3"]
    assert len([one for one in lines if one.attrib["stroke"] == palette.ORANGE]) == 4


def test_events_after_the_last_point_are_shown_and_earlier_ones_are_not():
    later = trend_picture(view(events=((START + timedelta(90), "crashed"),)))
    earlier = trend_picture(view(events=((START - timedelta(90), "crashed"),)))
    assert "crashed" in words(later)
    assert "crashed" not in words(earlier)


def test_points_come_by_date_and_found_before_left():
    found, left, later = point(), point(left=True), point(5)
    assert chart_points([later, left, found]) == (found, left, later)


def test_words_are_escaped():
    assert "<b>" not in trend_picture(view(events=((START, "<b>"),)))


@pytest.mark.parametrize("lines", [(("G0", 0.0),), (("G", -1.0),), (("G", float("inf")),)])
def test_grades_that_allow_nothing_are_refused(lines):
    wrong = view(lines=lines)
    with pytest.raises(InputError, match="grades that allow more than 0"):
        trend_picture(wrong)


def test_a_chart_without_points_is_refused():
    empty = TrendView(())
    with pytest.raises(InputError, match="one determination or more"):
        trend_picture(empty)


@pytest.mark.parametrize("sizes", [(1.0, 2.0, 1.5), (-1.0, 0.0, 1.0), (1.0, 0.5, float("inf"))])
def test_impossible_bounds_are_refused(sizes):
    with pytest.raises(InputError, match="finite and 0 or more"):
        TrendPoint(START, *sizes, False)

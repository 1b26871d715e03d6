"""The page of recordings by its widgets."""

from __future__ import annotations

import json
import re
import time
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.recording.stream_writer import make_stream_text
from tests import foreign, taps

PAGE = str(Path(app.__file__).parent / "views" / "recordings.py")


@pytest.fixture
def page():
    """The page alone, as it opens."""
    return AppTest.from_file(PAGE, default_timeout=30).run()


def words_of(*elements):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)", r"\1", "\n".join(e.value for group in elements for e in group))


def everything(page):
    groups = (page.markdown, page.caption, page.error, page.warning, page.info, page.subheader)
    return words_of(*groups)


def headings(page):
    return [one.value for one in page.subheader]


def specs(page):
    return [json.loads(chart.proto.spec) for chart in page.get("vega_lite_chart")]


def widget(page, group, start):
    """Find the widget of a file by the beginning of its key."""
    return next(one for one in getattr(page, group) if one.key.startswith(f"recordings_{start}"))


def chosen(page, which):
    page.button_group(key="recordings_source").set_value(which).run()
    return settled(page)


def settled(page):
    """Run on until the slow reading is done: a page in a browser comes back by itself."""
    end = time.monotonic() + 25
    while any("some seconds" in info.value for info in page.info) and time.monotonic() < end:
        time.sleep(0.2)
        page.run()
    assert not page.exception
    return page


def dropped(page, *files):
    page.file_uploader(key="recordings_files").set_value([(*file, "") for file in files]).run()
    return settled(page)


@cache
def table(unit="(m/s^2)", names=("x", "y", "z"), title="time_s", mark=""):
    signal = foreign.even()
    times = foreign.numbers(signal.times)
    return foreign.table(signal, (title, times), unit, names=names, mark=mark).encode()


def test_opens_with_a_word_and_a_place_to_drop_files(page):
    assert not page.exception
    assert "Drop a file" in everything(page)
    assert not specs(page)


def test_steady_example(page):
    chosen(page, "steady")
    assert headings(page) == [
        "What it is",
        "Is it unbalance?",
        "Spectrum",
        "Signal over the time",
        "One turn of the shaft",
        "1x against speed, while it ran down",
    ]
    shown = everything(page)
    assert "stream of a board" in shown
    assert re.search(r"\| y \| 2\.\d\d m/s² \(±.* at 11\d° .* \| 99 % \|", shown)
    assert "note: Samples lost on the way" in shown
    assert "Speaks for unbalance" in shown
    assert "unplug the battery" in words_of(page.warning)
    assert len(specs(page)) == 7  # spectrum, time, three turns, amplitude and phase


def test_run_up_example(page):
    chosen(page, "run-up")
    assert headings(page)[2] == "1x against speed"
    assert re.search(r"Resonance at 3[34]\.\d\d Hz", everything(page))
    labels = json.dumps(specs(page)[0])
    assert all(word in labels for word in ("resonance", "balance here"))
    assert page.get("download_button")


def test_hover_speed(page):
    chosen(page, "steady")
    widget(page, "number_input", "hover").set_value(4000.0).run()
    assert "% from hover" in everything(settled(page))
    assert "hover" in json.dumps(specs(page)[-2])


def test_number_of_blades_marks_the_blade_pass(page):
    chosen(page, "steady")
    assert "blade pass" not in json.dumps(specs(page)[0])
    assert "say how many blades there are (“Blades”)" in everything(page)
    widget(page, "button_group", "blades").set_value(2).run()
    assert "2x, blade pass" in json.dumps(specs(page)[0])
    assert "“Blades”" not in everything(page)


def test_axial_channel_and_magnets_change_the_verdict(page):
    chosen(page, "steady")
    assert "Which channel lies along the shaft was not said" in everything(page)
    widget(page, "selectbox", "axial").set_value(2).run()
    assert "Which channel lies along the shaft was not said" not in everything(page)
    widget(page, "number_input", "magnets").set_value(7).run()
    assert "a bell does not have 7 magnets" in words_of(page.error)


def test_spectrum_by_order_and_in_decades(page):
    chosen(page, "steady")
    widget(page, "button_group", "along").set_value("order").run()
    page.button_group(key="recordings_height").set_value("logarithmic").run()
    axes = json.dumps(specs(page)[0])
    assert "order (multiple of the shaft speed)" in axes
    assert '"type": "log"' in axes or '"type":"log"' in axes
    assert "at order 1.00." in everything(page)


def test_another_channel(page):
    chosen(page, "steady")
    assert "Highest line of channel y" in everything(page)
    widget(page, "button_group", "channel").set_value(2).run()
    assert "Highest line of channel z" in everything(page)


def test_angles_follow_the_choice_of_the_app(page):
    chosen(page, "steady")
    against = float(re.search(r"\| y \|.* at (\d+)°", everything(page))[1])
    page.button_group(key="direction").set_value("with").run()
    settled(page)
    assert float(re.search(r"\| y \|.* at (\d+)°", everything(page))[1]) == pytest.approx(
        -against % 360, abs=1
    )
    assert "degrees with the rotation" in json.dumps(specs(page))


def test_what_a_table_leaves_open_is_asked(page):
    dropped(page, ("phone.csv", table(unit="", title="time")))
    assert not page.error
    assert "say it with “Time unit”" in words_of(page.info)
    widget(page, "button_group", "time_unit").set_value("s").run()
    assert "“Unit of the accelerations”" in words_of(page.info)
    widget(page, "button_group", "unit").set_value("m/s^2").run()
    assert not page.info
    assert "2502 rpm" in everything(page)
    assert "Orders by" not in everything(page)
    widget(page, "button_group", "unit").set_value("g").run()
    assert "9.81" in words_of(page.warning)  # gravity ten times too large: the wrong unit was said


def test_several_files_one_shown(page):
    dropped(page, ("a.csv", table()), ("a.csv", table(mark="mark")), ("bad.csv", b"\0"))
    assert "One turn of the shaft" not in headings(page)
    page.selectbox(key="recordings_shown").set_value(1).run()
    assert "One turn of the shaft" in headings(page)
    page.selectbox(key="recordings_shown").set_value(2).run()
    assert words_of(page.error).startswith("bad.csv: ")
    page.selectbox(key="recordings_shown").set_value(0).run()
    assert not page.error


def test_mark_times_from_a_second_file(page):
    dropped(page, ("a.csv", table()))
    marks = "mark_s\n" + "\n".join(f"{t:.6f}" for t in foreign.even().marks)
    widget(page, "file_uploader", "marks").set_value(("m.csv", marks.encode(), "")).run()
    assert "One turn of the shaft" in headings(settled(page))


def test_taps(page):
    modes = [(38.0, 0.03, (1.0, 0.3, 0.1))]
    stream = make_stream_text(taps.recorded(taps.tapped(np.random.default_rng(1), modes)))
    dropped(page, ("taps.stream.csv", stream))
    assert headings(page) == ["What it is", "What rings", "Spectrum", "Signal over the time"]
    assert re.search(r"3[78]\.\d\d Hz .*damping ratio 0\.0[23]", everything(page))
    assert "tap" in json.dumps(specs(page)[-1])
    widget(page, "button_group", "kind").set_value("still").run()
    assert "noise floor" in everything(page)
    assert "What rings" not in headings(page)


HOSTILE = "![p](http://192.0.2.1/x.png)<img src=x onerror=alert(1)>`*_"


def test_names_of_files_and_channels_reach_the_page_as_they_are(page):
    data = table(names=(HOSTILE.replace(",", ""), "y", "z"))
    dropped(page, (f"{HOSTILE}.csv", data))
    for element in (*page.markdown, *page.caption, *page.error, *page.info, *page.warning):
        assert not re.search(r"(?<!\\)(!\[|<img|\]\()", element.value)
    assert HOSTILE in everything(page)


def test_a_broken_file_with_a_hostile_name_is_told(page):
    dropped(page, (f"../{HOSTILE}.csv", b"\0\1"))
    assert HOSTILE in words_of(page.error)
    assert not re.search(r"(?<!\\)[!<\[(`*_]", page.error[0].value)

"""The page of recordings by its widgets."""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.recordings import state
from balancer.app.recordings.service import Upload, read_upload
from balancer.history.parts import find_any_part
from balancer.history.records.kept import new_id
from balancer.history.runs import add_run, keep_recording, runs_of_part
from balancer.recording.hints import Hints
from balancer.recording.stream_writer import make_stream_text
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from tests import foreign, taps
from tests.app_page import settled

RECORDINGS = "views/recordings.py"
PAGE = str(Path(app.__file__).parent / RECORDINGS)
MAIN = str(Path(app.__file__).with_name("main.py"))


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """Let the person's data lie in a folder of their own, as a server started with --home has it."""
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path / "home")])
    yield tmp_path / "home"
    services.close_benches()
    services.store.cache_clear()


@pytest.fixture
def page():
    """The page alone, as it opens."""
    return AppTest.from_file(PAGE, default_timeout=30).run()


def words_of(*elements):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)|\u2060", r"\1", "\n".join(e.value for group in elements for e in group))


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


def dropped(page, *files):
    widget(page, "file_uploader", "files").set_value([(*file, "") for file in files]).run()
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


def show_file(page, number):
    page.selectbox(key="recordings_shown").select_index(number).run()
    return settled(page)


def test_several_files_one_shown(page):
    dropped(page, ("a.csv", table()), ("a.csv", table(mark="mark")), ("bad.csv", b"\0"))
    assert page.selectbox(key="recordings_shown").options == ["a.csv", "a.csv (2)", "bad.csv"]
    assert "One turn of the shaft" not in headings(page)
    show_file(page, 1)
    assert "One turn of the shaft" in headings(page)
    show_file(page, 2)
    assert words_of(page.error).startswith("bad.csv: ")
    show_file(page, 0)
    assert not page.error
    page.button(key="recordings_forget").click().run()
    assert page.selectbox(key="recordings_shown").options == ["a.csv", "bad.csv"]
    for _ in range(2):
        page.button(key="recordings_forget").click().run()
    assert "Drop a file" in everything(page)


def test_a_file_that_comes_later_is_shown_and_the_same_again_is_one(page):
    dropped(page, ("a.csv", table()))
    dropped(page, ("b.csv", table(mark="mark")))
    assert "One turn of the shaft" in headings(page)
    dropped(page, ("a.csv", table()))
    assert page.selectbox(key="recordings_shown").options == ["b.csv", "a.csv"]
    assert "One turn of the shaft" not in headings(page)


def test_what_is_kept_is_bounded(page, monkeypatch):
    monkeypatch.setattr(state, "MOST_BYTES", int(2.5 * len(table())))
    dropped(page, *((f"{k}.csv", table() + f"# {k}\n".encode()) for k in range(4)))
    assert page.selectbox(key="recordings_shown").options == ["2.csv", "3.csv"]
    monkeypatch.setattr(state, "MOST_BYTES", 10)
    dropped(page, ("large.csv", table()))
    assert "Shown: large.csv" in everything(page)


def test_mark_times_from_a_second_file(page):
    dropped(page, ("a.csv", table()))
    marks = "mark_s\n" + "\n".join(f"{t:.6f}" for t in foreign.even().marks)
    widget(page, "file_uploader", "marks").set_value(("m.csv", marks.encode(), "")).run()
    assert "One turn of the shaft" in headings(settled(page))


def test_mark_times_are_left_out_again(page):
    dropped(page, ("a.csv", table()))
    widget(page, "file_uploader", "marks").set_value(("m.csv", b"mark_s\nnow\n", "")).run()
    assert words_of(page.error).startswith("m.csv, line 2: ")
    page.button(key="recordings_no_marks").click().run()
    assert not settled(page).error


def test_files_marks_and_the_one_shown_outlive_a_look_at_another_page(home):
    page = AppTest.from_file(MAIN, default_timeout=30).run()
    page.switch_page(RECORDINGS).run()
    dropped(page, ("a.csv", table()), ("b.csv", table(unit="")), ("c.csv", table(mark="mark")))
    show_file(page, 0)
    marks = "mark_s\n" + "\n".join(f"{t:.6f}" for t in foreign.even().marks)
    widget(page, "file_uploader", "marks").set_value(("m.csv", marks.encode(), "")).run()
    assert "One turn of the shaft" in headings(settled(page))
    page.switch_page("views/stands.py").run()
    assert "One turn of the shaft" not in headings(page)
    page.switch_page(RECORDINGS).run()
    assert "One turn of the shaft" in headings(settled(page))
    assert page.selectbox(key="recordings_shown").options == ["a.csv", "b.csv", "c.csv"]


def test_an_example_outlives_it_too(home):
    page = AppTest.from_file(MAIN, default_timeout=30).run()
    page.switch_page(RECORDINGS).run()
    chosen(page, "run-up")
    page.switch_page("views/stands.py").run()
    page.switch_page(RECORDINGS).run()
    assert "1x against speed" in headings(settled(page))


def test_recordings_of_the_bench(home):
    page = AppTest.from_file(PAGE, default_timeout=30).run()
    page.button_group(key="recordings_source").set_value("bench").run()
    assert "Nothing was recorded on the bench yet" in words_of(page.info)
    folder = home / "live"
    folder.mkdir(parents=True)
    for name, data in (
        ("2026-01-02_03-04-05-aaaaaa.stream", stream(3)),
        ("2026-01-01_03-04-05.stream", b"\0"),
    ):
        (folder / name).write_bytes(data)
    settled(page.run())
    assert "What it is" in headings(page)
    assert page.selectbox(key="recordings_bench_shown").options[0].startswith("02 Jan 2026, 03:04:05, ")
    page.selectbox(key="recordings_bench_shown").select_index(1).run()
    assert "2026-01-01_03-04-05.stream" in words_of(page.error)
    (folder / "2026-01-01_03-04-05.stream").unlink()  # the oldest go when a new one begins
    assert "What it is" in headings(settled(page.run()))


@pytest.mark.parametrize(("named", "shown"), [("b.stream", "b.stream"), ("../../etc/passwd", "a.stream")])
def test_a_recording_of_the_bench_is_named_by_the_address(home, named, shown):
    (home / "live").mkdir(parents=True)
    for number, name in ((2, "b.stream"), (1, "a.stream")):
        (home / "live" / name).write_bytes(stream(number))
        os.utime(home / "live" / name, (0, 3600 * 24 / number))
    page = AppTest.from_file(PAGE, default_timeout=30)
    page.query_params["bench"] = named
    assert f"{shown}: stream of a board" in everything(settled(page.run()))


def stream(number):
    recording = coastal_propeller(number).record(speed=COASTAL_SPEED, duration=2.0, seed=number)
    return make_stream_text(recording)


@pytest.fixture
def history(example_home, tmp_path, monkeypatch):
    """A copy of the example history, and a recording in it."""
    shutil.copytree(example_home, tmp_path / "history")
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path / "history")])
    store = services.store(tmp_path / "history")
    runs = runs_of_part(store, find_any_part(store, "P6").id)
    yield store, next(run for run in runs if run.recording)
    store.close()
    services.store.cache_clear()


def asked_for(digest):
    page = AppTest.from_file(PAGE, default_timeout=30)
    page.query_params["recording"] = digest
    return settled(page.run())


def test_a_recording_of_the_history_is_named_by_the_address(history):
    _, run = history
    page = asked_for(run.recording.file)
    assert f"{run.recording.name}: run of " in everything(page)
    assert "What it is" in headings(page)
    chosen(page, "steady")
    assert page.query_params.get("recording") is None
    page.button_group(key="recordings_source").set_value("history").run()
    assert page.query_params["recording"] == run.recording.file
    assert f"{run.recording.name}: run of " in everything(settled(page))


@pytest.mark.parametrize("digest", ["../../etc/passwd", "0" * 64, "<script>"])
def test_an_address_that_names_none_is_told(history, digest):
    page = asked_for(digest)
    assert words_of(page.error) == "the history has no such recording; choose one on the page Parts."
    assert "One turn" not in everything(page)


def test_it_is_read_as_it_was_read_then(history):
    """A table that says neither its unit nor its marks: both come from what was said and handed in then."""
    store, run = history
    signal = foreign.even()
    marks = "mark_s\n" + "\n".join(f"{t:.6f}" for t in signal.marks)
    data, hints = table(unit="", title="time"), Hints(time_unit="s", unit="m/s^2")
    reading = read_upload(Upload("p.csv", data), hints, Upload("m.csv", marks.encode()))
    kept = keep_recording(
        store, data, reading.outcome, name="p.csv", hints=hints, marks=("m.csv", marks.encode())
    )
    add_run(store, replace(run, id=new_id(), job=None, number=0, recording=kept))
    page = asked_for(kept.file)
    assert not page.info
    assert "One turn of the shaft" in headings(page)


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

"""The page by its widgets: cautions first, the job on the simulated bench, the job from files."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.core.masses import Mass
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.wording import CAUTIONS

MAIN = str(Path(app.__file__).with_name("main.py"))
PROPELLER = coastal_propeller(1)


@pytest.fixture
def page():
    """The page as it opens."""
    return AppTest.from_file(MAIN, default_timeout=30).run()


@pytest.fixture
def opened(page):
    """The page once the cautions are read."""
    return click(page, "read_cautions")


def click(page, key):
    page.button(key=key).click().run()
    assert not page.exception
    return page


def words_of(*elements):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)", r"\1", "\n".join(e.value for group in elements for e in group))


def pictures(page):
    return [m.value for m in page.markdown if "<svg" in m.value]


def headline(page):
    return {metric.label: metric.value for metric in page.metric}


def keys(page):
    return {widget.key for group in (page.button, page.button_group) for widget in group}


def test_opens_with_the_cautions_and_nothing_else(page):
    assert not page.exception
    assert all(caution in words_of(page.markdown) for caution in CAUTIONS)
    assert [button.key for button in page.button] == ["read_cautions"]
    assert not page.number_input
    assert not pictures(page)


def test_cautions_stay_at_hand(opened):
    assert all(caution in words_of(opened.markdown) for caution in CAUTIONS)
    assert "read_cautions" not in keys(opened)


@pytest.mark.parametrize(("part", "where"), [("propeller", "blade 1: "), ("bell", "bell rim: ")])
def test_whole_job_on_the_simulated_bench(opened, part, where):
    opened.button_group(key="part").set_value(part).run()
    assert len(pictures(opened)) == 1
    click(opened, "begin")
    assert [s.value for s in opened.subheader] == ["Step 2 of 4: a trial piece of tape"]
    assert where in words_of(opened.markdown)
    assert len(pictures(opened)) == 2
    click(opened, "spin")
    assert set(headline(opened)) == {
        "Add (g)",
        "At radius (mm)",
        "At angle (°)",
        "Came with (g mm)",
        "Came with grade",
    }
    assert "unplug the battery" in words_of(opened.warning)
    click(opened, "spin")
    shown = headline(opened)
    assert float(shown["Left (g mm)"]) < 0.15 * float(shown["Came with (g mm)"])
    assert "inside the permissible" in words_of(opened.success)
    assert "The rotor hid " in words_of(opened.expander[0].markdown)
    assert [b.key for b in opened.get("download_button")]
    click(opened, "another")
    assert opened.button_group(key="part").value == part
    assert [s.value for s in opened.subheader] == ["Step 1 of 4: a part as it came"]


def test_one_primary_button_at_each_step(opened):
    for key in ("begin", "spin", "spin", "another"):
        primary = [b.key for b in opened.button if b.proto.type == "primary"]
        assert primary == [key]
        click(opened, key)


def test_start_again_in_the_middle(opened):
    click(click(opened, "begin"), "spin")
    click(opened, "start_again")
    assert "begin" in keys(opened)


def test_parts_are_drawn_as_they_turn(opened):
    turning = set()
    for seed in range(4):
        opened.number_input(key="seed").set_value(seed).run()
        hand = coastal_propeller(seed).rotor.hand
        turning.add(hand)
        assert f"turning {'clockwise' if hand == 'cw' else 'counter-clockwise'};" in pictures(opened)[0]
    assert turning == {"cw", "ccw"}


def test_angles_can_be_counted_with_the_rotation(opened):
    click(click(opened, "begin"), "spin")
    against = float(headline(opened)["At angle (°)"])
    opened.button_group(key="direction").set_value("with").run()
    assert float(headline(opened)["At angle (°)"]) == pytest.approx(-against % 360, abs=1)
    assert all("with the rotation" in picture for picture in pictures(opened))


def test_another_sensor_axis_can_be_shown(opened):
    click(click(opened, "begin"), "spin")
    before = pictures(opened)[1]
    chosen = opened.button_group(key="channel").value
    opened.button_group(key="channel").set_value(0 if chosen else 1).run()
    assert pictures(opened)[1] != before


def test_impossible_tape_is_told_and_nothing_is_lost(opened):
    opened.selectbox(key="tape_kind").set_value("weighed").run()
    click(opened, "begin")
    assert "the weighed strip needs a length and a mass" in words_of(opened.error)
    assert opened.selectbox(key="tape_kind").value == "weighed"
    opened.button_group(key="source").set_value("files").run()
    assert not opened.error
    opened.button_group(key="source").set_value("bench").run()
    opened.number_input(key="strip_length").set_value(100.0).run()
    opened.number_input(key="strip_mass").set_value(0.150).run()
    click(opened, "begin")
    assert not opened.error
    assert "150 g/m^2" in words_of(opened.caption)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """Give a file to upload: a run of the simulated propeller with masses (g, mm, deg) on it."""
    folder = tmp_path_factory.mktemp("recordings")

    @cache
    def recorded_bytes(number, masses, marks):
        fitted = [Mass(g * 1e-3, mm * 1e-3, math.radians(deg)) for g, mm, deg in masses]
        recording = PROPELLER.record(speed=COASTAL_SPEED, duration=4.0, masses=fitted, seed=number)
        path = folder / "a.stream.csv"
        write(recording if marks else replace(recording, marks=None), path, overwrite=True)
        return path.read_bytes()

    def record(name, number, *masses, marks=True):
        return name, recorded_bytes(number, masses, marks), "text/csv"

    return record


@pytest.fixture
def form(opened):
    """The form for the person's own recordings."""
    return opened.button_group(key="source").set_value("files").run()


def upload(page, run, file):
    page.file_uploader(key=f"file_{run}").set_value(file)


def fit(page, run, grams, millimetres, degrees, piece=0):
    for what, value in (("mass", grams), ("radius", millimetres), ("angle", degrees)):
        page.number_input(key=f"{what}_{run}_{piece}").set_value(float(value))


def filled(page, recorded, degrees=90):
    upload(page, 0, recorded("as-is.stream.csv", 1))
    upload(page, 1, recorded("trial.stream.csv", 2, (0.030, 60, 90)))
    fit(page, 1, 0.030, 60, degrees)
    return page.run()


def unbalance_angle():
    return math.degrees(math.atan2(-PROPELLER.rotor.unbalance.imag, -PROPELLER.rotor.unbalance.real)) % 360


def test_files_give_the_correction(form, recorded):
    click(filled(form, recorded), "solve")
    shown = headline(form)
    assert float(shown["At angle (°)"]) == pytest.approx(unbalance_angle(), abs=2)
    assert float(shown["Came with (g mm)"]) == pytest.approx(abs(PROPELLER.rotor.unbalance) * 1e6, rel=0.02)
    assert shown["Came with grade"] == "–"
    assert len(pictures(form)) == 2
    assert "unplug the battery" in words_of(form.warning)


def test_files_with_angles_counted_with_the_rotation(form, recorded):
    form.button_group(key="direction").set_value("with").run()
    click(filled(form, recorded, degrees=270), "solve")
    assert float(headline(form)["At angle (°)"]) == pytest.approx(-unbalance_angle() % 360, abs=2)


def test_typed_angles_keep_their_spot_when_the_counting_changes(form, recorded):
    click(filled(form, recorded), "solve")
    form.button_group(key="direction").set_value("with").run()
    assert form.number_input(key="angle_1_0").value == 270
    assert float(headline(form)["At angle (°)"]) == pytest.approx(-unbalance_angle() % 360, abs=2)
    assert "The form has changed" not in words_of(form.warning)


def test_a_changed_form_says_that_the_answer_is_the_old_one(form, recorded):
    click(filled(form, recorded), "solve")
    fit(form, 1, 0.040, 60, 90)
    form.run()
    assert "The form has changed since" in words_of(form.warning)
    click(form, "solve")
    assert "The form has changed since" not in words_of(form.warning)


def test_grade_when_the_mass_is_known(form, recorded):
    form.number_input(key="rotor_mass").set_value(1e3 * PROPELLER.rotor.mass).run()
    click(filled(form, recorded), "solve")
    assert re.fullmatch(r"G\d+", headline(form)["Came with grade"])


def test_check_run_with_two_pieces(form, recorded):
    form.number_input(key="rotor_mass").set_value(1e3 * PROPELLER.rotor.mass).run()
    filled(form, recorded)
    click(form, "more_runs")
    click(form, "more_pieces_2")
    pieces = ((0.0261, 60, 180), (0.0290, 18, 90))
    upload(form, 2, recorded("check.stream.csv", 3, *pieces))
    form.button_group(key="purpose_2").set_value("check").run()
    for piece, (grams, millimetres, degrees) in enumerate(pieces):
        fit(form, 2, grams, millimetres, degrees, piece)
    click(form, "solve")
    assert "inside the permissible" in words_of(form.success)
    click(form, "fewer_pieces_2")
    click(form, "fewer_runs")
    assert "file_2" not in {f.key for f in form.file_uploader}


def test_recordings_without_marks(form, recorded):
    for _ in range(2):
        click(form, "more_runs")
    upload(form, 0, recorded("0.stream.csv", 10, marks=False))
    for run, degrees in ((1, 0), (2, 120), (3, 240)):
        upload(form, run, recorded(f"{run}.stream.csv", 10 + run, (0.030, 60, degrees), marks=False))
        fit(form, run, 0.030, 60, degrees)
    click(form, "solve")
    assert float(headline(form)["At angle (°)"]) == pytest.approx(unbalance_angle(), abs=8)
    assert len(pictures(form)) == 1
    assert "no polar picture" in words_of(form.caption)


def test_two_places_without_marks_show_both_candidates(form, recorded):
    click(form, "more_runs")
    upload(form, 0, recorded("0.stream.csv", 10, marks=False))
    for run, degrees in ((1, 0), (2, 120)):
        upload(form, run, recorded(f"{run}.stream.csv", 10 + run, (0.030, 60, degrees), marks=False))
        fit(form, run, 0.030, 60, degrees)
    click(form, "solve")
    assert len(pictures(form)) == 2
    assert "Candidate 2" in words_of(form.markdown)


def test_bell_has_no_blades_to_ask_for(form, recorded):
    form.button_group(key="rotor_kind").set_value("bell").run()
    assert "rotor_blades" not in {n.key for n in form.number_input}
    click(filled(form, recorded), "solve")
    assert "bell rim: " in words_of(form.markdown)


def test_all_that_is_missing_is_told_in_one_sentence(form):
    click(form, "solve")
    assert words_of(form.error) == (
        "still missing: the recording of run 1, the recording of run 2, the mass in run 2, "
        "the radius in run 2, the angle in run 2; add it and press again."
    )


BAD = {
    "empty.stream.csv": b"",
    "binary.stream.csv": bytes(range(256)) * 8,
    "words.csv": b"this is no recording\nat all\n",
    "header.csv": b"time_s,x_m_s2\n",
    "../../up.csv": b"\x00\x01",
    "![picture](http://192.0.2.1/x.png)<b>.csv": b"no recording",
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_told_in_one_sentence_and_nothing_is_lost(form, recorded, name):
    filled(form, recorded)
    upload(form, 1, (name, BAD[name], "text/csv"))
    click(form, "solve")
    beside, below = form.error
    assert beside.value == below.value
    assert name in words_of(form.error)
    assert not re.search(r"(?<!\\)[!<\[(`*_]", below.value)
    assert form.number_input(key="mass_1_0").value == 0.030
    assert not form.metric
    upload(form, 1, recorded("trial.stream.csv", 2, (0.030, 60, 90)))
    click(form, "solve")
    assert not form.error
    assert form.metric


def test_files_and_figures_outlive_a_look_at_the_bench(form, recorded):
    filled(form, recorded)
    form.button_group(key="source").set_value("bench").run()
    form.button_group(key="source").set_value("files").run()
    assert "as-is.stream.csv: 4.0 s of x, y, z, 1600 samples a second, " in words_of(form.caption)
    assert form.number_input(key="mass_1_0").value == 0.030
    click(form, "solve")
    assert form.metric


def test_a_file_that_is_taken_away_is_gone(form, recorded):
    filled(form, recorded)
    form.file_uploader(key="file_1").set_value(None).run()
    click(form, "solve")
    assert "still missing: the recording of run 2;" in words_of(form.error)

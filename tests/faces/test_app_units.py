"""Vibration in g: every number that is shown is that in m/s^2 over 9.80665, and what is kept stays in m/s^2.

Standard gravity, 9.80665 m/s^2, is of the 3rd CGPM of 1901 (ISO 80000-3); the inch, 25.4 mm, of ISO 80000-3.
"""

from __future__ import annotations

import json
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
from balancer.app.guided.entries import reading_of
from balancer.app.guided.keeping import JobFolder
from balancer.app.live import plain_picture
from balancer.app.recordings.examples import RUN_UP, example_stream
from balancer.app.recordings.service import overview
from balancer.app.recordings.shown_unit import shown_in, sweep_drawn, sweep_in
from balancer.app.recordings.slow_readings import read_sweep
from balancer.app.stands import work
from balancer.app.stands.bench_check import resonances
from balancer.app.units_shown import IN_G, IN_M_S2
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.history.queries import list_parts
from balancer.history.stands import find_stand
from balancer.pictures import job_picture, sweep_picture
from balancer.procedure.noise_floor import NoiseFloor
from balancer.recording.files import read_bytes
from balancer.recording.model import Channel
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from tests.app_page import settled
from tests.faces.test_app_live import RUNNING, turned

MAIN = str(Path(app.__file__).with_name("main.py"))
G = 9.80665
NUMBER = r"\d+(?:\.\d+)?"


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """Let the person's data lie in a folder of their own, as a server started with --home has it."""
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path / "home")])
    yield tmp_path / "home"
    services.close_benches()
    services.store.cache_clear()


def opened(view="balance", **address):
    page = AppTest.from_file(MAIN, default_timeout=30)
    page.query_params.update(address)
    page.run()
    if view != "balance":
        page.switch_page(f"views/{view}.py").run()
    return settled(page)


def shown_with(page, unit):
    page.button_group(key="vibration").set_value(unit).run()
    return settled(page)


def click(page, start):
    next(button for button in page.button if button.key.startswith(start)).click().run()
    assert not page.exception
    return page


def text_of(page):
    groups = (page.markdown, page.caption, page.success, page.warning)
    shown = "\n".join(e.value for group in groups for e in group)
    return re.sub(r"\\(.)|\u2060", r"\1", shown).replace("\xa0", " ")


def numbers(pattern, text):
    """All numbers that a pattern holds in its groups."""
    found = [
        float(value) for row in re.findall(pattern, text) for value in ([row] if type(row) is str else row)
    ]
    assert found, pattern
    return np.array(found)


def assert_by_gravity(in_m_s2, in_g):
    """They are written to two or three digits, so that each may be rounded by a share of 5 % at most."""
    np.testing.assert_allclose(in_m_s2, G * in_g, rtol=0.05)


def one_as_is_run(page):
    for key in ("begin", "acknowledge", "bell", "check", "spin"):
        click(page, key)
    return page


# The choice


def test_the_choice_is_kept_in_the_address_and_from_page_to_page():
    page = opened(vibration="g")
    for view in ("live", "recordings", "stands", "parts", "live"):  # that of the parts has no place to choose
        page.query_params.clear()  # as Streamlit does when the page changes
        page.switch_page(f"views/{view}.py").run()
        assert page.query_params["vibration"] in ("g", ["g"])
        assert all(group.value == "g" for group in page.button_group if group.key == "vibration")
    shown_with(page, "m_s2")
    page.query_params.clear()
    page.switch_page("views/stands.py").run()
    assert page.button_group(key="vibration").value == "m_s2"


@pytest.mark.parametrize("address", ["", "mg", "<b>"])
def test_an_unknown_unit_of_the_address_is_the_usual_one(address):
    assert opened("recordings", vibration=address).button_group(key="vibration").value == "m_s2"


def test_what_is_no_acceleration_stays_in_its_unit():
    assert IN_G.instead_of("m/s^2") is IN_G
    assert IN_G.instead_of("mm/s^2").word == "mm/s²"
    assert IN_G.instead_of("um").factor == 1.0
    assert IN_M_S2.text(1.0) == "1.00"


# The guided job


def test_a_job_shows_its_runs_in_the_unit(home):
    page = one_as_is_run(opened())
    line = rf"1x ({NUMBER}) ± ({NUMBER}) "
    in_m_s2 = numbers(line + "m/s²", text_of(page))
    polar = next(m.value for m in page.markdown if "rings in m/s²" in m.value)
    shown_with(page, "g")
    assert_by_gravity(in_m_s2, numbers(line + "g,", text_of(page)))
    assert "m/s²" not in text_of(page)
    legend = rf"circle [^;]*? ({NUMBER}) %s[;.]"
    in_g = next(m.value for m in page.markdown if "rings in g" in m.value)
    assert_by_gravity(numbers(legend % "m/s²", polar), numbers(legend % "g", in_g))
    (job,) = JobFolder(home).latest(1)
    assert job.job.runs[0].run.readings[1].amplitude == pytest.approx(
        in_m_s2[0], rel=0.01
    )  # kept in m/s^2 as before


def test_the_picture_of_a_job_is_the_same_but_for_its_numbers():
    vector = UncertainComplex(3.0 + 1.0j, Covariance(0.02, 0.01, 0.005))
    floor = NoiseFloor(0.4, "rest")
    once = [(1, Run((vector,), purpose="as-is"))]
    twice = [(1, Run((vector.times(2.0),), purpose="as-is"))]
    doubled = job_picture(once, unit="u", floor=floor, scale=2.0)
    assert doubled == job_picture(twice, unit="u", floor=NoiseFloor(0.8, "rest"))
    assert doubled != job_picture(once, unit="u", floor=floor)


@pytest.mark.parametrize("phase", ["", "30.0"])
def test_a_reading_typed_in_g_is_that_in_m_s2(phase):
    in_g = reading_of("0.500", phase, lead=False, unit=IN_G)
    in_m_s2 = reading_of("0.500", phase, lead=False)  # the digits tell how sure it is, whatever the unit
    if phase:
        assert in_g.value == pytest.approx(G * in_m_s2.value)
        assert in_g.sd_amplitude == pytest.approx(G * in_m_s2.sd_amplitude)
        assert in_g.sd_lag == pytest.approx(in_m_s2.sd_lag)
    else:
        assert (in_g.value, in_g.sd) == pytest.approx((G * in_m_s2.value, G * in_m_s2.sd))


def own_job(unit):
    """A job on a bell of one's own that waits for its first run."""
    page = opened(vibration=unit)
    page.button_group(key="whose").set_value("own").run()
    page.button_group(key="kind").set_value("bell").run()
    for key, value in (("mass", 30.0), ("rpm", 5200.0), ("moving", 260.0), ("ring", 18.0)):
        page.number_input(key=key).set_value(value)
    for key in ("begin", "acknowledge", "skip"):
        click(page, key)
    next(b for b in page.button_group if b.key.startswith("source_")).set_value("typed").run()
    return page


def type_run(page, amplitude, phase):
    for start, text in (("amplitude_", amplitude), ("phase_", phase)):
        next(box for box in page.text_input if box.key.startswith(start)).set_value(text)
    return click(page, "add")


def test_readings_typed_in_g_make_the_same_job(home):
    steps = []
    for unit, amplitudes in (("m_s2", ("1.961330", "1.961330")), ("g", ("0.200000", "0.200000"))):
        page = own_job(unit)
        word = {"m_s2": "m/s²", "g": "g"}[unit]
        assert [b.label for b in page.text_input if b.key.startswith("amplitude_")] == [
            f"Amplitude at 1x ({word}, peak)"
        ]
        for amplitude in amplitudes:
            type_run(page, amplitude, "30.0")
        assert re.search(
            rf"1x {'1.96' if unit == 'm_s2' else '0.200'} ± {NUMBER} {word}, lag 30", text_of(page)
        )
        steps.append(JobFolder(home).latest(1)[0].step)
    in_m_s2, in_g = steps
    assert in_g.action == in_m_s2.action == "fit"
    (trial,), (same,) = in_m_s2.put_on, in_g.put_on
    assert same.amount == pytest.approx(trial.amount, rel=1e-6)


def test_a_number_never_changes_its_unit_while_it_stands_in_its_box():
    page = own_job("m_s2")
    box = next(b for b in page.text_input if b.key.startswith("amplitude_")).set_value("7.0")
    shown_with(page, "g")
    after = next(b for b in page.text_input if b.key.startswith("amplitude_"))
    assert (box.value, after.value) == ("7.0", "")


def test_a_diameter_in_inches(home):
    page = opened()
    page.button_group(key="whose").set_value("own").run()
    page.button_group(key="own_after").set_value("keep").run()
    page.button_group(key="own_diameter_unit").set_value("in").run()
    assert page.number_input(key="own_diameter_in").label == "Diameter (in)"
    page.text_input(key="name").set_value("P-1")
    facts = (("own_diameter_in", 12.0), ("mass", 40.0), ("rpm", 5200.0), ("inner", 40.0), ("outer", 100.0))
    for key, value in facts:
        page.number_input(key=key).set_value(value)
    click(page, "begin")
    assert [one.diameter for one in list_parts(services.store(home))] == [pytest.approx(12 * 25.4e-3)]


# The live page


def test_the_plain_picture_in_g():
    frame = turned().frame()

    def said(unit):
        drawn = (
            plain_picture.polar_drawing(frame, 0, "against", "ccw", unit),
            plain_picture.spectrum_drawing(frame, 0, (), unit),
        )
        line = plain_picture.vector_line(RUNNING, frame, 0, "against", unit)
        figures = plain_picture.headlines(RUNNING, frame, 0, "against", unit)
        sizes = [float(one.value) for one in figures if unit.word in one.label]
        assert len(sizes) == 2
        found = numbers(
            rf"({NUMBER}) (?:± ({NUMBER}) )?{unit.word} at", " ".join((*drawn, line)).replace("± ", "± ")
        )
        return np.array([*sizes, *found])

    def numbers(pattern, text):
        return [float(value) for row in re.findall(pattern, text) for value in row if value]

    assert_by_gravity(said(IN_M_S2), said(IN_G))
    for drawing in (
        plain_picture.spectrum_drawing(frame, 0, (), IN_G),
        plain_picture.signal_drawing(frame, 0, "against", IN_G),
    ):
        assert ">g</text>" in drawing
        assert "m/s" not in drawing


# Recordings


@cache
def steady():
    return coastal_propeller(1).record(speed=COASTAL_SPEED, duration=6.0, seed=1)


def test_an_overview_in_g_is_that_of_a_recording_in_g():
    """Against the whole way with the samples divided, but for what the sensor's own unit decides."""
    recording = steady()
    channels = tuple(Channel(channel.name, "g") for channel in recording.channels)
    divided = replace(recording, channels=channels, samples=recording.samples / G)
    shown, want = shown_in(overview(recording, "running"), IN_G), overview(divided, "running")
    assert shown.unit == "g"
    for name in ("signal", "spectrum", "orders"):
        for one, other in zip(getattr(shown, name), getattr(want, name), strict=True):
            np.testing.assert_allclose(one.values, other.values, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(shown.folded.mean, want.folded.mean, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(shown.folded.scatter, want.folded.scatter, rtol=1e-6, atol=1e-9)
    for one, other in zip(shown.measurement.channels, want.measurement.channels, strict=True):
        assert one.unit == other.unit == one.once.unit
        assert one.overall == pytest.approx(other.overall)
        assert one.amplitude.value == pytest.approx(other.amplitude.value)
        assert one.once.value == pytest.approx(other.once.value)
        assert one.once.sd_amplitude == pytest.approx(other.once.sd_amplitude, rel=1e-6)
    assert [shown.share(k) for k in range(3)] == pytest.approx([want.share(k) for k in range(3)])


def test_the_page_of_recordings_in_g():
    page = opened("recordings")
    page.button_group(key="recordings_source").set_value("steady").run()
    settled(page)
    size = rf"\| y \| ({NUMBER}) %s \(± ({NUMBER})\).*?\| ({NUMBER}) %s \|"
    highest = rf"Highest line of channel y: ({NUMBER}) %s at"
    in_m_s2 = [numbers(p.replace("%s", "m/s²"), text_of(page)) for p in (size, highest)]
    shown_with(page, "g")
    for before, pattern in zip(in_m_s2, (size, highest), strict=True):
        assert_by_gravity(before, numbers(pattern.replace("%s", "g"), text_of(page)))
    charts = [chart.proto.spec for chart in page.get("vega_lite_chart")]
    assert "peak, g" in json.loads(charts[0])["layer"][-1]["encoding"]["y"]["title"]
    assert not any("m/s" in chart for chart in charts)


def test_a_sweep_in_g():
    name, data = example_stream(RUN_UP)
    recording = read_bytes(data, name)
    plain = read_sweep(recording, None)
    in_g = sweep_in(plain, IN_G)
    np.testing.assert_allclose(in_g.amplitudes, plain.amplitudes / G)
    assert (plain.unit, in_g.unit) == ("m/s^2", "g")
    assert sweep_drawn(plain.read, IN_M_S2) == sweep_picture(plain.read).replace("m/s^2", "m/s²")
    drawn = sweep_drawn(plain.read, IN_G)
    assert "amplitude, g<" in drawn
    assert "m/s" not in drawn
    _, swept = resonances(recording, None)
    assert work.Outcome((), sweep=swept).picture(IN_G) == drawn


# Stands


@pytest.fixture
def example(home, example_home):
    shutil.copytree(example_home, home)
    return find_stand(services.store(home), "bench (example)")


def test_the_influence_of_a_stand_in_g(example):
    page = opened("stands")
    click(page, f"stands_open_{example.id}")
    before = text_of(page)
    shown_with(page, "g")
    after = text_of(page)
    row = rf"\| y \| ({NUMBER}) ± ({NUMBER}) \|"
    assert "Size, m/s² per g mm" in before
    assert "Size, g (gravity) per g mm" in after
    assert_by_gravity(numbers(row, before), numbers(row, after))
    behind = rf"y ({NUMBER}) %s per g mm"
    assert_by_gravity(numbers(behind % "m/s²", before), numbers(behind % r"g \(gravity\)", after))
    assert "m/s²" not in after


def test_the_sensor_check_in_g():
    page = opened("stands", vibration="g")
    page.button_group(key="stands_view").set_value("sensor").run()
    page.button_group(key="stands_source_rest").set_value("example").run()
    text = text_of(settled(page))
    assert "| Axis | Mean, g | Noise floor, µg/√Hz | Largest, g |" in text
    means = numbers(rf"\| [xyz] \| (-?{NUMBER}) \|", text)
    assert np.hypot.reduce(means) == pytest.approx(1.0, abs=0.02)  # a sensor at rest shows gravity
    (size,) = numbers(rf"mean of the three axes is ({NUMBER}) g, 1\.0", text)
    assert size == pytest.approx(1.0, abs=0.02)
    assert "m/s²" not in text


def test_the_bench_check_in_g():
    given = work.of_example("repeat")
    plain, in_g = work.outcome("repeat", given), work.outcome("repeat", given, unit=IN_G)
    said = rf"1x is ({NUMBER}) "

    def sizes(outcome, word):
        return numbers(said + word, " ".join(item.text for item in outcome.items))

    assert_by_gravity(sizes(plain, "m/s²"), sizes(in_g, "g;"))
    assert [item.mood for item in plain.items] == [item.mood for item in in_g.items]

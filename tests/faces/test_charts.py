"""Charts: valid in Vega-Lite's grammar (altair checks its schema), small, and fit for any name."""

from __future__ import annotations

import json

import altair as alt
import numpy as np
import pytest

from balancer.app import charts

ALONG = np.linspace(0.0, 800.0, 500)
WAVE = 1 + np.abs(np.sin(ALONG))
HOSTILE = """<img src=x onerror="alert(1)">' : datum"""


def sweep(names=("x", "y"), **how):
    rpm = np.linspace(1000.0, 6000.0, 50)
    degrees = np.array([np.linspace(300, 500, 50) % 360, np.full(50, np.nan)])
    return charts.sweep_charts(rpm, np.ones((2, 50)), degrees, names, unit="m/s^2", **how)


ALL = {
    "line": charts.line_chart(ALONG, WAVE, title="time, s", unit="m/s^2", marked=[(7.0, "throttle cut")]),
    "spectrum": charts.spectrum_chart(ALONG, WAVE, title="Hz", unit="m/s^2", marked=[(87.0, "1x")]),
    "log": charts.spectrum_chart(ALONG, 0 * WAVE, title="Hz", unit="m/s^2", logarithmic=True),
    "folded": charts.folded_chart(
        np.arange(0, 360, 5.0), np.zeros(72), np.ones(72), unit="m/s^2", against=False, reach=3.0
    ),
    "amplitude": sweep(keep_out=[(500.0, 1200.0), (9000.0, 9500.0)], marked=[(2000.0, "resonance")])[0],
    "phase": sweep((HOSTILE, "y"))[1],
}


def layers(spec, mark):
    return [layer for layer in spec["layer"] if layer["mark"]["type"] == mark]


def values(layer):
    return layer["data"]["values"]


@pytest.mark.parametrize("name", ALL)
def test_every_chart_is_valid_and_one_layer_draws_the_lower_axis(name):
    spec = json.loads(json.dumps(ALL[name], allow_nan=False))
    alt.LayerChart.from_dict(spec)
    drawn = [layer["encoding"]["x"]["axis"] for layer in spec["layer"] if layer["encoding"]["x"]["axis"]]
    assert [axis.get("orient", "bottom") for axis in drawn].count("bottom") == 1


def test_places_have_words_in_the_page_s_own_colour():
    (rule,) = layers(ALL["spectrum"], "rule")
    axis = rule["encoding"]["x"]["axis"]
    assert axis["labelExpr"] == "datum.value == 87.0 ? \"1x\" : ''"
    assert ALL["spectrum"]["config"]["axis"]["labelColor"] == "currentColor"


def test_places_outside_are_left_out_and_late_words_stand_to_the_left():
    places = [(-1.0, "no"), (90.0, "early"), (790.0, "late"), (900.0, "no")]
    (rule,) = layers(charts.line_chart(ALONG, WAVE, title="", unit="", marked=places), "rule")
    assert [row["x"] for row in values(rule)] == [90.0, 790.0]
    assert rule["encoding"]["x"]["axis"]["labelAlign"]["condition"]["test"] == "datum.value < 640.0"


@pytest.mark.parametrize("against", [True, False])
def test_time_goes_from_left_to_right_whatever_way_angles_count(against):
    degrees = np.arange(0, 360, 30.0)
    spec = charts.folded_chart(degrees, degrees, 0 * degrees, unit="", against=against, reach=400.0)
    (line,) = layers(spec, "line")
    shown = {row["x"]: row["y"] for row in values(line)}
    assert shown[90.0] == (90.0 if against else 270.0)  # the spot that passes a quarter turn after the mark
    assert line["encoding"]["x"]["scale"]["reverse"] is not against


def test_a_logarithm_has_a_floor():
    spec = charts.spectrum_chart(ALONG, np.where(ALONG < 400, 1.0, 0.0), title="", unit="", logarithmic=True)
    assert min(row["y"] for row in values(layers(spec, "line")[0])) == 1e-4


def test_phase_breaks_where_it_passes_a_turn_and_has_no_points_without_a_value():
    rows = values(layers(ALL["phase"], "line")[0])
    assert {row["channel"] for row in rows} == {HOSTILE}
    assert [row["piece"] for row in rows] == sorted(row["piece"] for row in rows)
    assert {row["piece"] for row in rows} == {0, 1}


def test_amplitudes_never_break():
    rpm = np.arange(3.0)
    amplitude, _ = charts.sweep_charts(rpm, np.array([[1.0, 900.0, 2.0]]), np.zeros((1, 3)), ["x"], unit="")
    assert {row["piece"] for row in values(layers(amplitude, "line")[0])} == {0}


def test_channels_differ_by_dash_as_well():
    encoding = layers(ALL["amplitude"], "line")[0]["encoding"]
    dashes = encoding["strokeDash"]["scale"]["range"]
    assert dashes[0] != dashes[1]
    assert encoding["color"]["scale"]["domain"] == ["x", "y"]

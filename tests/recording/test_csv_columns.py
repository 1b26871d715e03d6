"""Plain CSV files against pandas' reading of the same bytes."""

import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.recording.files import read_bytes

GRAVITY = 9.80665  # m/s^2, standard value (CGPM 1901)


def table(header, rows, delimiter=",", end="\n", comments=()):
    lines = [*comments, header, *(delimiter.join(map(repr, row)) for row in rows)]
    return (end.join(lines) + end).encode()


def found(recording):
    return {finding.code: dict(finding.figures) for finding in recording.findings}


@settings(max_examples=40)
@given(
    st.lists(st.tuples(*[st.floats(-1e6, 1e6)] * 2), min_size=2, max_size=30),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_numbers_are_those_that_pandas_reads(values, delimiter, end):
    rows = [(k / 64, *row) for k, row in enumerate(values)]
    data = table(delimiter.join(("time_s", "x_m/s^2", "y_m/s^2")), rows, delimiter, end)
    frame = pd.read_csv(io.BytesIO(data), sep=delimiter, dtype=str).astype(float)
    recording = read_bytes(data, "a.csv")
    assert np.array_equal(recording.times, frame["time_s"])
    assert np.array_equal(recording.samples, frame[["x_m/s^2", "y_m/s^2"]].to_numpy().T)


@pytest.mark.parametrize(
    ("title", "factor"),
    [
        ("time_s", 1),
        ("t_ms", 1e-3),
        ("t [us]", 1e-6),
        ("Time (µs)", 1e-6),
        ("time (μs)", 1e-6),
        ("timestamp_ns", 1e-9),
        ("t(s)", 1),
        ("elapsed s", 1),
        ('"time_s"', 1),
    ],
)
def test_units_of_time(title, factor):
    recording = read_bytes(table(f"{title},x_g", [(7, 1.0), (9, 2.0), (12, 3.0)]), "a.csv")
    assert recording.times == pytest.approx([0, 2 * factor, 5 * factor])


@pytest.mark.parametrize(
    ("title", "factor", "name"),
    [
        ("x_m/s^2", 1, "x"),
        ("x (m/s^2)", 1, "x"),
        ("x (m/s²)", 1, "x"),
        ("Acc_X [m/s2]", 1, "acc_x"),
        ("ax_g", GRAVITY, "ax"),
        ("x [g]", GRAVITY, "x"),
        ("y_mg", GRAVITY / 1000, "y"),
        ("Acceleration y (mg)", GRAVITY / 1000, "acceleration y"),
        ("left bearing [g]", GRAVITY, "left bearing"),
    ],
)
def test_units_of_acceleration(title, factor, name):
    recording = read_bytes(table(f"time_s,{title}", [(0, 1.0), (1, -2.0)]), "a.csv")
    assert recording.samples[0] == pytest.approx([factor, -2 * factor])
    assert (recording.channels[0].name, recording.channels[0].unit) == (name, "m/s^2")


def test_epoch_times_start_at_zero():
    start = 1_760_000_000_000_000
    recording = read_bytes(table("t_us,x_g", [(start + 500 * k, float(k)) for k in range(5)]), "a.csv")
    assert recording.times == pytest.approx(np.arange(5) * 5e-4, abs=1e-9)


def test_columns_in_any_order_comments_blank_lines_and_columns_of_no_use():
    data = (
        b"\xef\xbb\xbf# a phone, in the workshop\n#\n\nlabel,y_g,mark,temperature [degC],time_s,x_g\n"
        b"start,1,0,21,0.0,4\n\nnone,2,1,21,0.5,5\n\nend,3,0,22,1.0,6\n"
    )
    recording = read_bytes(data, "a.csv")
    assert [channel.name for channel in recording.channels] == ["y", "x"]
    assert recording.samples / GRAVITY == pytest.approx(np.array([[1, 2, 3], [4, 5, 6]]))
    assert recording.times.tolist() == [0, 0.5, 1]
    assert recording.marks == pytest.approx([0.25])
    assert found(recording)["columns_ignored"] == {"names": "label, temperature [degC]"}


@pytest.mark.parametrize("title", ["mark", "Tach", "pulse_V", "tacho (mV)", "hall"])
def test_an_analog_mark_column_gives_edges_between_the_samples(title):
    levels = [0.0, 0.0, 4.0, 4.0, 0.0, 1.0, 4.0, 0.0]
    data = table(f"time_s,x_g,{title}", [(k / 100, 0.0, level) for k, level in enumerate(levels)])
    recording = read_bytes(data, "a.csv")
    # half of the swing from 0 to 4 is passed in the middle, and a third of the way from 1 to 4
    assert recording.marks == pytest.approx([0.015, 0.05 + 0.01 / 3])
    assert found(recording) == {"mark_resolution": {"resolution_us": 0.0}}
    assert recording.sensor.mark_edge == "rising"


def test_the_resolution_of_a_column_of_0_and_1_is_told():
    data = table("time_ms,x_g,mark", [(k, 0.0, k % 5 == 3) for k in range(40)]).replace(b"True", b"1")
    recording = read_bytes(data.replace(b"False", b"0"), "a.csv")
    assert recording.marks == pytest.approx(np.arange(3, 40, 5) * 1e-3 - 5e-4)
    assert found(recording)["mark_resolution"]["resolution_us"] == pytest.approx(1000)


def test_a_flat_mark_column_leaves_a_recording_without_marks():
    recording = read_bytes(table("time_s,x_g,mark", [(k, 0.0, 1) for k in range(5)]), "a.csv")
    assert recording.marks is None
    assert found(recording) == {"mark_column_flat": {}}


def test_half_a_row_at_the_end_is_left_out():
    data = table("time_s,x_g,y_g", [(k, 1.0, 2.0) for k in range(5)])
    recording = read_bytes(data[:-6], "a.csv")
    assert recording.times.size == 4
    assert found(recording) == {"last_line_cut": {"count": 1}}
    assert read_bytes(data[:-1], "a.csv").times.size == 5


def test_uneven_times_are_taken_as_they_are():
    times = np.cumsum(np.random.default_rng(1).exponential(0.01, 50))
    recording = read_bytes(table("time_s,x_g", [(float(time), 1.0) for time in times]), "a.csv")
    assert recording.times == pytest.approx(times - times[0])

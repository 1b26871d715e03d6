"""What the page of recordings is told: readings, questions, overviews, slow readings."""

from __future__ import annotations

import io
import re
from functools import cache

import numpy as np
import pytest
from scipy.io import wavfile

from balancer.app.plain import in_page_words, marked_orders
from balancer.app.recordings.examples import RUN_UP, STEADY, example_stream
from balancer.app.recordings.service import (
    COLUMNS,
    Overview,
    Refusal,
    Upload,
    overview,
    read_upload,
    unbalance_or_not,
)
from balancer.app.recordings.shown_unit import sweep_drawn
from balancer.app.recordings.slow_readings import Sweep, Taps, read_decays, read_sweep
from balancer.app.units_shown import IN_M_S2
from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.stream_writer import make_stream_text
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import rpm_from_rad_s
from tests import foreign, taps


@cache
def example(which):
    return read_upload(Upload(*example_stream(which)), NOTHING).outcome


@cache
def seen(which):
    return overview(example(which))


@cache
def tapped():
    """A stand with a mode at 38 Hz, damping 0.03, tapped three times, as its file would hold it."""
    modes = [(38.0, 0.03, (1.0, 0.3, 0.1))]
    stream = make_stream_text(taps.recorded(taps.tapped(np.random.default_rng(1), modes)))
    return read_upload(Upload("taps.stream.csv", stream), NOTHING).outcome


def table(**how):
    return foreign.table(foreign.even(), ("time_s", foreign.numbers(foreign.even().times)), **how).encode()


def test_steady_example_until_the_throttle_is_cut():
    shown = seen(STEADY)
    assert (shown.kind, shown.steady, shown.sweep) == ("running", True, True)
    assert shown.cut == pytest.approx(7.0, abs=0.05)
    assert rpm_from_rad_s(shown.measurement.speed) == pytest.approx(5200, rel=0.01)
    assert shown.channels[shown.strongest] == "y"
    assert shown.share(shown.strongest) > 0.9
    assert "726 marks" in shown.understood[1]


def test_one_x_is_the_true_one_in_table_orders_and_folded_signal():
    """Against the bench's closed form: the fit, the order line and the turn tell one vector."""
    shown, truth = seen(STEADY), coastal_propeller(1).truth(speed=COASTAL_SPEED)
    for k in (0, 1):
        vector = truth.influence[k] * truth.unbalance
        assert shown.measurement.channels[k].once.value == pytest.approx(vector, rel=0.02)
        line = shown.orders[k]
        at = int(np.argmax(line.values))
        assert line.along[at] == pytest.approx(1.0)
        assert line.values[at] == pytest.approx(abs(vector), rel=0.02)
        turn = shown.folded.mean[k]
        first = 2 * np.mean(turn * np.exp(1j * shown.folded.angles))
        assert first == pytest.approx(vector, rel=0.03)


def test_folded_signal_scatters_as_little_as_the_noise():
    turn = seen(STEADY).folded
    assert turn.turns == pytest.approx(600, abs=10)
    assert np.all(turn.scatter[:2] < 0.25)
    assert np.all(turn.scatter[:2] > 0.01)


@pytest.mark.parametrize("which", [STEADY, RUN_UP])
def test_no_curve_is_larger_than_a_picture_needs_and_no_peak_is_lost(which):
    shown, recording = seen(which), example(which)
    for curve in (*shown.signal, *shown.spectrum, *shown.orders):
        assert curve.along.size <= 2 * COLUMNS
        assert np.all(np.diff(curve.along) > 0)
    for curve, row in zip(shown.signal, recording.samples, strict=True):
        assert (curve.values.min(), curve.values.max()) == (row.min(), row.max())


def test_run_up_example_shows_no_single_vector():
    shown = seen(RUN_UP)
    assert (shown.steady, shown.sweep, shown.cut, shown.folded) == (False, True, None, None)
    assert shown.share(0) is None
    assert "speed_unsteady" not in {finding.code for finding in shown.findings}
    at = int(np.argmax(shown.orders[1].values))
    assert shown.orders[1].along[at] == pytest.approx(1.0)


def test_run_up_example_finds_the_modes_of_the_stand():
    stand = coastal_propeller(1).stand
    found = read_sweep(example(RUN_UP), hover_rpm=5200.0)
    assert isinstance(found, Sweep)
    wanted = [60 * stand.first.frequency, 60 * stand.second.frequency]
    assert found.resonances_rpm == pytest.approx(wanted, rel=0.01)
    assert abs(found.proposed_rpm / 5200 - 1) < 0.2
    assert found.proposal.startswith("Balance at ")
    assert found.hover_rpm == 5200.0
    assert np.all(np.diff(found.rpm) >= 0)
    assert found.amplitudes.shape == found.lags.shape == (3, found.rpm.size)
    assert np.isnan(found.lags).any()  # the axial channel hardly shakes: it has no phase at low speed
    assert sweep_drawn(found.read, IN_M_S2).startswith("<svg")


def test_a_held_speed_is_no_sweep():
    recording = coastal_propeller(1).record(speed=COASTAL_SPEED, duration=3.0, seed=1)
    found = read_sweep(recording, hover_rpm=None)
    assert isinstance(found, Refusal)
    assert "the speed changes only from" in found.text


def test_unbalance_or_not():
    found = unbalance_or_not(example(STEADY), 2, None, None)
    assert "once_dominates" in found.codes
    told = unbalance_or_not(example(STEADY), 2, 7, None)
    assert told == Refusal("a bell does not have 7 magnets; give an even number, or leave it out.")


def test_taps_are_recognised_and_read():
    shown = overview(tapped())
    assert (shown.kind, shown.measurement, shown.orders, shown.sweep) == ("taps", None, (), False)
    found = read_decays(tapped())
    assert isinstance(found, Taps)
    assert found.times == pytest.approx((1.0, 2.5, 4.0), abs=0.15)
    frequency = float(re.match(r"([\d.]+) Hz", found.lines[1])[1])
    assert frequency == pytest.approx(38.0, rel=0.005)
    assert isinstance(read_decays(example(STEADY)), Refusal)


def test_what_the_person_says_it_is_holds():
    assert overview(tapped(), "running").kind == "running"
    assert overview(tapped(), "still").density


def test_a_sensor_at_rest_is_recognised():
    rng = np.random.default_rng(4)
    quiet = taps.recorded(0.02 * rng.standard_normal((3, 8000)) + np.array([[0.3], [-9.8], [0.5]]))
    shown = overview(quiet)
    assert shown.kind == "still"
    assert shown.density == pytest.approx([0.02 / np.sqrt(800.0)] * 3, rel=0.1)


def test_a_table_without_marks_has_orders_by_its_mean_speed():
    shown = overview(read_upload(Upload("a.csv", table()), NOTHING).outcome)
    assert (shown.kind, shown.orders_by_angle, shown.folded) == ("running", False, None)
    assert shown.orders[0].along[np.argmax(shown.orders[0].values)] == pytest.approx(1.0, rel=0.01)
    assert shown.share(0) > 0.9


def test_what_a_table_does_not_say_is_asked_one_after_the_other():
    bare = Upload("a.csv", table(unit="").replace(b"time_s", b"time"))
    first = read_upload(bare, NOTHING)
    assert first.questions == ("time_unit",)
    second = read_upload(bare, Hints(time_unit="s"))
    assert second.questions == ("unit",)
    assert "“Unit of the accelerations”" in second.outcome.text
    third = read_upload(bare, Hints(time_unit="s", unit="m/s^2"))
    assert third.outcome.samples.shape == (3, 2000)
    assert third.questions == ()


def test_a_table_without_times_asks_for_the_rate():
    rows = table().decode().splitlines()
    timeless = Upload("a.csv", "\n".join(row.partition(",")[2] for row in rows).encode())
    assert read_upload(timeless, NOTHING).questions == ("rate",)
    assert read_upload(timeless, Hints(rate=400.0)).outcome.sample_rate == pytest.approx(400.0)


def test_a_sound_file_asks_for_its_mark_and_its_scale():
    wave = np.sin(2 * np.pi * 87.0 * np.arange(48_000) / 8000)
    pulse = (np.arange(48_000) % 92 < 8).astype(float)
    out = io.BytesIO()
    wavfile.write(out, 8000, np.array([wave, pulse], dtype=np.float32).T)
    file = Upload("a.wav", out.getvalue())
    assert read_upload(file, NOTHING).questions == ("mark_channel",)
    asked = read_upload(file, Hints(mark_channel=2))
    assert asked.questions == ("wav_scale",)
    assert "--" not in asked.outcome.text
    assert "“Full scale”" in asked.outcome.text
    read = read_upload(file, Hints(mark_channel=2, wav_scale=20.0)).outcome
    assert read.samples.max() == pytest.approx(20.0, rel=1e-3)
    assert read.marks is not None


def test_bursty_stamps_are_asked_about():
    signal = foreign.even()
    stamps = foreign.bursty(signal.times)
    data = foreign.table(signal, ("time_s", foreign.numbers(stamps, "{:.6f}"))).encode()
    assert read_upload(Upload("a.csv", data), NOTHING).questions == ("stamps",)


def test_marks_come_from_a_second_file():
    marks = "mark_s\n" + "\n".join(f"{time:.6f}" for time in foreign.even().marks)
    reading = read_upload(Upload("a.csv", table()), NOTHING, Upload("m.csv", marks.encode()))
    assert overview(reading.outcome).folded is not None
    broken = read_upload(Upload("a.csv", table()), NOTHING, Upload("m.csv", b"mark_s\nnow\n"))
    assert broken.outcome.text.startswith("m.csv, line 2: ")


@pytest.mark.parametrize(
    ("name", "data", "place"),
    [
        ("empty.csv", b"", "empty.csv: "),
        ("binary.csv", bytes(range(256)) * 4, "binary.csv: "),
        ("words.csv", b"no recording\nat all\n", "words.csv, line 1: "),
        ("torn.csv", b"time_s,x_m_s2\n0,1\n0.1,oops\n0.2,1\n", "torn.csv, line 3: "),
        ("../../etc/passwd", b"\0\1", "../../etc/passwd: "),
    ],
)
def test_refusals_are_one_sentence_with_the_place(name, data, place):
    reading = read_upload(Upload(name, data), NOTHING)
    assert isinstance(reading.outcome, Refusal)
    assert reading.outcome.text.startswith(place)
    assert reading.outcome.text.endswith(".")
    assert "\n" not in reading.outcome.text


def test_options_of_the_command_line_get_the_names_of_boxes():
    assert in_page_words("say --stamps sensor") == "say “Time stamps” of sampling"
    assert in_page_words("say how many (--blades)") == "say how many (“Blades”)"
    assert in_page_words("--unheard-of") == "--unheard-of"


def test_blade_pass_is_marked_where_it_is():
    assert marked_orders(None) == marked_orders(0) == ((1.0, "1x"), (2.0, "2x"))
    assert marked_orders(5)[-1] == (5.0, "blade pass")


def test_a_recording_of_one_constant_channel_does_not_break_the_page():
    quiet = taps.recorded(np.zeros((1, 4000)))
    shown = overview(quiet)
    assert isinstance(shown, Overview)
    assert "channel_flat" in {finding.code for finding in shown.findings}


def _table(seconds, rate, hz=80.0):
    """A table of a sine with marks, as short or as slow as nobody should make one."""
    t = np.arange(round(seconds * rate)) / rate
    rows = np.stack(
        [t, np.sin(2 * np.pi * hz * t), np.cos(2 * np.pi * hz * t), ((t * hz) % 1 < 0.05)], axis=1
    )
    lines = [",".join(f"{value:.6f}" for value in row) for row in rows]
    return Upload("a.csv", "\n".join(["time_s,x_m/s^2,y_m/s^2,mark", *lines]).encode())


def test_a_handful_of_samples_is_refused():
    told = read_upload(_table(0.01, 1000.0), NOTHING).outcome
    assert told == Refusal("a.csv: 10 samples tell nothing; record for some seconds.")


def test_a_run_too_short_to_scatter_is_refused_in_a_sentence():
    """Two tenths of a second are sixteen turns, but two blocks only."""
    recording = read_upload(_table(0.2, 1000.0), NOTHING).outcome
    shown = overview(recording)
    assert shown.measurement is None
    with pytest.raises(InputError, match="too short to tell how sure 1x is; record for some seconds"):
        measure(recording)


def test_a_table_of_a_slow_logger_is_looked_at_all_the_same():
    recording = read_upload(_table(1000.0, 0.1, hz=0.01), NOTHING).outcome
    assert overview(recording, "still").spectrum

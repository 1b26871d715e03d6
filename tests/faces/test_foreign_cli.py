"""Foreign files on the command line: what was understood is shown first, what is missing is asked for."""

import json

import numpy as np
import pytest

from tests.foreign import AMPLITUDE, ONCE_HZ, G, bursty, even, numbers, table
from tests.recording.test_wav import FULL_SCALE, STEREO, TIMES, pcm

SIGNAL = even()


@pytest.fixture
def phone(tmp_path):
    path = tmp_path / "phone.csv"
    path.write_text(table(SIGNAL, ("t", numbers(SIGNAL.times * 1e3, "{:.1f}")), "", factor=G, mark="mark"))
    return path


def test_what_is_missing_is_asked_for_and_then_taken(balancer, phone):
    status, out, err = balancer("measure", phone)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "--time-unit" in err
    status, _, err = balancer("measure", phone, "--time-unit", "ms")
    assert status == 2
    assert "--unit" in err
    status, out, err = balancer("measure", phone, "--time-unit", "ms", "--unit", "g")
    assert (status, err) == (0, "")
    understood, measured = out.split("rpm", 1)
    assert "400.00 Hz" in understood
    assert "'x': channel x in g" in understood
    assert "x: 1x 2.9" in measured  # a mark known to a sample smears 1x by 2 %


def test_check_shows_what_it_understood_and_what_it_found(balancer, phone):
    said = ("--time-unit", "ms", "--unit", "g")
    status, out, err = balancer("check", phone, *said, "--want", "0.001")
    assert (status, err) == (0, "")
    assert out.startswith(
        f"{phone}: table with commas between the cells, UTF-8\n  2000 samples, 5.00 s at 400.00 Hz"
    )
    assert "even time stamps" in out
    assert "record about" in out
    assert out.endswith("Something here needs a look.\n")


def test_check_as_json(balancer, phone):
    status, out, _ = balancer("check", phone, "--time-unit", "ms", "--unit", "g", "--json")
    (found,) = json.loads(out)["recordings"]
    assert status == 0
    assert found["understood"]["sample_rate_hz"] == pytest.approx(400)
    assert found["understood"]["columns"][0] == {"title": "t", "taken_for": "time in ms"}
    assert found["measurement"]["channels"][0]["amplitude"] == pytest.approx(AMPLITUDE[0], rel=0.02)
    assert found["measurement"]["speed_rpm"]["mean"] == pytest.approx(60 * ONCE_HZ, rel=1e-3)


def test_check_of_a_stream_and_of_a_sensor_at_rest(balancer, tmp_path):
    balancer("simulate", tmp_path / "a.stream.csv", "--seconds", "3")
    status, out, _ = balancer("check", tmp_path / "a.stream.csv")
    assert status == 0
    assert "stream of a board" in out
    assert "1x x " in out
    rng = np.random.default_rng(1)
    rows = 0.02 * rng.standard_normal((2000, 3)) + [0, 0, G]
    lines = [",".join(f"{v:.5f}" for v in (t, *row)) for t, row in zip(SIGNAL.times, rows, strict=True)]
    (tmp_path / "still.csv").write_text("time_s,x_m/s^2,y_m/s^2,z_m/s^2\n" + "\n".join(lines) + "\n")
    status, out, _ = balancer("check", tmp_path / "still.csv", "--still", "--json")
    (found,) = json.loads(out)["recordings"]
    # white noise of sd s at rate f has the one-sided density s sqrt(2/f)
    assert found["noise_density"] == pytest.approx([0.02 * np.sqrt(2 / 400)] * 3, rel=0.1)
    assert {f["code"] for f in found["findings"]} == {"noise_usual"}


def test_marks_from_a_file_and_their_refusal(balancer, tmp_path):
    (tmp_path / "m.csv").write_text("mark_s\n" + "\n".join(numbers(SIGNAL.marks, "{:.7f}")))
    (tmp_path / "a.csv").write_text(table(SIGNAL, ("time_s", numbers(SIGNAL.times, "{:.6f}"))))
    (tmp_path / "b.csv").write_text(table(SIGNAL, ("time_s", numbers(bursty(SIGNAL.times), "{:.6f}"))))
    with_phase = json.loads(
        balancer("measure", tmp_path / "a.csv", "--marks", tmp_path / "m.csv", "--json")[1]
    )
    assert with_phase["recordings"][0]["channels"][0]["phase_deg"] == pytest.approx(np.degrees(0.8), abs=0.5)
    without = json.loads(balancer("measure", tmp_path / "b.csv", "--marks", tmp_path / "m.csv", "--json")[1])
    assert without["recordings"][0]["channels"][0]["phase_deg"] is None
    assert "phase_refused" in {f["code"] for f in without["recordings"][0]["findings"]}


def test_sound_with_a_scale_or_a_calibration(balancer, tmp_path):
    (tmp_path / "run.wav").write_bytes(STEREO)
    tone = 10 * np.sqrt(2) / FULL_SCALE * np.cos(1000 * TIMES)
    (tmp_path / "tone.wav").write_bytes(pcm(tone[np.newaxis], 2))
    run, tone_file = tmp_path / "run.wav", tmp_path / "tone.wav"
    calibrated = ("--calibration", tone_file, "--calibration-rms", "10")
    for scale in (("--wav-scale", FULL_SCALE), calibrated):
        status, out, _ = balancer("measure", run, "--mark-channel", "2", *scale, "--json")
        assert status == 0
        (channel,) = json.loads(out)["recordings"][0]["channels"]
        assert channel["amplitude"] == pytest.approx(20.0, rel=5e-3)
    status, _, err = balancer("measure", run, "--mark-channel", "2", "--calibration", tone_file)
    assert (status, "belong together" in err) == (2, True)
    status, _, err = balancer("measure", run, "--mark-channel", "2", "--wav-scale", "1", *calibrated)
    assert (status, "give one of them" in err) == (2, True)

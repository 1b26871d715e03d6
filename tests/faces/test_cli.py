"""The command line: every command runs, prints what was agreed, and refuses bad input in one sentence."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys

import pytest

from balancer.cli import commands
from tests.bad_files import BAD_FILES
from tests.bad_runs import BAD_RUNS

# D. Shreve, "Balancing Without Phase", reliabilityweb.com
AMPLITUDES = """\
radius_mm = 60
[[run]]
amplitude = 10.0
[[run]]
amplitude = 7.0
masses = [{ mass_g = 50, angle_deg = 0 }]
[[run]]
amplitude = 12.0
masses = [{ mass_g = 50, angle_deg = 120 }]
[[run]]
amplitude = 18.0
masses = [{ mass_g = 50, angle_deg = 240 }]
"""

# S. S. Rao, Mechanical Vibrations in SI Units, 6th ed., problem 9.7 (angles counted the same way)
VECTORS = """\
speed_rpm = 5200
radius_mm = 1
rotor_mass_g = 20000
phase = "lag"
[[run]]
amplitude = 0.165
phase_deg = -15
[[run]]
amplitude = 0.225
phase_deg = 35
masses = [{ mass_g = 50, angle_deg = 45 }]
"""


@pytest.fixture
def job(tmp_path, balancer):
    """A job of three recordings of the simulated bench with its truth hidden beside it."""
    seconds = ("--seconds", "4")
    balancer("simulate", tmp_path / "as-is.stream.csv", *seconds, "--truth", tmp_path / "truth.json")
    mass = ("--mass", "0.03", "60", "90")
    balancer("simulate", tmp_path / "trial.stream.csv", *seconds, "--run", "1", *mass)
    (tmp_path / "runs.toml").write_text(
        "radius_mm = 60\nrotor_mass_g = 41\n"
        '[[run]]\nrecording = "as-is.stream.csv"\n'
        '[[run]]\nrecording = "trial.stream.csv"\nmasses = [{ mass_g = 0.03, angle_deg = 90 }]\n'
    )
    return tmp_path


@pytest.mark.parametrize("command", [None, *sorted(commands.commands)])
def test_help_of_every_command(balancer, command):
    status, out, err = balancer(*filter(None, (command, "--help")))
    assert (status, err) == (0, "")
    assert out.startswith(f"Usage: balancer {command or ''}".rstrip())


def test_measure_keeps_the_contract(balancer, job):
    status, out, _ = balancer("measure", job / "as-is.stream.csv", "--json")
    data = json.loads(out)
    (recording,) = data["recordings"]
    assert status == 0
    assert set(recording) >= {
        "file", "sample_rate_hz", "duration_s", "revolutions", "speed_rpm", "channels", "findings",
    }  # fmt: skip
    assert set(recording["speed_rpm"]) == {"mean", "min", "max"}
    assert recording["speed_rpm"]["mean"] == pytest.approx(5200, rel=0.01)
    channel = recording["channels"][0]
    assert set(channel) == {
        "name", "unit", "amplitude", "phase_deg", "sd_amplitude", "sd_phase_deg", "overall_rms",
    }  # fmt: skip
    truth = json.loads((job / "truth.json").read_text())
    assert channel["unit"] == "m/s^2"
    assert channel["amplitude"] == pytest.approx(truth["channels"][0]["amplitude_m_s2"], rel=0.02)


def test_measure_without_marks_has_no_phase(balancer, tmp_path):
    balancer("simulate", tmp_path / "a.stream.csv", "--seconds", "4", "--no-marks")
    _, out, _ = balancer("measure", tmp_path / "a.stream.csv", "--json")
    (recording,) = json.loads(out)["recordings"]
    assert {channel["phase_deg"] for channel in recording["channels"]} == {None}
    assert recording["speed_rpm"]["mean"] == pytest.approx(5200, rel=0.01)
    assert "speed_from_spectrum" in {finding["code"] for finding in recording["findings"]}


def test_solve_finds_the_hidden_truth(balancer, job):
    status, out, _ = balancer("solve", job / "runs.toml", "--json")
    answer, truth = json.loads(out), json.loads((job / "truth.json").read_text())
    assert status == 0
    assert set(answer) >= {
        "method", "initial", "influence", "correction", "next",
        "alternatives", "residual", "consistency", "findings",
    }  # fmt: skip
    assert answer["method"] == "influence"
    assert answer["correction"]["unbalance_gmm"] == pytest.approx(
        truth["correction"]["unbalance_gmm"], rel=0.02
    )
    turn = answer["correction"]["angle_deg"] - truth["correction"]["angle_deg"]
    assert abs((turn + 180) % 360 - 180) < 1.5
    assert answer["correction"]["mass_g"] * 60 == pytest.approx(answer["correction"]["unbalance_gmm"])


def test_solve_typed_vectors(balancer, tmp_path):
    (tmp_path / "runs.toml").write_text(VECTORS)
    _, out, _ = balancer("solve", tmp_path / "runs.toml", "--json")
    answer = json.loads(out)
    assert answer["correction"]["mass_g"] == pytest.approx(47.534, abs=0.001)
    assert answer["correction"]["angle_deg"] == pytest.approx(128.26, abs=0.01)
    # what to add with the trial mass left on: the correction less the trial mass
    x = 47.534 * math.cos(math.radians(128.26)) - 50 * math.cos(math.radians(45))
    assert answer["next"]["mass_g"] * math.cos(math.radians(answer["next"]["angle_deg"])) == pytest.approx(
        x, abs=0.01
    )
    # 20 kg at G6.3 and 5200 rpm (ISO 21940-11): 20000 g times 9549.3 * 6.3 / 5200 um
    assert answer["residual"]["permissible_gmm"] == pytest.approx(
        20000 * 9549.3 * 6.3 / 5200 / 1000, rel=1e-4
    )


def test_solve_amplitudes_only(balancer, tmp_path):
    (tmp_path / "runs.toml").write_text(AMPLITUDES)
    _, out, _ = balancer("solve", tmp_path / "runs.toml", "--json")
    answer = json.loads(out)
    assert answer["method"] == "amplitude-only"
    assert 58.8 <= answer["correction"]["mass_g"] <= 62.0
    assert 40.1 <= answer["correction"]["angle_deg"] <= 41.7
    assert answer["initial"]["phase_deg"] is None
    assert answer["consistency"] == pytest.approx(0.052, abs=0.001)


def test_solve_in_words_with_tape_and_picture(balancer, job):
    status, out, err = balancer(
        "solve", job / "runs.toml", "--tape-g-m2", "145", "--picture", job / "polar.svg", "--angles", "with"
    )
    assert (status, err) == (0, "")
    assert "Angles count with the rotation" in out
    assert "unplug the battery" in out
    assert re.search(r"As tape: [\d.]+ mm of 10 mm tape", out)
    assert (job / "polar.svg").read_text().startswith("<svg")


def test_a_list_tape_asks_to_be_weighed(balancer, job):
    _, out, _ = balancer("solve", job / "runs.toml", "--tape", "vinyl")
    assert "Weigh a strip of yours before you trust it" in out


def test_demo_tells_cautions_first_and_proves_itself(balancer, tmp_path):
    status, out, err = balancer("demo", "--out", tmp_path / "demo")
    assert (status, err) == (0, "")
    assert out.index("eye protection") < out.index("As-is run")
    removed = float(re.search(r"the tape took ([\d.]+) % of it away", out)[1])
    assert removed > 90
    assert {p.name for p in (tmp_path / "demo").iterdir()} >= {
        "propeller.svg",
        "polar.svg",
        "check.stream.csv",
    }


def test_demo_recordings_are_the_ones_told(balancer, tmp_path):
    _, out, _ = balancer("demo", "--out", tmp_path)
    _, measured, _ = balancer("measure", tmp_path / "as-is.stream.csv")
    told = re.search(r"x: 1x ([\d.]+) m/s\^2", out)[1]
    assert float(re.search(r"x: 1x ([\d.]+) m/s\^2", measured)[1]) == pytest.approx(float(told), rel=0.002)


def test_simulate_never_overwrites_unasked(balancer, tmp_path):
    name = tmp_path / "a.stream.csv"
    balancer("simulate", name, "--seconds", "1")
    before = name.read_bytes()
    status, _, err = balancer("simulate", name, "--seconds", "1", "--run", "2")
    assert (status, name.read_bytes()) == (1, before)
    assert "already" in err
    status, _, _ = balancer("simulate", name, "--seconds", "1", "--run", "2", "--overwrite")
    assert (status, name.read_bytes() == before) == (0, False)


def one_sentence(err: str) -> bool:
    return err.count("\n") == 1 and err.rstrip().endswith(".") and "Traceback" not in err


@pytest.mark.parametrize(("name", "content", "words"), BAD_FILES, ids=[case[0] for case in BAD_FILES])
def test_bad_recordings(balancer, tmp_path, name, content, words):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    status, out, err = balancer("measure", path, "--json")
    assert (status, out) == (2, "")
    assert one_sentence(err)
    assert name in err
    assert words in err


@pytest.mark.parametrize(("name", "text", "words"), BAD_RUNS, ids=[case[0] for case in BAD_RUNS])
def test_bad_runs_files(balancer, tmp_path, name, text, words):
    path = tmp_path / "runs.toml"
    path.write_text(text)
    status, out, err = balancer("solve", path, "--json")
    assert (status, out) == (2, "")
    assert one_sentence(err)
    assert "runs.toml" in err
    assert words in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["mesure"], "No such command"),
        (["measure"], "Missing argument"),
        (["measure", "a.csv", "--rpm", "fast"], "not a valid float"),
        (["measure", "a.csv", "--rpm", "-5"], "not in the range"),
        (["measure", "nowhere.csv"], "nowhere.csv"),
        (["solve", "nowhere.toml"], "nowhere.toml"),
        (["solve", "a.toml", "--tape", "gold"], "gold"),
        (["solve", "a.toml", "--angles", "left"], "left"),
        (["simulate", "a.stream.csv", "--seconds", "0"], "not in the range"),
        (["simulate", "a.stream.csv", "--mass", "1", "2"], "requires 3 arguments"),
        (["simulate", "a.stream.csv", "--mass", "1", "0", "90"], "radius"),
        (["simulate", "a.stream.csv", "--mass", "nan", "60", "90"], "finite"),
        (["app", "--port", "99999999"], "not in the range"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_bad_arguments(balancer, tmp_path, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    status, out, err = balancer(*arguments)
    assert (status, out) == (2, "")
    assert one_sentence(err)
    assert words in err


def test_a_folder_in_the_way_is_a_failed_operation(balancer, tmp_path):
    (tmp_path / "file").write_text("")
    status, _, err = balancer("demo", "--out", tmp_path / "file" / "inside")
    assert status == 1
    assert one_sentence(err)


def test_a_mistake_of_the_program_is_told_in_one_sentence(balancer, monkeypatch):
    monkeypatch.setattr("balancer.live.ports.ports", lambda: 1 / 0)
    status, out, err = balancer("ports")
    assert (status, out) == (1, "")
    assert one_sentence(err)
    assert "ZeroDivisionError" in err


def test_the_installed_program_prints_only_json():
    run = subprocess.run(
        [sys.executable, "-c", "from balancer.cli import main; main()", "measure", "nowhere.csv", "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (run.returncode, run.stdout) == (2, "")
    assert one_sentence(run.stderr)

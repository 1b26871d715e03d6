"""`balancer runup` and `balancer footage`."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from balancer.cli.base import commands
from balancer.cli.footage import footage
from balancer.cli.run_up import runup
from balancer.errors import InputError
from balancer.recording.files import write
from tests.sweeps import bench_with_resonances, coast_down
from tests.taps import recorded, tapped


@pytest.fixture(scope="module")
def sweep(tmp_path_factory):
    path = tmp_path_factory.mktemp("sweeps") / "coast-down.stream.csv"
    write(coast_down(bench_with_resonances(0), 0), path)
    return str(path)


@pytest.fixture
def taps(tmp_path):
    path = tmp_path / "taps.stream.csv"
    write(recorded(tapped(np.random.default_rng(8), [(18.0, 0.09, np.array([0.2, 1.0, 0.3]))])), path)
    return str(path)


def run(command, *arguments):
    result = CliRunner().invoke(command, [str(a) for a in arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return result


def test_the_commands_are_in_the_group():
    assert commands.commands["runup"] is runup
    assert commands.commands["footage"] is footage


def test_a_sweep_in_json(sweep):
    result = run(runup, sweep, "--hover-rpm", 5200, "--json")
    (shown,) = json.loads(result.stdout)["sweeps"]
    stand = bench_with_resonances(0).stand
    found = [mode["frequency_hz"] for mode in shown["resonances"]]
    for mode in (stand.first, stand.second):
        assert min(abs(f / mode.frequency - 1) for f in found) < 0.01
    assert set(shown["curve"]["channels"][0]) == {"name", "amplitude", "phase_deg", "sd"}
    assert 1500 <= shown["proposed"]["rpm"] <= 9000
    assert "Clamp it" in result.stderr


def test_a_sweep_in_words_with_a_picture(sweep, tmp_path):
    picture = tmp_path / "sweep.svg"
    result = run(runup, sweep, "--hover-rpm", 5200, "--picture", picture)
    assert "resonance at" in result.stdout
    assert "balance at" in result.stdout
    # the cautions come before what was read
    assert result.output.index("Clamp it") < result.output.index("resonance at")
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_one_picture_for_two_sweeps(sweep):
    with pytest.raises(InputError, match="one picture"):
        run(runup, sweep, sweep, "--picture", "x.svg")


def test_footage_typed():
    given = ("--mount-hz", 22, "--mount-damping", 0.1, "--rpm", 4800, "--craft-g", 1800, "--camera-g", 250)
    shown = json.loads(run(footage, *given, "--gmm", 0.5, "--arms", 6, "--json").stdout)
    assert len(shown["arm_forces_n"]) == 6
    assert shown["once"]["frequency_hz"] == pytest.approx(80.0)
    assert shown["camera"]["typical_m_s2"] < shown["craft"]["typical_m_s2"]
    each = ["--arm", 0.5] * 6
    assert json.loads(run(footage, *given, *each, "--json").stdout) == shown
    assert "gets through" in run(footage, *given).stdout


def test_footage_from_taps(taps):
    shown = json.loads(run(footage, "--tap", taps, "--rpm", 4800, "--json").stdout)
    assert shown["mount"]["frequency_hz"] == pytest.approx(18.0, rel=0.01)
    assert shown["tap"]["taps"] == 3
    assert "3 taps" in run(footage, "--tap", taps, "--rpm", 4800).stdout


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--mount-hz", "20", "--rpm", "5000"), "--mount-damping"),
        (("--rpm", "5000"), "or --tap"),
        (("--mount-hz", "20", "--mount-damping", "0.1", "--rpm", "5000", "--gmm", "1"), "--arms"),
    ],
)
def test_what_does_not_fit_together(given, words):
    result = CliRunner().invoke(footage, given)
    assert result.exit_code == 2
    assert words in result.stderr

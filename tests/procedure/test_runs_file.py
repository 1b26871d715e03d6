"""Runs files that are good: what is read out of them."""

import cmath
import math
from pathlib import Path

import pytest

from balancer.core.runs import Amplitude
from balancer.core.vectors import UncertainComplex
from balancer.procedure.runs_file import parse_runs, read_runs_file
from balancer.units import rpm_from_rad_s


def parse(text):
    return parse_runs(text, name="runs.toml", folder=Path("job"))


FULL = """\
speed_rpm = 5200
radius_mm = 60            # default radius for masses
phase = "lag"
rotor_mass_g = 12
grade = 2.5

[[run]]
recording = "as-is.stream.csv"
purpose = "as-is"

[[run]]
recording = "sub/trial.stream.csv"
masses = [{ mass_g = 0.012, angle_deg = 90 }, { mass_g = -0.5, angle_deg = -45, radius_mm = 20.5 }]
"""


def test_every_setting_in_si():
    job = parse(FULL)
    assert rpm_from_rad_s(job.speed) == pytest.approx(5200)
    assert (job.radius, job.rotor_mass, job.grade) == pytest.approx((0.060, 0.012, 2.5e-3))
    assert job.name == "runs.toml"
    assert [run.line for run in job.runs] == [7, 11]


def test_recordings_are_looked_for_beside_the_file():
    job = parse(FULL)
    assert [run.recording for run in job.runs] == [
        Path("job/as-is.stream.csv"),
        Path("job/sub/trial.stream.csv"),
    ]
    assert [run.reading for run in job.runs] == [None, None]
    assert [run.purpose for run in job.runs] == ["as-is", ""]


def test_masses_with_default_and_own_radius():
    tape, hole = parse(FULL).runs[1].masses
    assert (tape.mass, tape.radius, tape.angle) == pytest.approx((12e-6, 0.060, math.pi / 2))
    assert (hole.mass, hole.radius, hole.angle) == pytest.approx((-0.5e-3, 0.0205, -math.pi / 4))
    assert parse(FULL).runs[0].masses == ()


def test_a_mass_may_bring_the_only_radius():
    text = FULL.replace("radius_mm = 60 ", "# ").replace("angle_deg = 90", "angle_deg = 90, radius_mm = 55")
    assert parse(text).radius == pytest.approx(0.055)


TYPED = """\
radius_mm = 60
{top}
[[run]]
amplitude = {amplitude}
phase_deg = {phase}
{more}
"""


def typed(amplitude="7.0", phase="160", top="", more=""):
    return parse(TYPED.format(amplitude=amplitude, phase=phase, top=top, more=more)).runs[0]


@pytest.mark.parametrize(("top", "sign"), [("", 1), ('phase = "lag"', 1), ('phase = "lead"', -1)])
def test_lead_and_lag(top, sign):
    reading = typed(top=top).reading
    assert isinstance(reading, UncertainComplex)
    assert reading.value == pytest.approx(cmath.rect(7.0, sign * math.radians(160)))


STATED = "sd_amplitude = 0.2\nsd_phase_deg = 3"


@pytest.mark.parametrize("top", ["", 'phase = "lead"'])
def test_stated_uncertainty(top):
    run = typed(top=top, more=STATED)
    assert run.reading.sd_amplitude == pytest.approx(0.2)
    assert run.reading.sd_lag == pytest.approx(math.radians(3))
    assert not run.assumed_sd


@pytest.mark.parametrize(
    ("amplitude", "phase", "step", "step_deg"),
    [
        ("7.0", "160", 0.1, 1),
        ("7", "160.0", 1, 0.1),
        ("7.25", "-160", 0.01, 1),
        ("725e-2", "1.6e2", 0.01, 10),
    ],
)
def test_uncertainty_from_the_last_digit(amplitude, phase, step, step_deg):
    # a rectangular distribution one step wide has the standard deviation step/sqrt(12) (GUM 4.3.7)
    run = typed(amplitude, phase)
    assert run.assumed_sd
    assert run.reading.sd_amplitude == pytest.approx(step / math.sqrt(12))
    assert run.reading.sd_lag == pytest.approx(math.radians(step_deg) / math.sqrt(12))


def test_amplitude_without_phase():
    run = parse("radius_mm = 60\n[[run]]\namplitude = 7.0\nsd_amplitude = 0.3\n").runs[0]
    assert run.reading == Amplitude(7.0, 0.3)
    assert not run.assumed_sd


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_files_of_every_editor(tmp_path, encoding, newline):
    path = tmp_path / "job ä.toml"
    path.write_bytes(FULL.replace("\n", newline).encode(encoding))
    job = read_runs_file(path)
    assert [run.line for run in job.runs] == [7, 11]
    assert job.runs[0].recording == tmp_path / "as-is.stream.csv"
    assert job.name == str(path)


def test_inline_runs():
    job = parse("radius_mm = 60\nrun = [{ amplitude = 5 }, { amplitude = 6, masses = [] }]\n")
    assert [run.reading.value for run in job.runs] == [5.0, 6.0]

"""What the page asks for: the job on the simulated bench and the job from files, without Streamlit."""

from __future__ import annotations

import cmath
import json
import math
from dataclasses import replace
from functools import cache

import pytest

from balancer.app import words
from balancer.app.services import BenchJob, FileJob, FileRun, RotorFacts, TypedMass, roll
from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller

TAPE = roll("aluminium", 10.0)
PROPELLER = coastal_propeller(1)
FACTS = RotorFacts(hand=PROPELLER.rotor.hand, mass=PROPELLER.rotor.mass)


def played(part, seed, runs=3):
    job = BenchJob.of(part, seed, TAPE)
    for _ in range(runs):
        job = job.spun()
    return job


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """Give the bytes of a run of the simulated propeller with masses (g, mm, deg) on it."""
    folder = tmp_path_factory.mktemp("recordings")

    @cache
    def record(number, *masses, marks=True):
        fitted = [Mass(g * 1e-3, mm * 1e-3, math.radians(deg)) for g, mm, deg in masses]
        recording = PROPELLER.record(speed=COASTAL_SPEED, duration=4.0, masses=fitted, seed=number)
        path = folder / f"{number}-{marks}.stream.csv"
        write(recording if marks else replace(recording, marks=None), path, overwrite=True)
        return path.read_bytes()

    return record


@pytest.fixture(scope="module")
def trial_runs(recorded):
    """As it came, and with 30 mg at 60 mm and 90 deg."""
    return (
        FileRun("as-is.stream.csv", recorded(1), "as-is"),
        FileRun("trial.stream.csv", recorded(2, (0.030, 60, 90)), "trial", (TypedMass(0.030, 60.0, 90.0),)),
    )


@pytest.mark.parametrize("part", ["propeller", "bell"])
@pytest.mark.parametrize("seed", [1, 2])
def test_bench_job_finds_what_is_hidden_and_removes_it(part, seed):
    advised = played(part, seed, runs=2).result.solution.answer.correction
    job = played(part, seed)
    assert abs(advised.value + job.hidden) < 0.02 * abs(job.hidden)
    assert abs(job.truly_left) < 0.05 * abs(job.hidden)
    assert job.result.checked
    assert job.result.good_enough
    assert job.done


def test_bench_job_shows_the_rotor_as_it_turns():
    hands = {coastal_propeller(seed).rotor.hand: seed for seed in range(10)}
    for hand, seed in hands.items():
        job = played("propeller", seed, runs=1)
        assert job.rotor.hand == hand
        picture = words.rotor_drawing(job.rotor, job.trial, "against", role="trial")
        assert f"turning {words.HANDS[hand]};" in picture
        assert f"turns {words.HANDS[hand]}," in words.first_picture(job, 0, "against")
    assert set(hands) == {"ccw", "cw"}


def test_grade_is_unbalance_over_mass_times_speed():
    """e_per omega = G, ISO 21940-11:2016."""
    result = played("bell", 3, runs=2).result
    found = result.found
    assert found.grade == pytest.approx(found.unbalance / 0.025 * result.solution.speed)
    assert result.solution.speed == pytest.approx(2 * math.pi * 5200 / 60, rel=0.01)


def test_tape_that_is_too_heavy_for_a_trial_is_refused():
    job = BenchJob.of("propeller", 1, roll("weighed", 50.0, 10.0, 5.0))
    with pytest.raises(InputError, match="far too heavy for a trial; choose a lighter or a narrower"):
        job.spun()


def test_files_give_what_the_bench_hides(trial_runs):
    result = FileJob(trial_runs, FACTS, TAPE).solved()
    correction = result.solution.answer.correction.value
    assert abs(correction + PROPELLER.rotor.unbalance) < 0.02 * abs(PROPELLER.rotor.unbalance)
    assert not result.checked
    assert [item.where for item in result.layouts[0]] == ["blade 2", "bell rim"]


def test_files_with_a_check_run_tell_what_is_left(recorded, trial_runs):
    advice = FileJob(trial_runs, FACTS, TAPE).solved().layouts[0]
    fitted = [(i.mass.mass * 1e3, i.mass.radius * 1e3, math.degrees(i.mass.angle)) for i in advice]
    check = FileRun("check.stream.csv", recorded(3, *fitted), "check", tuple(TypedMass(*m) for m in fitted))
    result = FileJob((*trial_runs, check), FACTS, TAPE).solved()
    assert result.checked
    assert result.good_enough
    assert words.change_text(result, 0).startswith("The once-per-turn shaking on axis x went down by 9")


def test_files_without_marks_need_no_phase(recorded):
    places = [0, 120, 240]
    runs = [FileRun("0", recorded(10, marks=False), "as-is")] + [
        FileRun(
            f"{n}", recorded(11 + n, (0.03, 60, deg), marks=False), "trial", (TypedMass(0.03, 60.0, deg),)
        )
        for n, deg in enumerate(places)
    ]
    result = FileJob(tuple(runs), FACTS, TAPE, expected_rpm=5200.0).solved()
    assert result.solution.answer.method == "amplitude-only"
    correction = result.solution.answer.correction.value
    assert abs(correction + PROPELLER.rotor.unbalance) < 0.10 * abs(PROPELLER.rotor.unbalance)
    assert words.polar(result, 0, "against") is None


def test_two_places_without_marks_show_both_candidates(recorded):
    runs = [FileRun("0", recorded(10, marks=False), "as-is")] + [
        FileRun(
            f"{n}", recorded(11 + n, (0.03, 60, deg), marks=False), "trial", (TypedMass(0.03, 60.0, deg),)
        )
        for n, deg in enumerate([0, 120])
    ]
    result = FileJob(tuple(runs), FACTS, TAPE).solved()
    assert len(result.layouts) == 2
    assert words.layout_titles(result)[1] == "Candidate 2: where the tape would go"
    assert "tape2.svg" in [file.name for file in words.downloads(result, 0, "against")]


def test_all_that_is_missing_is_listed_in_one_go():
    runs = (FileRun("", None, "as-is"), FileRun("", None, "trial", (TypedMass(None, 60.0, None),)))
    wanted = (
        "still missing: the recording of run 1, the recording of run 2, the mass in run 2, the angle in run 2"
    )
    with pytest.raises(InputError, match=wanted):
        FileJob(runs, FACTS, TAPE).solved()


@pytest.mark.parametrize(
    ("facts", "problem"),
    [
        (replace(FACTS, radius=0.010), "the hub's radius is 18"),
        (replace(FACTS, tape_radius=0.200), "lies outside the rotor"),
    ],
)
def test_sizes_that_do_not_fit_are_refused_before_they_are_drawn(trial_runs, facts, problem):
    with pytest.raises(InputError, match=problem):
        FileJob(trial_runs, facts, TAPE).solved()


def test_a_weighed_strip_makes_the_tape():
    tape = roll("weighed", 12.0, 1000.0, 1.8)
    assert tape.areal_density == pytest.approx(0.150)
    assert tape.weighed
    with pytest.raises(InputError, match="needs a length and a mass"):
        roll("weighed", 12.0, None, 1.8)


def test_angles_are_shown_the_way_the_person_counts():
    job = played("propeller", 1)
    for way, sign in (("against", 1), ("with", -1)):
        advice = replace(job, runs=job.runs[:2]).result
        shown = words.correction_headlines(advice, way)[2]
        lag = math.degrees(advice.solution.answer.correction.lag)
        assert float(shown.value) == pytest.approx(sign * lag % 360, abs=0.5)
        assert way in shown.help
        truth = round(math.degrees(sign * cmath.phase(job.hidden)) % 360)
        assert f"at {truth} deg" in words.truth_lines(job, way)[0]
        for picture in (words.polar(job.result, 0, way), words.rotor_drawing(job.rotor, (), way)):
            assert f"{way} the rotation" in picture


def test_downloads_are_whole_files():
    files = {file.name: file.text for file in words.downloads(played("bell", 1).result, 0, "against")}
    assert json.loads(files["solution.json"])["method"] == "influence"
    assert all(
        files[name].startswith('<svg xmlns="http://www.w3.org/2000/svg"') for name in files if "svg" in name
    )
    assert set(files) == {"solution.json", "tape.svg", "polar.svg"}


def test_whatever_a_file_is_called_it_is_shown_as_it_stands():
    name = "![x](http://a.b/c.png) <b>`1*2*3` :red[x] $1$\n# y"
    shown = words.plain(name)
    assert "\n" not in shown
    assert all(shown[n - 1] == "\\" for n, c in enumerate(shown) if c in "![(<`*:$#_")

"""What the page asks for, without Streamlit: jobs on disk, the simulated bench, what is typed, pictures."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
from streamlit.testing.v1 import AppTest

from balancer.app.guided import changes, words
from balancer.app.guided.changes import Upload
from balancer.app.guided.entries import TypedPart, reading_of, reason_of, stock_of
from balancer.app.guided.keeping import JobFolder
from balancer.app.guided.link import Link, Stored, in_step
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.plain import plain
from balancer.app.services import MovedError, home_of
from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Placement
from balancer.core.places import Places
from balancer.core.runs import Amplitude
from balancer.errors import BalancerError, InputError
from balancer.findings import Finding
from balancer.history.store import default_home
from balancer.pictures import job_picture, rotor_view, step_picture
from balancer.procedure.job import Job
from balancer.procedure.job_file import read_job
from balancer.procedure.job_runs import run_of_reading
from balancer.procedure.part import Part
from balancer.procedure.step import Step
from balancer.wording import finding_text

TAPE = stock_of("aluminium", 10.0)
OWN = TypedPart("propeller", "P-3", 41.0, 5200.0, inner_mm=40.0, outer_mm=80.0, ring_mm=18.0)
BELL = TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=18.0)


@pytest.fixture
def folder(tmp_path):
    return JobFolder(tmp_path / "home")


def begun(folder, part=None):
    id = folder.begin(SimulatedPart().job(TAPE) if part is None else part.job(TAPE), part)
    kept = folder.get(id)
    return folder.change(id, kept.digest, lambda kept: replace(changes.acknowledged(kept), below="balanced"))


def followed(folder, kept):
    """Do at the simulated bench what is said, each step a change that is written."""
    works = {
        "check-sensor": changes.checked,
        "fit": changes.fitted_as_advised,
        "spin": changes.spun,
        "set-aside": lambda kept: changes.set_aside(kept, kept.step.runs, "it does not belong"),
    }
    for _ in range(20):
        if kept.step.ends:
            return kept
        kept = folder.change(kept.id, kept.digest, works[kept.step.action])
    raise AssertionError("the job never came to an end")


@pytest.mark.parametrize(("kind", "number"), [("propeller", 4), ("bell", 2)])
def test_a_job_on_the_simulated_bench_takes_away_what_is_hidden(folder, kind, number):
    part = SimulatedPart(kind, number)
    ended = followed(folder, begun(folder, part))
    permissible = part.part.permissible(ended.job.speed)
    assert ended.step.action == "done"
    assert abs(part.hidden) > 1.5 * permissible
    assert abs(part.left(ended.job.masses)) < permissible
    assert folder.get(ended.id).job == ended.job  # and all of it is on disk


def test_each_number_hides_another_part_and_each_run_has_noise_of_its_own():
    hidden = {SimulatedPart(kind, n).hidden for kind in ("propeller", "bell") for n in range(5)}
    assert len(hidden) == 10
    part = SimulatedPart("bell", 3)
    job = part.job(TAPE)
    spun = [part.spin(replace(job, runs=(None,) * n)) for n in (0, 1)]
    assert len({one.digest for one in (*spun, part.at_rest())}) == 3


@pytest.mark.parametrize("data", [{"kind": "wing", "number": 1}, {"kind": "bell", "number": -1}, {"part": 1}])
def test_no_other_simulated_parts(data):
    with pytest.raises(InputError, match="simulated"):
        SimulatedPart.of_data(data)


def test_the_sensor_at_rest_passes_its_check(folder):
    kept = begun(folder, SimulatedPart())
    checked = changes.checked(kept).check
    assert checked.passed
    assert {finding.severity for finding in checked.findings} == {"info"}


def test_the_command_line_takes_the_job_up(folder, balancer):
    kept = begun(folder, SimulatedPart())
    status, out, _ = balancer("job", "next", folder.folder / f"{kept.id}.json")
    assert status == 0
    assert "Check the sensor at rest" in out


def test_a_change_that_is_refused_leaves_the_file_as_it_was(folder):
    kept = begun(folder, SimulatedPart())
    before = read_job(folder.folder / f"{kept.id}.json")
    with pytest.raises(InputError, match="not to fit"):
        folder.change(kept.id, kept.digest, changes.fitted_as_advised)
    assert read_job(folder.folder / f"{kept.id}.json") == before


def test_two_tabs_do_not_write_over_each_other(folder):
    seen = begun(folder, SimulatedPart())
    folder.change(seen.id, seen.digest, changes.check_skipped)
    with pytest.raises(MovedError, match="gone on already; look at what is shown"):
        folder.change(seen.id, seen.digest, changes.spun)
    assert folder.get(seen.id).job.runs == ()


@pytest.mark.parametrize("id", ["", "x", "../../etc/passwd", "20260101-000000-abcdef/../x", "a" * 5000])
def test_what_stands_in_an_address_never_becomes_a_path(folder, id):
    assert not folder.holds(id)
    with pytest.raises(InputError, match="there is no such job"):
        folder.get(id)


@pytest.mark.parametrize("text", ["", "no JSON", "[]", '{"form": "balancer job 1"}', "[" * 100_000])
def test_a_damaged_file_is_told_in_one_sentence_and_left_out_of_the_list(folder, text):
    kept, other = begun(folder, SimulatedPart()), begun(folder, SimulatedPart("bell", 2))
    (folder.folder / f"{kept.id}.json").write_text(text)
    with pytest.raises(BalancerError) as told:
        folder.get(kept.id)
    assert re.fullmatch(rf"\S+{kept.id}\.json: [^\n]+\.", str(told.value))
    assert [one.id for one in folder.latest(9)] == [other.id]
    assert folder.unreadable(9) == (str(told.value),)


def test_a_job_that_goes_while_the_list_is_made_is_no_trouble(folder):
    kept = begun(folder, SimulatedPart())
    (folder.folder / "20260101-000000-abcdef.json").symlink_to("gone")  # listed, but not there any more
    assert [one.id for one in folder.latest(9)] == [kept.id]
    assert folder.unreadable(9) == ()


@pytest.mark.parametrize(
    ("used", "runs", "stored", "declined"),
    [(True, 1, True, False), (False, 1, True, True), (False, 0, False, False)],
)
def test_a_link_that_is_ahead_of_its_job_says_what_the_job_does(used, runs, stored, declined):
    """The link is written first: ended in between, it tells of what the job does not have yet."""
    coefficient = Stored("vice", "2026-05-01", 1, 5200.0, 5.0, suffices=True)
    job = OWN.job(TAPE)
    for _ in range(runs):
        job = job.with_run(run_of_reading(job, "as-is", reading_of("7.0", "30", lead=False), assumed=True))
    job = SimpleNamespace(known=object() if used else None, hint=None, runs=job.runs)
    for ahead in (Link("p", stored=coefficient), Link("p", stored=coefficient, declined=True)):
        seen = in_step(ahead, job)
        if (ahead.declined, used) in ((False, True), (True, False)):
            assert seen == ahead  # they agree
        else:
            assert (seen.stored is not None, seen.declined) == (stored, declined)


def test_the_list_holds_the_latest_first(folder):
    assert folder.latest(3) == ()
    ids = [begun(folder, SimulatedPart("bell", n)).id for n in range(3)]
    first = folder.get(ids[0])
    folder.change(first.id, first.digest, changes.check_skipped)
    assert [one.id for one in folder.latest(2)] == [ids[0], ids[2]]
    assert folder.latest(1)[0].simulated == SimulatedPart("bell", 0)


def test_the_same_file_is_worked_out_once(folder):
    kept = begun(folder, SimulatedPart())
    assert folder.get(kept.id).worked is kept.worked


def test_the_home_is_that_of_the_person_unless_another_is_named(tmp_path):
    assert home_of(["main.py"]) == default_home()
    assert home_of(["main.py", "--home"]) == default_home()
    assert home_of(["main.py", "--home", str(tmp_path)]) == tmp_path


def test_the_person_s_own_part():
    job = OWN.job(TAPE)
    assert (job.part.mass, job.part.name, job.below) == (pytest.approx(0.041), "P-3", "unbalanced")
    assert [blade.outer for blade in job.part.places.blades] == pytest.approx([0.08, 0.08])
    bell = BELL.job(TAPE)
    assert [ring.radius for ring in bell.part.places.rings] == pytest.approx([0.018])


@pytest.mark.parametrize(
    ("part", "message"),
    [
        (
            TypedPart("propeller"),
            "still missing: the mass of all that turns, the speed, from where tape may lie, to where it may "
            "lie; add it and press again.",
        ),
        (TypedPart("bell", mass_g=25.0, rpm=5200.0), "still missing: the radius of the rim; add it"),
        (
            replace(OWN, inner_mm=90.0),
            "tape on blade 1 must lie between two radii above 0, the inner one first",
        ),
    ],
)
def test_what_is_missing_or_impossible_is_told_at_once(part, message):
    with pytest.raises(InputError) as told:
        part.job(TAPE)
    assert str(told.value).startswith(message)


@pytest.mark.parametrize(
    ("amplitude", "phase", "message"),
    [
        ("", "", "still missing: the amplitude"),
        ("seven", "", "the amplitude is not a number: seven"),
        ("nan", "", "the amplitude is not a number"),
        ("1e9", "", "the amplitude is not a number"),
        ("-1", "", "the amplitude is below 0"),
        ("7.0", "west", "the phase is not a number: west"),
    ],
)
def test_readings_that_are_none(amplitude, phase, message):
    with pytest.raises(InputError, match=message):
        reading_of(amplitude, phase, lead=False)


def test_the_last_digit_of_a_reading_counts():
    assert isinstance(reading_of("7", " ", lead=False), Amplitude)
    assert reading_of("7", "", lead=False).sd == pytest.approx(10 * reading_of("7,0", "", lead=False).sd)
    assert reading_of("7.0", "30", lead=True).lag % math.tau == pytest.approx(math.radians(330))


def test_reasons_are_short_and_not_empty():
    assert reason_of("  the door\nslammed ") == "the door slammed"
    assert len(reason_of("x" * 500)) == 80
    with pytest.raises(InputError, match="for a reason"):
        reason_of("  ")


def test_a_file_that_is_no_recording_is_named():
    with pytest.raises(InputError, match=r"^\.\./\.\./up\.csv|no recording|read"):
        Upload.of("../../up.csv", b"\x00 no recording")


def fit(*pieces, purpose="trim", kept=(), taken_off=()):
    placement = Placement(tuple(p for p in pieces if p not in kept), 0j, tuple(taken_off), tuple(kept))
    why = Finding.of("trim_next", "info", left_gmm=1.0, then_gmm=0.1)
    return Step("fit", why, purpose=purpose, pieces=pieces, taken_off=taken_off, placements=(placement,))


ONE, TWO = (Piece.of_mass(Mass(20e-6, 0.06, math.radians(a)), f"blade {n}") for n, a in ((1, 0), (2, 180)))


def test_what_stays_on_is_not_put_on_again():
    step = fit(ONE, TWO, kept=(ONE,))
    assert step.put_on == (TWO,)
    assert [head for head, _ in words.fit_groups(step, "against")] == ["Leave on", "Put on"]
    view = rotor_view(OWN.job(TAPE).part)
    drawn = step_picture(step, view, (ONE,))
    assert "add 20.0 mg, blade 2" in drawn
    assert "on it: 20.0 mg, blade 1" in drawn


def test_what_comes_off_is_drawn_when_nothing_goes_on():
    drawn = step_picture(fit(purpose="take-off", taken_off=(ONE,)), rotor_view(OWN.job(TAPE).part), (ONE,))
    assert "What comes off" in drawn
    assert "remove" in drawn.lower()


def test_parts_are_drawn_in_their_size_and_as_they_turn():
    part = replace(OWN.job(TAPE).part, hand="cw")
    drawn = rotor_view(part, tip=0.1524)
    assert (drawn.blades, drawn.hand) == (2, "cw")
    assert (drawn.radius_mm, drawn.hub) == pytest.approx((152.4, 18.0))
    assert rotor_view(part).radius_mm == pytest.approx(1.1 * 80)
    assert rotor_view(BELL.job(TAPE).part).radius_mm == pytest.approx(18.0)
    far = Piece.of_mass(Mass(1e-5, 0.3, 0.0))
    spin = Step("spin", Finding.of("check_run", "info"), purpose="check")
    assert "300 mm" in step_picture(spin, rotor_view(part), (far,))


def test_a_part_that_cannot_be_drawn_is_told_in_words_only(folder):
    part = Part("propeller", 0.04, Places.of_propeller(7, 0.04, 0.08))
    kept = folder.get(folder.begin(Job(part, TAPE, speed=500.0)))
    assert words.rotor_drawing(kept, "against") is None


def test_readings_without_phase_have_no_polar_picture(folder):
    kept = folder.get(folder.begin(OWN.job(TAPE)))
    assert words.polar_drawing(kept, 0, "against") is None
    typed = folder.change(
        kept.id, kept.digest, lambda k: changes.read_off(k, reading_of("7.0", "", lead=False))
    )
    assert words.polar_drawing(typed, 0, "against") is None
    with_phase = changes.read_off(kept, reading_of("7.0", "30", lead=False))
    drawn = job_picture([(1, with_phase.runs[0].run)], unit="m/s²")
    assert "1 as-is 7.00 m/s² at 30°" in drawn


def test_names_that_a_person_types_come_out_as_written(folder):
    bad = "![x](http://192.0.2.1)<img src=x>"
    kept = folder.get(folder.begin(replace(OWN, name=bad, stand=bad).job(TAPE)))
    assert "<img" not in words.rotor_drawing(kept, "against")
    assert not re.search(r"(?<!\\)[!<\[(`*_]", plain(words.part_text(kept.job)))
    assert not re.search(r"(?<!\\)[!<\[(`*_]", plain(words.job_text(kept.job)))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("http://192.0.2.1/x", "http:/\u2060/192.0.2.1/x"),  # else a link is made of it
        ("www.example.com", "www\u2060.example.com"),
        ("me@example.com", "me@\u2060example.com"),
        ("a -> b -- c >= d", "a -\u2060> b -\u2060- c >\u2060= d"),  # else an arrow, a dash, a sign
        (":streamlit:", ":\u2060streamlit:"),  # else a picture
        ("a\u202eb\u2066c", "abc"),  # else all that follows runs backwards
        ("a\0b\ud800", "a\ufffdb\ufffd"),
        ("א \u200fב", "א \u200fב"),
    ],
)
def test_nothing_is_made_of_plain_words(text, shown):
    """What Streamlit 1.67 makes of words was seen in a browser."""
    assert re.sub(r"\\(.)", r"\1", plain(text)) == shown


def test_the_words_beside_a_figure_come_out_as_written():
    """In live figures stand names of axes, as a board said them."""

    def page():
        from balancer.app import show  # noqa: PLC0415 - AppTest runs these lines by themselves
        from balancer.app.plain import Headline  # noqa: PLC0415

        show.headlines([Headline("Overall rms", "1.0", "On ![p](http://192.0.2.1/x.png), last 1 s.")])

    (figure,) = AppTest.from_function(page).run().metric
    assert not re.search(r"(?<!\\)[!\[(]", figure.proto.help)


def test_no_sentence_of_a_job_names_options_of_the_command_line(folder):
    kept = begun(folder, SimulatedPart())
    kept = folder.change(kept.id, kept.digest, changes.spun)
    unclear = Finding.of("stamps_unclear", "warning", jitter_us=9.0, rate_hz=100.0)
    run = replace(kept.job.runs[0], findings=(unclear,))
    (said,) = words.doubts(replace(kept.job, runs=(run,)), 1)
    assert "say “Time stamps” of sampling" in said
    assert "--" not in said


@pytest.mark.parametrize(("angles", "shown"), [("against", "300°"), ("with", "60°")])
def test_angles_in_what_was_noticed_count_as_the_person_chose(angles, shown):
    def page():
        from balancer.app import show  # noqa: PLC0415 - AppTest runs these lines by themselves
        from balancer.findings import Finding  # noqa: PLC0415

        figures = {"change_gmm": 1.0, "sd_gmm": 0.1, "chance_percent": 1.0}
        show.findings([Finding.of("part_changed", "warning", angle_deg=-60.0, **figures)])

    shown_page = AppTest.from_function(page)
    shown_page.query_params["angles"] = angles
    assert shown in shown_page.run().warning[0].value


@pytest.mark.parametrize(("direction", "shown"), [("against", "90"), ("with", "270")])
def test_a_piece_that_came_off_is_named_by_the_angle_that_the_person_reads(direction, shown):
    off = Finding.of("piece_off", "error", run=2, mass_g=0.1, angle_deg=90.0)
    assert f"at {shown} degrees ({direction} the rotation)" in finding_text(off, direction)


def test_files_to_take_away(folder):
    kept = folder.get(folder.begin(OWN.job(TAPE)))
    files = words.downloads(kept, (("part", words.rotor_drawing(kept, "against")), ("polar", None)))
    assert [file.name for file in files] == ["job.json", "step.json", "part.svg"]
    path = folder.folder / "again.json"
    path.write_text(files[0].text)
    assert words.job_text(read_job(path)) == words.job_text(kept.job)
    assert json.loads(files[1].text)["action"] == "acknowledge"


@pytest.mark.parametrize("way", ["against", "with"])
def test_the_truth_is_told(folder, way):
    part = SimulatedPart("bell", 5)
    kept = begun(folder, part)
    kept = folder.change(
        kept.id,
        kept.digest,
        lambda k: k.job.with_fitted([Piece.of_mass(Mass.of_unbalance(part.hidden, 0.018))]),
    )
    assert words.truth_lines(kept, way)[-1].startswith("What is on now adds 100.0 % to it")
    assert f"{1e6 * abs(part.hidden):.3g}"[:4] in words.truth_lines(kept, way)[0]

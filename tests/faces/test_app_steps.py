"""What is done at each step: the bench as it turns, files with questions, pieces as said, one step back."""

from __future__ import annotations

import contextlib
import math
import re
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.bench import BenchView, Capture
from balancer.app.guided import back, capture, changes, words
from balancer.app.guided.entries import TypedPart, reading_of, stock_of
from balancer.app.guided.keeping import JobFolder
from balancer.app.guided.on_rotor import ELSEWHERE, TypedPiece, boxes, pieces_on, places_for
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.services import MovedError
from balancer.core.masses import Mass
from balancer.core.pieces import Piece
from balancer.core.places import Blade, Places, Ring, Spots
from balancer.errors import BalancerError, InputError
from balancer.live.running import LiveVectors
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import rad_s_from_rpm
from tests.app_page import words_of

MAIN = str(Path(app.__file__).with_name("main.py"))
TAPE = stock_of("aluminium", 10.0)
OWN = TypedPart("propeller", "P-3", 41.0, 5200.0, inner_mm=40.0, outer_mm=80.0, ring_mm=18.0)


@cache
def stream(rpm=5200.0, seed=1):
    """The bytes of a run of the simulated propeller, as a board sends them."""
    recording = coastal_propeller(1).record(speed=rad_s_from_rpm(rpm), duration=4.0, seed=seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "run.stream")
        write(recording, path)
        return path.read_bytes()


def turning(rpm):
    speed = rad_s_from_rpm(rpm)
    return LiveVectors(1.0, speed, speed, speed, 3.0, 100, (), ())


@dataclass
class FakeBench:
    """Stands in for the bench: does nothing by itself, and notes what it is told."""

    shown: BenchView = field(default_factory=BenchView)
    masses: tuple[Mass, ...] = ()
    then: object = None
    stopped: int = 0
    rested: threading.Event = field(default_factory=threading.Event)

    def view(self):
        return self.shown

    def start(self, source, *, masses=()):
        simulated = source.startswith("simulated")
        self.masses = tuple(masses)
        self.shown = BenchView("running", source, simulated, now=turning(5200), marks=9, samples=99, age=0.1)

    def stop(self):
        self.stopped += 1
        if self.stopped == 2:
            self.rested.set()
        self.shown = replace(self.shown, state="stopped", now=None)

    def capture(self, wish, then):
        self.shown = replace(self.shown, capture=Capture(wish))
        self.then = then

    def drop_capture(self):
        self.shown = replace(self.shown, capture=None)

    def deliver(self, data):
        """Do what the bench's thread does when all is recorded."""
        wish = self.shown.capture.wish
        try:
            self.then("2026.stream", data)
            done = Capture(wish, "done", 1.0)
        except BalancerError as error:
            done = Capture(wish, "failed", 1.0, str(error))
        self.shown = replace(self.shown, capture=done)


@pytest.fixture
def bench(monkeypatch):
    fake = FakeBench()
    monkeypatch.setattr(services, "bench", lambda home: fake)
    return fake


@pytest.fixture
def folder(tmp_path):
    return JobFolder(tmp_path)


def begun(folder, part=None, **facts):
    job = OWN.job(TAPE) if part is None else part.job(TAPE)
    return folder.get(folder.begin(replace(job, acknowledged=True, **facts), part))


# One step back


def said(folder, kept, work):
    return back.change(folder, kept.id, kept.digest, work)


def gone_back(folder, kept):
    return folder.change(kept.id, kept.digest, back.gone_back)


def read_off(kept):
    return changes.read_off(kept, reading_of("2.00", "30.0", lead=False))


ONE = Piece.of_mass(Mass(20e-6, 0.06, 1.0), "blade 1")


def test_steps_are_taken_back_one_by_one_and_runs_are_set_aside(folder):
    kept = begun(folder)
    assert back.undone(kept) == ""
    for work in (
        lambda k: changes.bell_said(k, "balanced"),
        changes.check_skipped,
        read_off,
        lambda k: changes.fitted_as_typed(k, (ONE,)),
        read_off,
    ):
        kept = said(folder, kept, work)
    assert "Run 2 is set aside, not lost" in back.undone(kept)
    kept = gone_back(folder, kept)
    assert [run.set_aside for run in kept.job.runs] == ["", back.REASON]
    assert len(kept.job.fitted) == 1
    assert "on the rotor is undone" in back.undone(kept)
    kept = gone_back(folder, kept)
    assert kept.job.fitted == ()
    kept = gone_back(folder, kept)
    assert [bool(run.set_aside) for run in kept.job.runs] == [True, True]
    kept = gone_back(folder, kept)
    assert kept.job.check is None
    kept = gone_back(folder, kept)
    assert kept.job.below == "unbalanced"
    assert back.undone(kept) == ""
    with pytest.raises(InputError, match="there is no step before this one"):
        gone_back(folder, kept)


def test_what_was_set_aside_or_taken_back_by_hand_is_no_step(folder):
    kept = said(folder, begun(folder), read_off)
    kept = said(folder, kept, lambda k: changes.set_aside(k, (1,), "the door slammed"))
    assert back.undone(kept) == ""
    kept = said(folder, kept, lambda k: changes.taken_back(k, 1))
    assert "Run 1" in back.undone(kept)


def test_a_step_noted_before_a_crash_is_skipped_and_a_damaged_note_costs_nothing_else(folder):
    kept = said(folder, begun(folder), changes.check_skipped)
    kept = gone_back(folder, kept)
    assert kept.job.check is None
    # noted, and the job not written: as `change` leaves it when the power goes between the two
    kept = said(folder, kept, changes.check_skipped)
    before = kept.base.with_name(f"{kept.id}.before.json")
    noted = before.read_bytes()
    kept = folder.change(kept.id, kept.digest, back.gone_back)
    before.write_bytes(noted)
    assert back.undone(kept) == ""
    before.write_text("broken")
    assert back.undone(kept) == ""
    assert said(folder, kept, changes.check_skipped).job.check.skipped


# The bench as it turns


def test_a_run_that_was_recorded_is_in_the_job_with_its_recording(folder, bench):
    kept = begun(folder)
    bench.start("serial:/dev/ttyS9")
    capture.record(bench, folder, kept)
    assert capture.stage(bench.view(), kept.id) == "waiting"
    assert capture.stage(bench.view(), "another") == "taken"
    bench.deliver(stream())
    assert bench.shown.capture.state == "done"
    kept = folder.get(kept.id)
    (run,) = kept.job.runs
    assert (run.source, run.run.purpose) == ("live run 1.stream", "as-is")
    assert run.run.speed == pytest.approx(rad_s_from_rpm(5200), rel=0.01)
    assert kept.recording(1)[0].content == stream()
    assert capture.stage(bench.view(), kept.id) == "turning"


def test_the_simulated_part_turns_with_what_is_on_it_and_stands_still_after_the_run(folder, bench):
    kept = begun(folder, SimulatedPart("propeller", 7), fitted=(ONE,))
    bench.start("simulated:propeller:7")  # from the live page, with other masses
    capture.spin_live(bench, folder, kept)
    assert bench.shown.source == "simulated:propeller:7"
    assert bench.masses == kept.job.masses
    assert bench.stopped == 1
    bench.deliver(stream())
    assert bench.rested.wait(10)  # by a thread that is under way
    assert bench.stopped == 2
    assert len(folder.get(kept.id).job.runs) == 1


def test_two_tabs_at_once_never_record_one_part_for_the_job_on_another(folder, bench, monkeypatch):
    jobs = {number: begun(folder, SimulatedPart("propeller", number)) for number in range(1, 6)}
    start, told = bench.start, list[int]()

    def slowly(source, *, masses=()):
        start(source, masses=masses)
        time.sleep(0.2)  # long enough for every other tab

    def spin(number):
        with contextlib.suppress(BalancerError):
            capture.spin_live(bench, folder, jobs[number])
            told.append(number)

    monkeypatch.setattr(bench, "start", slowly)
    with ThreadPoolExecutor(5) as tabs:
        list(tabs.map(spin, jobs))
    (number,) = told
    assert bench.shown.source == f"simulated:propeller:{number}"
    assert bench.shown.capture.wish.owner == jobs[number].id


def test_a_run_that_is_done_does_not_stop_what_was_started_since(bench):
    bench.start("simulated:bell:1")
    capture._let_rest(bench, datetime.now(UTC))  # of what ran before
    assert (bench.stopped, bench.shown.state) == (0, "running")
    capture._let_rest(bench, bench.shown.started)
    assert bench.stopped == 1


def test_a_run_at_another_speed_is_not_added_and_was_said_before(folder, bench):
    kept = begun(folder)
    bench.start("serial:/dev/ttyS9")
    bench.shown = replace(bench.shown, now=turning(5700))
    wanted = rad_s_from_rpm(5200)
    assert "at 5200 rpm: turn slower" in capture.speed_warning(bench.shown, wanted)
    assert capture.speed_warning(replace(bench.shown, now=turning(5300)), wanted) == ""
    assert capture.speed_warning(bench.shown, None) == ""
    capture.record(bench, folder, kept)
    bench.deliver(stream(5700.0))
    assert re.search(r"turned at 57\d\d rpm, .* at 5200 rpm", bench.shown.capture.trouble)
    assert folder.get(kept.id).digest == kept.digest
    assert capture.failure(bench.shown, kept) == bench.shown.capture.trouble
    assert capture.failure(bench.shown, said(folder, kept, read_off)) == ""  # no news any more


def test_a_job_that_was_changed_meanwhile_is_left_alone(folder, bench):
    kept = begun(folder)
    bench.start("serial:/dev/ttyS9")
    capture.record(bench, folder, kept)
    changed = said(folder, kept, lambda k: changes.fitted_as_typed(k, (ONE,)))
    bench.deliver(stream())
    assert "gone on already" in bench.shown.capture.trouble
    assert folder.get(kept.id).digest == changed.digest


def test_what_cannot_be_recorded_is_refused_in_a_sentence(folder, bench):
    own, simulated = begun(folder), begun(folder, SimulatedPart())
    with pytest.raises(InputError, match="nothing is connected"):
        capture.record(bench, folder, own)
    bench.start("simulated:bell:1")
    with pytest.raises(InputError, match="an invented part"):
        capture.record(bench, folder, own)
    bench.start("serial:/dev/ttyS9")
    with pytest.raises(InputError, match="in use by serial"):
        capture.spin_live(bench, folder, simulated)
    capture.record(bench, folder, own)
    for work in (
        lambda: capture.spin_live(bench, folder, simulated),
        lambda: capture.drop(bench, simulated.id),
        lambda: capture.stop(bench, simulated.id),
    ):
        with pytest.raises(InputError, match="recording run 1 of another job"):
            work()
    capture.drop(bench, own.id)
    assert capture.stage(bench.view(), own.id) == "turning"
    capture.stop(bench, own.id)
    assert capture.stage(bench.view(), own.id) == "idle"


def test_a_mark_is_waited_for_unless_the_person_or_the_job_does_without(folder, bench):
    kept = begun(folder)
    bench.start("serial:/dev/ttyS9")
    capture.record(bench, folder, kept)
    assert bench.shown.capture.wish.marks  # a rotor that stands still has no marks yet either
    assert not capture.may_do_without_mark(bench.shown, kept)
    unseen = replace(bench.shown, now=None, marks=0)
    assert capture.may_do_without_mark(unseen, kept)
    assert "bring it up to speed first" in capture.beside(replace(unseen, capture=None), kept.id)
    capture.record(bench, folder, kept, marks=False)
    assert not bench.shown.capture.wish.marks
    sized = said(folder, kept, lambda k: changes.read_off(k, reading_of("2.00", "", lead=False)))
    capture.record(bench, folder, sized)
    assert not bench.shown.capture.wish.marks
    assert not capture.may_do_without_mark(unseen, sized)


def test_the_sensor_at_rest_is_recorded_and_checked(folder, bench):
    kept = begun(folder, below="balanced")
    bench.start("serial:/dev/ttyS9")
    capture.record_at_rest(bench, folder, kept)
    assert not bench.shown.capture.wish.marks
    bench.deliver(stream())
    assert folder.get(kept.id).job.check is not None
    assert not folder.get(kept.id).job.runs


def test_the_large_words(bench):
    bench.start("serial:/dev/ttyS9")
    view = bench.shown
    assert capture.readout(view, "a").state == "not steady"
    assert capture.readout(replace(view, still_for=2.2), "a").state == "steady 2 of 3 s"
    steady = capture.readout(replace(view, still_for=12.0, steady=True), "a")
    assert (steady.speed, steady.state, steady.share, steady.good) == ("5200 rpm", "steady 12 s", None, True)
    wish = capture._new_wish("a", "run 1")
    recording = replace(view, capture=Capture(wish, "recording", 0.254))
    assert capture.readout(recording, "a").state == "25 % recorded"
    assert capture.readout(recording, "a").share == 0.254
    assert capture.readout(recording, "b").share is None
    assert capture.readout(replace(view, now=None, marks=0), "a").speed == "no mark seen"
    assert capture.readout(replace(view, now=None), "a").speed == "stands still"
    assert capture.readout(replace(view, state="starting"), "a").speed == "starting"
    assert "3 samples were lost" in capture.beside(replace(view, lost=3), "a")
    assert "From serial:/dev/ttyS9: heard 0.1 s ago." in capture.beside(view, "a")


# What is on, as a person says it

PLACES = Places(
    (Blade("blade 1", 0.0, 0.04, 0.08), Blade("blade 2", math.pi, 0.04, 0.08)),
    (Ring("hub", 0.018),),
    (Spots("screw", 0.008, (0.0, 2.0)),),
)


def on(*rows, shown=(), direction="against"):
    return pieces_on(rows, shown, PLACES, TAPE, direction)


def test_tape_is_said_by_its_length_on_a_blade_or_at_an_angle_of_a_ring():
    blade, ring = on(
        TypedPiece("tape", "blade 2", 20.0, 2), TypedPiece("tape", "hub", 12.0, 1, angle_deg=90.0)
    )
    # by hand: 145 g/m^2 x 10 mm is 1.45 g a metre; 2 layers of 20 mm are 58 mg
    assert blade.amount == pytest.approx(58e-6)
    assert (blade.angle, blade.radius, blade.along_blade) == (pytest.approx(math.pi), 0.06, True)
    assert ring.amount == pytest.approx(17.4e-6)
    assert (ring.where, ring.radius, ring.along_blade) == ("hub", 0.018, False)
    assert ring.angle == pytest.approx(math.pi / 2)
    with_it = on(TypedPiece("tape", "hub", 12.0, angle_deg=90.0), direction="with")
    assert with_it[0].angle == pytest.approx(-math.pi / 2)
    (farther,) = on(TypedPiece("tape", "blade 1", 20.0, radius_mm=75.0))
    assert farther.radius == pytest.approx(0.075)


def test_drops_screws_and_sanded_material():
    drop, screw, sanded, mass = on(
        TypedPiece("drop", "blade 1", mass_g=0.03),
        TypedPiece("washer", "screw 2", mass_g=0.2),
        TypedPiece("removed", "blade 2", mass_g=0.04, radius_mm=75.0),
        TypedPiece("mass", ELSEWHERE, mass_g=-0.01, radius_mm=50.0, angle_deg=45.0),
    )
    assert (drop.kind, drop.radius, drop.along_blade) == ("drop", pytest.approx(0.06), True)
    assert (screw.radius, screw.angle) == (0.008, 2.0)
    assert sanded.mass.mass == pytest.approx(-40e-6)
    assert (mass.kind, mass.mass.mass) == ("removed", pytest.approx(-10e-6))


def test_rows_left_alone_are_the_pieces_themselves_and_empty_ones_are_none():
    (tape,) = on(TypedPiece("tape", "blade 1", 20.0))
    shown = (replace(tape, faces=2), ONE)
    rows = [TypedPiece.of_piece(piece, PLACES, "against") for piece in shown]
    assert on(*rows, TypedPiece("tape", "blade 1"), shown=shown) == shown
    assert on(replace(rows[0], length_mm=0.0), replace(rows[1], mass_g=0.0), shown=shown) == ()
    assert on(replace(rows[0], length_mm=21.0), shown=shown)[0].faces == 1


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (TypedPiece("tape", "hub", 12.0), "still missing: the angle of piece 1"),
        (TypedPiece("tape", "hub", None, angle_deg=3.0), "still missing: the length of piece 1"),
        (TypedPiece("drop", ELSEWHERE, mass_g=0.1), "the radius of piece 1, the angle of piece 1"),
        (TypedPiece("tape", "hub", 120.0, angle_deg=3.0), "longer than the way round"),
        (TypedPiece("drop", "blade 1", mass_g=-0.1), "needs a mass and a radius above 0"),
    ],
)
def test_what_is_half_said_is_told(row, message):
    with pytest.raises(InputError, match=re.escape(message)):
        on(row)


def test_boxes_ask_for_what_the_place_leaves_open():
    def asked(what, where):
        place = next(place for place in places_for(what, PLACES) if place.name == where)
        return [box.key for box in boxes(what, place, None, "against")]

    assert asked("tape", "blade 1") == ["length", "layers", "radius"]
    assert asked("tape", "hub") == ["length", "layers", "angle"]
    assert asked("washer", "screw 1") == ["mass"]
    assert asked("drop", ELSEWHERE) == ["mass", "radius", "angle"]
    assert "screw 1" not in [place.name for place in places_for("tape", PLACES)]


# Pictures


def test_noise_floor_and_pieces_that_stay_are_drawn(folder):
    kept = begun(folder, SimulatedPart(), below="balanced")
    kept = said(folder, kept, changes.checked)
    for _ in range(2):
        kept = said(folder, kept, changes.spun)
    drawn = words.polar_drawing(kept, 0, "against")
    assert "circle noise at rest, 400 turns 0.00" in drawn
    skipped = begun(folder, SimulatedPart(), below="balanced")
    skipped = said(folder, said(folder, skipped, changes.check_skipped), changes.spun)
    assert "circle noise of the surest run" in words.polar_drawing(skipped, 0, "against")


def test_the_tip_is_drawn_where_it_is_known(folder):
    kept = begun(folder)
    assert "radius 88 mm" in words.rotor_drawing(kept, "against")
    assert "radius 152.4 mm" in words.rotor_drawing(kept, "against", 0.1524)


def test_loose_pieces_are_drawn_as_signs(folder):
    sanded = Piece("blade 1", "removed", 20e-6, 0.07, 0.0, along_blade=True)
    drop = Piece("blade 2", "drop", 20e-6, 0.07, math.pi, along_blade=True)
    kept = said(folder, begun(folder), lambda k: changes.fitted_as_typed(k, (sanded, drop)))
    drawn = words.rotor_drawing(kept, "against")
    assert "Taken off: 20.0 mg" in drawn
    assert drawn.count("the sign shows its place, not its size") == 4  # in the description and below


# The page


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path)])
    return tmp_path


def opened(id):
    page = AppTest.from_file(MAIN, default_timeout=30)
    page.query_params["job"] = id
    return page.run()


def click(page, key):
    (found, *_) = [button.key for button in page.button if button.key.startswith(key)]
    page.button(key=found).click().run()
    assert not page.exception
    return page


def keyed(group, start):
    (found,) = [widget for widget in group if widget.key and widget.key.startswith(start)]
    return found


def test_spinning_live_shows_the_state_and_then_the_run(home, folder, bench):
    kept = begun(folder, SimulatedPart(), below="balanced", check=changes.SensorCheck(skipped=True))
    page = click(opened(kept.id), "spin_live")
    assert any('aria-label="5200 rpm, not steady, 0 % recorded."' in m.value for m in page.markdown)
    assert [b.key for b in page.button if b.key in ("spin", "spin_live", "cancel")] == ["cancel"]
    bench.deliver(stream())
    page.run()
    assert "Run 1, as-is" in words_of(page.markdown)
    assert [b.key for b in page.button if b.key in ("spin", "spin_live", "cancel")] == ["spin", "spin_live"]


def test_a_job_that_another_tab_removes_while_it_is_recorded(home, folder, bench, monkeypatch):
    kept = begun(folder, SimulatedPart(), below="balanced", check=changes.SensorCheck(skipped=True))
    page = click(opened(kept.id), "spin_live")
    before = capture.may_do_without_mark

    def removed_meanwhile(*about):  # between the page and the part of it that looks at the bench
        if folder.holds(kept.id):
            folder.remove(kept.id)
        return before(*about)

    monkeypatch.setattr(capture, "may_do_without_mark", removed_meanwhile)
    page.run()
    assert not page.exception
    assert "it was removed" in words_of(page.warning)


def test_cancel_and_what_failed(home, folder, bench):
    kept = begun(folder, SimulatedPart(), below="balanced", check=changes.SensorCheck(skipped=True))
    page = click(click(opened(kept.id), "spin_live"), "cancel")
    assert bench.shown.capture is None
    click(page, "spin_live")
    bench.deliver(b"no stream")
    page.run()
    assert "Not added: " in words_of(page.warning)
    assert not folder.get(kept.id).job.runs


def test_the_bench_is_offered_first_while_it_turns(home, folder, bench):
    kept = begun(folder, below="balanced", check=changes.SensorCheck(skipped=True))
    assert keyed(opened(kept.id).button_group, "source_").value == "recording"
    bench.start("serial:/dev/ttyS9")
    page = opened(kept.id)
    assert keyed(page.button_group, "source_").value == "bench"
    click(page, "record")
    assert capture.stage(bench.view(), kept.id) == "waiting"
    bench.shown = replace(bench.shown, state="lost", trouble="The board was unplugged.", capture=None)
    page.run()
    assert "The board was unplugged." in words_of(page.error)
    assert [b.key for b in page.button if b.proto.type == "primary"] == ["pick_up"]


def test_with_nothing_plugged_in_the_bench_says_so(home, folder, bench, monkeypatch):
    monkeypatch.setattr("balancer.live.ports.ports", lambda: [])
    kept = begun(folder, below="balanced", check=changes.SensorCheck(skipped=True))
    page = opened(kept.id)
    keyed(page.button_group, "source_").set_value("bench").run()
    assert "No board is plugged in" in words_of(page.markdown)
    click(page, "start_source")
    assert not page.error


def test_a_file_that_leaves_questions_open_is_asked_about(home, folder, bench):
    recording = coastal_propeller(1).record(speed=COASTAL_SPEED, duration=4.0, seed=1)
    rows = zip(recording.times, *recording.samples, strict=True)
    lines = ["time,ax,ay", *(f"{t:.6f},{x:.5f},{y:.5f}" for t, x, y, _ in rows)]
    marks = "\n".join(f"{mark:.6f}" for mark in recording.marks)
    kept = begun(folder, below="balanced", check=changes.SensorCheck(skipped=True))
    page = opened(kept.id)
    keyed(page.file_uploader, "file_").set_value(("phone.csv", "\n".join(lines).encode(), "text/csv")).run()
    click(page, "add")
    assert not folder.get(kept.id).job.runs
    asked = {box.key.split("_", 3)[-1]: box for box in page.button_group if "unit_" in box.key}
    assert asked
    for box in list(page.button_group):
        if "_time_unit_" in box.key:
            box.set_value("s").run()
    for box in list(page.button_group):
        if "_unit_" in box.key and "_time_unit_" not in box.key:
            box.set_value("m/s^2").run()
    keyed(page.file_uploader, "marks_").set_value(("marks.csv", marks.encode(), "text/csv")).run()
    click(page, "add")
    (run,) = folder.get(kept.id).job.runs
    assert run.run.has_phase
    file, _ = folder.get(kept.id).recording(1)
    assert (file.name, file.hints.unit, file.hints.time_unit) == ("phone.csv", "m/s^2", "s")
    assert file.marks[0] == "marks.csv"


def test_another_length_of_tape_is_said(home, folder, bench):
    kept = begun(folder, SimulatedPart(), below="balanced", check=changes.SensorCheck(skipped=True))
    for _ in range(2):
        kept = said(folder, kept, changes.spun)
    page = opened(kept.id)
    length = keyed(page.number_input, "length_0").value
    keyed(page.selectbox, "where_tape_0").set_value("blade 2").run()
    keyed(page.number_input, "length_0").set_value(length + 2).run()
    click(page, "fit_typed")
    (piece,) = folder.get(kept.id).job.fitted
    assert piece.where == "blade 2"
    assert piece.strip.length == pytest.approx((length + 2) * 1e-3)
    assert "Spin the trial run" in words_of(page.header)
    click(page, "back")
    assert "Fit the trial piece" in words_of(page.header)
    assert folder.get(kept.id).job.fitted == ()


def test_a_changed_job_is_not_taken_back(home, folder, bench):
    kept = said(folder, begun(folder), lambda k: changes.bell_said(k, "balanced"))
    said(folder, kept, changes.check_skipped)
    with pytest.raises(MovedError):
        gone_back(folder, kept)


def test_the_description_of_a_step_is_in_step_with_its_picture(folder):
    kept = begun(folder, SimulatedPart(), below="balanced")
    kept = said(folder, kept, changes.check_skipped)
    while kept.step.action != "fit":
        kept = said(folder, kept, changes.spun)
    short = words.short_lines(kept.step, "against")
    assert short == {"Take off": [], "Put on": ["16 mm tape on blade 1, 60 mm out"]}
    assert "16 mm along the blade" in words.rotor_drawing(kept, "against")

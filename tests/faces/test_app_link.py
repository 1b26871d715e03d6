"""The guided job and the history: jobs on parts of it, stored coefficients, what is kept and when."""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import sqlite3
import sys
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.guided import begin, changes, keeping, link
from balancer.app.guided.entries import TypedPart, reading_of, stock_of
from balancer.app.guided.keeping import JobFolder
from balancer.app.guided.link import Link
from balancer.app.guided.run_files import RunFile
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.plain import with_signs
from balancer.core.pieces import Piece
from balancer.core.places import Places, Ring
from balancer.errors import InputError, OperationError
from balancer.history.events import add_event, events_of
from balancer.history.jobs import jobs_of_part
from balancer.history.keeping import on_before
from balancer.history.parts import add_part, find_part, get_part, put_pieces
from balancer.history.records.event import Event
from balancer.history.records.kept import new_id
from balancer.history.records.part import BellSizes, PartRecord, PropellerSizes
from balancer.history.runs import runs_of_job, runs_of_part
from balancer.history.stands import coefficients_of, find_stand
from balancer.history.store import DATABASE, Store, backup
from balancer.procedure.job_file import read_job
from balancer.procedure.job_runs import with_recording
from balancer.procedure.next_step import purpose_now
from balancer.recording.files import read_bytes, write
from balancer.recording.hints import Hints
from balancer.simulator.presets import COASTAL_RIM, COASTAL_SPEED, coastal_bell
from balancer.wording import piece_text
from tests.app_page import address, words_of

MAIN = str(Path(app.__file__).with_name("main.py"))
NOW = datetime(2026, 5, 1, 9, tzinfo=UTC)
TAPE = stock_of("aluminium", 5.0)
STAND = "vice"
BLADES = Places.of_propeller(2, 0.04, 0.08, ring=Ring("hub", 0.014))


def bell(label, **facts):
    facts = {"mass": 0.025, "sizes": BellSizes(COASTAL_RIM), "places": Places.of_bell(COASTAL_RIM)} | facts
    return PartRecord(id=new_id(), edited=NOW, label=label, kind="bell", **facts)


def propeller(label, **facts):
    facts = {"mass": 0.0165, "sizes": PropellerSizes(0.3048, 2, "cw"), "places": BLADES} | facts
    return PartRecord(id=new_id(), edited=NOW, label=label, kind="propeller", **facts)


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """Let jobs and history lie in a folder of their own, as a server started with --home has it."""
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path)])
    yield tmp_path
    if (tmp_path / DATABASE).exists():
        services.store(tmp_path).close()


@pytest.fixture
def store(home):
    """The history of that folder, as the pages open it, with two bells and a propeller."""
    store = services.store(home)
    for part in (bell("M1"), bell("M2"), propeller("P1")):
        add_part(store, part)
    return store


@pytest.fixture
def folder(home):
    return JobFolder(home)


def opened(**address):
    page = AppTest.from_file(MAIN, default_timeout=30)
    for name, value in address.items():
        page.query_params[name] = value
    return checked(page.run())


def checked(page):
    assert not page.exception
    return page


def click(page, key):
    return checked(page.button(key=key).click().run())


def shown(page):
    return words_of(page.markdown, page.caption, page.warning, page.error, page.success)


def chooses(page, label, store):
    """Choose "My own part" and a part of the history."""
    page.button_group(key="whose").set_value("own").run()
    return checked(page.selectbox(key="own_part").set_value(find_part(store, label).id).run())


@cache
def spun(number, seed, masses):
    """Bytes of a recording of a bare bell with masses on it, as a device streams them."""
    recording = coastal_bell(number).record(speed=COASTAL_SPEED, duration=3.0, masses=masses, seed=seed)
    path = Path(f"{recording.digest}.stream.csv")
    try:
        write(recording, path)
        return path.read_bytes()
    finally:
        path.unlink(missing_ok=True)


def add_run(folder, kept, number=1):
    """Add a run from a recording, as the page does: its bytes come with it."""
    run = len(kept.job.runs) + 1
    name, data = f"../run {run}.stream.csv", spun(number, 10 * number + run, kept.job.masses)

    def work(kept):
        return with_recording(kept.job, purpose_now(kept.job), read_bytes(data, name), name)[0]

    return folder.change(kept.id, kept.digest, work, recording=RunFile(name, data))


def followed(folder, id, until=("done", "stop"), number=1):
    """Do what is said until a certain step, each a change that is written."""
    works = {
        "acknowledge": changes.acknowledged,
        "check-sensor": changes.check_skipped,
        "fit": changes.fitted_as_advised,
    }
    kept = folder.get(id)
    for _ in range(20):
        if kept.step.action in until:
            return kept
        if kept.step.action == "spin":
            kept = add_run(folder, kept, number)
        else:
            kept = folder.change(id, kept.digest, works[kept.step.action])
    raise AssertionError("the job never came to an end")


def begun(folder, store, label="M1", stand=STAND):
    typed = TypedPart("bell", rpm=5200.0, hand="ccw", stand=stand, moving_g=235.0)
    there = find_stand(store, stand)
    on = begin.OnStand(stand=begin.NEW if there is None else there.id)
    return begin.begin_known(folder, find_part(store, label).id, typed, on, TAPE)


@contextlib.contextmanager
def locked(home):
    """Another program that writes to the history and takes its time."""
    other = sqlite3.connect(home / DATABASE, isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")
    finally:
        other.close()


@contextlib.contextmanager
def killed_at(monkeypatch, module, name):
    """The program ends when it comes to a function."""

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(module, name, killed)
        with pytest.raises(KeyboardInterrupt):
            yield


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path_factory, monkeypatch):
    monkeypatch.chdir(tmp_path_factory.mktemp("cwd"))


def test_a_whole_job_on_a_part_of_the_history(store, folder, home):
    page = chooses(opened(), "M1", store)
    assert "Bell, spare, 25.0 g, grade G6.3. Masses may go: bell rim at" in shown(page)
    page.text_input(key="stand").set_value(STAND)
    page.number_input(key="moving").set_value(235.0)
    page.number_input(key=f"rpm_{find_part(store, 'M1').id}").set_value(5200.0)
    click(page, "begin")
    id = address(page, "job")
    assert "This job is kept with M1." in shown(page)
    assert jobs_of_part(store, find_part(store, "M1").id) == ()  # nothing to keep before the first run
    done = followed(folder, id)
    assert done.step.action == "done"
    part = find_part(store, "M1")
    (record,) = jobs_of_part(store, part.id)
    runs = runs_of_job(store, record.id)
    assert len(runs) == len(done.job.runs) >= 3
    for run, item in zip(runs, done.job.runs, strict=True):
        kept = store.files.read(run.recording.file)
        assert kept == spun(1, 10 + run.number, item.run.masses)
        assert run.recording.name == f"../run {run.number}.stream.csv"
        assert read_bytes(kept, "again").digest == run.recording.digest
    assert [event.kind for event in events_of(store, part.id)] == ["balanced"]
    assert part.pieces == done.job.fitted or len(part.pieces) == len(done.job.fitted) > 0
    stand = find_stand(store, STAND)
    assert stand.moving_mass == pytest.approx(0.235)
    (found,) = coefficients_of(store, stand.id)
    assert found.job == record.id
    page = opened(job=id)
    assert f"Kept in the history of M1: {len(runs)} runs, {len(runs)} with the recording." in shown(page)
    assert "M1 counts as balanced." in shown(page)
    assert "is kept with the stand vice" in shown(page)
    (to_part,) = page.get("page_link")
    assert (to_part.proto.label, to_part.proto.page) == (r"Open M1 under Parts", "parts")
    assert to_part.proto.query_string.endswith(f"part={part.id}")
    assert all(path.name.startswith(id) for path in folder.folder.iterdir())


def test_what_is_on_from_before_is_said_where_more_goes_on(store, folder):
    part = find_part(store, "M1")
    old = Piece("bell rim", "mass", 20e-6, COASTAL_RIM, 0.1)
    put_pieces(store, part, [old], NOW)
    id = begun(folder, store, "M1")
    kept = followed(folder, id, until=("fit",))
    assert kept.step.action == "fit"
    text = shown(opened(job=id))
    assert f"On it from before, and counted in every run: {with_signs(piece_text(old))}" in text
    done = followed(folder, id)
    now = get_part(store, part.id)
    assert len(now.pieces) == 1 + len(done.job.fitted)  # all of it is on
    (found,) = on_before(store, now, done.job)
    assert (found.where, found.amount, found.angle) == (old.where, old.amount, pytest.approx(old.angle))
    nothing = begun(folder, store, "M2")
    followed(folder, nothing, until=("fit",))
    assert "On it from before" not in shown(opened(job=nothing))


@pytest.fixture
def known_stand(store, folder):
    """A stand of the history with the coefficient of one job."""
    followed(folder, begun(folder, store, "M1"))
    (found,) = coefficients_of(store, find_stand(store, STAND).id)
    return found


def test_the_next_job_on_the_stand_goes_without_a_trial_run(store, folder, known_stand):
    id = begun(folder, store, "M2")
    first = followed(folder, id, until=("fit",), number=6)
    assert (len(first.job.runs), first.step.purpose) == (1, "correction")
    page = opened(job=id)
    day = known_stand.coefficient.when.isoformat()
    assert re.search(rf"the influence coefficient of vice at 5\d+ rpm from {day} \(1 job\)", shown(page))
    assert "It stands in for the trial run" in shown(page)
    click(page, "decline_stored")
    assert folder.get(id).step.purpose == "trial" or folder.get(id).step.action == "spin"
    assert folder.get(id).job.known is None
    assert "you go on with a trial run of this job" in shown(page)
    click(page, "use_stored")
    assert folder.get(id).step.purpose == "correction"
    done = followed(folder, id, number=6)
    assert done.step.action == "done"
    new, old = (one.coefficient.influence for one in coefficients_of(store, find_stand(store, STAND).id))
    assert new[0].value == pytest.approx(old[0].value, rel=0.05)  # its correction tells one of its own
    truth = coastal_bell(6).rotor.unbalance + sum(piece.unbalance for piece in done.job.fitted)
    assert abs(truth) < done.job.part.permissible(done.job.speed)


def test_a_declined_coefficient_does_not_come_back_with_the_next_run(store, folder, known_stand):
    kept = followed(folder, begun(folder, store, "M2"), until=("fit",), number=6)
    kept = folder.decline(kept.id, kept.digest)
    kept = add_run(folder, kept, 6)
    assert kept.job.known is None
    assert kept.job.hint is None


@pytest.mark.parametrize("click", ["decline", "use_stored"])
def test_killed_between_link_and_job_the_page_says_what_the_job_does(
    store, folder, known_stand, monkeypatch, click
):
    kept = followed(folder, begun(folder, store, "M2"), until=("fit",), number=6)
    if click == "use_stored":
        kept = folder.decline(kept.id, kept.digest)
    used = kept.job.known is not None

    with killed_at(monkeypatch, keeping, "write_job"):
        getattr(folder, click)(kept.id, kept.digest)
    kept = JobFolder(folder.home).get(kept.id)
    assert (kept.job.known is not None) == used == (not kept.link.declined)
    assert ("It stands in for the trial run" in shown(opened(job=kept.id))) == used


def test_a_history_that_was_replaced_is_opened_anew(store, home, tmp_path_factory):
    """What the old connection wrote would go into a file that is no longer there."""
    copy = tmp_path_factory.mktemp("copy") / "backup"
    backup(store, copy)
    add_part(store, bell("M3"))
    for path in home.glob(f"{DATABASE}*"):
        path.unlink()
    shutil.copy(copy / DATABASE, home / DATABASE)
    assert find_part(services.store(home), "M1").label == "M1"
    assert find_part(services.store(home), "M3") is None
    add_part(services.store(home), bell("M4"))
    store.close()
    with Store.open(home) as again:
        assert find_part(again, "M4").label == "M4"
    assert services.store(home) is services.store(home)


def test_a_stand_name_that_the_history_refuses_is_told_before_the_job_begins(store, folder):
    typed = TypedPart("bell", rpm=5200.0, hand="ccw", stand="s" * 61)
    with pytest.raises(InputError, match="longer than 60 characters; make it shorter"):
        begin.begin_known(folder, find_part(store, "M1").id, typed, begin.OnStand(), TAPE)
    assert folder.latest(1) == ()


def test_the_angle_of_blade_1_follows_the_way_of_counting(home):
    page = opened()
    page.button_group(key="whose").set_value("own").run()
    page.number_input(key="own_first_against").set_value(90.0).run()
    for way, value in (("with", -90.0), ("against", 90.0)):
        page.session_state["direction"] = way
        box = checked(page.run()).number_input(key=f"own_first_{way}")
        assert (box.label, box.value) == (f"Blade 1 stands at (°, {way} the rotation)", value)


def test_a_coefficient_of_another_set_up_is_not_used_and_it_is_said(store, folder, known_stand):
    turned = begin.begin_known(
        folder,
        find_part(store, "M2").id,
        TypedPart("bell", rpm=5200.0, hand="cw"),
        begin.OnStand(stand=find_stand(store, STAND).id),
        TAPE,
    )
    kept = followed(folder, turned, until=("spin",), number=6)
    kept = add_run(folder, kept, 6)
    assert (kept.job.known, kept.job.hint, kept.link.stored) == (None, None, None)
    assert "hand of rotation" in shown(opened(job=turned))


def test_a_coefficient_that_the_run_contradicts_is_not_used(store, folder, known_stand):
    # bell 7 turns clockwise, but the person said counter-clockwise: with that coefficient nearly nothing of
    # its five times permissible unbalance would be seen, and the job would be done after one run
    kept = followed(folder, begun(folder, store, "M2"), until=("fit",), number=7)
    assert (kept.job.known, kept.job.hint, kept.link.stored) == (None, None, None)
    assert kept.step.purpose == "trial"
    assert "A run contradicts the stored coefficient" in shown(opened(job=kept.id))
    done = followed(folder, kept.id, number=7)
    truth = coastal_bell(7).rotor.unbalance + sum(piece.unbalance for piece in done.job.fitted)
    assert abs(truth) < done.job.part.permissible(done.job.speed)


def test_a_locked_history_is_told_and_kept_later(store, folder, home):
    id = begun(folder, store)
    kept = followed(folder, id, until=("spin",))
    with locked(home):
        kept = add_run(folder, kept)
        assert len(read_job(folder.folder / f"{id}.json").runs) == 1  # on disk all the same
        page = opened(job=id)
        assert "On disk, but not in the history yet:" in words_of(page.warning)
        assert "another program is writing to it" in words_of(page.warning)
        click(page, "keep_now")
        assert "another program is writing to it" in words_of(page.warning)
    assert runs_of_part(store, find_part(store, "M1").id) == ()
    click(page, "keep_now")
    assert "not in the history" not in shown(page)
    assert len(runs_of_part(store, find_part(store, "M1").id)) == 1
    with locked(home):
        kept = followed(folder, id, until=("fit",))
    assert kept.due
    kept = folder.change(id, kept.digest, changes.fitted_as_advised)  # the next change keeps all
    assert not kept.due
    assert len(runs_of_part(store, find_part(store, "M1").id)) == len(kept.job.runs) == 2


def test_killed_between_job_and_history_the_next_change_keeps_it(store, folder, home, monkeypatch):
    id = begun(folder, store)
    kept = followed(folder, id, until=("spin",))

    with killed_at(monkeypatch, keeping, "keep"):
        add_run(folder, kept)
    again = JobFolder(home)
    kept = again.get(id)
    assert kept.due
    assert len(kept.job.runs) == 1
    assert "The last change is on disk, but not in the history yet." in words_of(opened(job=id).warning)
    kept = add_run(again, kept)
    assert not kept.due
    kept_runs = runs_of_part(store, find_part(store, "M1").id)
    assert [run.recording is not None for run in kept_runs] == [True, True]


def test_killed_in_the_history_nothing_half_stays_there(store, folder, monkeypatch):
    id = begun(folder, store)
    kept = followed(folder, id, until=("spin",))

    with killed_at(monkeypatch, link, "keep_job"):
        add_run(folder, kept)
    assert jobs_of_part(store, find_part(store, "M1").id) == ()
    assert not folder.keep_now(id).due
    assert len(runs_of_part(store, find_part(store, "M1").id)) == 1


def test_a_recording_left_by_a_run_that_never_was_is_not_taken_for_another(store, folder, monkeypatch):
    id = begun(folder, store)
    kept = followed(folder, id, until=("spin",))

    with killed_at(monkeypatch, keeping, "write_job"):
        add_run(folder, kept)
    assert folder.get(id).job.runs == ()
    assert list(folder.folder.glob(f"{id}.run-1.*"))
    reading = reading_of("2.00", "30", lead=False)
    kept = folder.change(id, kept.digest, lambda k: changes.read_off(k, reading))
    assert kept.recording(1) is None
    (run,) = runs_of_part(store, find_part(store, "M1").id)
    assert run.recording is None


def test_recordings_lie_beside_the_job_with_how_they_were_read(folder):
    id = folder.begin(TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=14.0).job(TAPE))
    kept = folder.get(id)
    reading = reading_of("2.00", "30", lead=False)
    file = RunFile("../<b>.csv", b"t,x\n0,1\n", Hints(time_unit="s", unit="g"), ("../marks.txt", b"0.1\n"))
    before = datetime.now(UTC)
    kept = folder.change(id, kept.digest, lambda k: changes.read_off(k, reading), recording=file)
    found, at = kept.recording(1)
    assert found == file
    assert before <= at <= datetime.now(UTC)
    names = sorted(path.name.removeprefix(id) for path in folder.folder.iterdir())
    assert names == [".json", ".run-1.csv", ".run-1.json", ".run-1.marks"]


@pytest.mark.parametrize(
    ("content", "suffix"), [(b"RIFF\x10\0\0\0WAVEfmt ", "wav"), (b"\0\1\2", "bin"), (b"a,b\n1,2\n", "csv")]
)
def test_the_suffix_follows_from_the_content(folder, content, suffix):
    id = folder.begin(TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=14.0).job(TAPE))
    work = lambda k: changes.read_off(k, reading_of("2.0", "3", lead=False))  # noqa: E731
    kept = folder.change(id, folder.get(id).digest, work, recording=RunFile("x.exe", content))
    assert (folder.folder / f"{id}.run-1.{suffix}").read_bytes() == content
    assert kept.recording(1)[0] == RunFile("x.exe", content)


def test_a_reload_in_mid_job_comes_back_to_it(store, folder):
    id = begun(folder, store)
    kept = followed(folder, id, until=("fit",))
    page = opened(job=id)
    assert "This job is kept with M1." in shown(page)
    assert folder.get(id).digest == kept.digest
    assert not kept.due


def test_a_propeller_stands_on_a_bell(store, folder):
    good = find_part(store, "M1")
    add_event(store, Event(id=new_id(), edited=NOW, part=good.id, kind="balanced", at=NOW))
    page = chooses(opened(), "P1", store)
    key = f"own_bell_{find_part(store, 'P1').id}"
    assert page.selectbox(key=key).value == begin.NONE
    assert any(number.label == "Mass of all that turns (g)" for number in page.number_input)
    click(page, "begin")
    assert "still missing: the speed, the mass of all that turns" in words_of(page.error)
    page.selectbox(key=key).set_value(good.id).run()
    assert not any(number.label == "Mass of all that turns (g)" for number in page.number_input)
    page.number_input(key=f"rpm_{find_part(store, 'P1').id}").set_value(5200.0)
    click(page, "begin")
    kept = folder.get(address(page, "job"))
    assert (kept.job.part.mass, kept.job.part.hand) == (pytest.approx(0.0415), "cw")
    assert kept.job.below == "balanced"
    assert kept.link == Link(find_part(store, "P1").id, good.id)


def test_a_bell_that_is_not_known_good_is_asked_about(store, folder):
    on = begin.OnStand(bell=find_part(store, "M2").id)
    typed = TypedPart("propeller", rpm=5200.0)
    id = begin.begin_known(folder, find_part(store, "P1").id, typed, on, TAPE)
    assert folder.get(id).job.below == "unbalanced"


def test_what_the_history_does_not_know_is_asked_for_and_kept(store, folder):
    add_part(store, bell("M9", mass=None, places=None))
    page = chooses(opened(), "M9", store)
    assert "not weighed" in shown(page)
    click(page, "begin")
    assert words_of(page.error) == (
        "still missing: the speed, the mass of all that turns, the radius of the rim; add it and press again."
    )
    id = find_part(store, "M9").id
    for key, value in (("rpm", 5200.0), ("mass", 26.0), ("ring", 14.0)):
        page.number_input(key=f"{key}_{id}").set_value(value)
    click(page, "begin")
    assert not page.error
    assert get_part(store, id).mass == pytest.approx(0.026)
    assert get_part(store, id).places == Places.of_bell(0.014)


def new_part(page, **numbers):
    page.button_group(key="whose").set_value("own").run()
    page.button_group(key="own_after").set_value("keep").run()
    for key, value in numbers.items():
        page.number_input(key=key).set_value(value)
    return page


def test_a_new_part_is_kept_among_the_parts_at_once(home, folder):
    page = new_part(opened())
    click(page, "begin")
    assert words_of(page.error) == (
        "still missing: the label, the diameter, the mass of all that turns, the speed, from where tape may "
        "lie, to where it may lie; add it and press again."
    )
    page.text_input(key="name").set_value("P7")
    for key, value in (
        ("own_diameter", 304.8),
        ("own_mass", 16.5),
        ("mass", 41.0),
        ("rpm", 5200.0),
        ("inner", 40.0),
        ("outer", 80.0),
        ("own_first_against", 90.0),
    ):
        page.number_input(key=key).set_value(value)
    click(page, "begin")
    assert not page.error
    part = find_part(services.store(home), "P7")
    assert (part.mass, part.sizes.diameter) == (pytest.approx(0.0165), pytest.approx(0.3048))
    assert [blade.angle for blade in part.places.blades] == pytest.approx([1.5708, 4.7124], abs=1e-4)
    kept = folder.get(address(page, "job"))
    assert (kept.link.part, kept.job.part.mass) == (part.id, pytest.approx(0.041))
    click(page, "leave")
    page.selectbox(key="own_part").set_value(begin.NEW).run()
    click(page, "begin")
    assert 'there is a part in use with the label "P7"' in words_of(page.error)
    assert len(folder.latest(9)) == 1  # and no job was begun


def test_a_typed_stand_of_the_same_name_is_not_taken_for_another(store, folder, known_stand):
    with pytest.raises(InputError, match='there is a stand "VICE" already; choose it in the list'):
        begin.begin_known(
            folder,
            find_part(store, "M2").id,
            TypedPart("bell", rpm=5200.0, stand="VICE"),
            begin.OnStand(),
            TAPE,
        )


def test_the_address_chooses_the_part(store):
    id = find_part(store, "P1").id
    page = opened(begin=id)
    assert page.selectbox(key="own_part").value == id
    page.selectbox(key="own_part").set_value(find_part(store, "M1").id).run()
    assert address(page, "begin") == find_part(store, "M1").id
    assert page.selectbox(key="own_part").value == find_part(store, "M1").id
    page.button_group(key="own_kind").set_value("propeller").run()
    checked(page)
    page.selectbox(key="own_part").set_value(begin.NEW).run()
    assert "begin" not in page.query_params


@pytest.mark.parametrize("id", ["x", "../../etc/passwd", "304c8a4d-589e-4ddc-b515-bcc90375837d"])
def test_an_address_of_no_part_is_told_in_one_sentence(store, id):
    page = opened(begin=id)
    assert "this part is no longer in the history; choose another part." in words_of(page.error)
    page.selectbox(key="own_part").set_value(find_part(store, "M1").id).run()
    assert not page.error


def test_a_job_that_began_without_the_history_is_kept_with_a_part_later(store, folder):
    id = folder.begin(TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=14.0, stand=STAND).job(TAPE))
    done = followed(folder, id)
    assert done.link == link.NO_LINK
    page = opened(job=id)
    click(page, "tie")
    assert "still missing: the part" in words_of(page.error)  # none is chosen for the person
    page.selectbox(key=f"tie_part_{id}").set_value(find_part(store, "M2").id).run()
    click(page, "tie")
    assert not page.error
    assert "M2 counts as balanced." in shown(page)
    runs = runs_of_part(store, find_part(store, "M2").id)
    assert len(runs) == len(done.job.runs)
    assert all(run.recording is not None for run in runs)
    with pytest.raises(InputError, match="kept with a part already"):
        folder.tie(id, find_part(store, "M1").id)


def test_a_job_makes_its_part_in_a_history_that_was_not_begun(home, folder):
    id = folder.begin(TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=14.0).job(TAPE))
    followed(folder, id, until=("fit",))
    page = opened(job=id)
    assert not (home / DATABASE).exists()  # looking makes none
    click(page, "tie")
    assert "still missing: the label" in words_of(page.error)
    page.text_input(key=f"tie_label_{id}").set_value("M<b>")
    click(page, "tie")
    assert not page.error
    part = find_part(services.store(home), "M<b>")
    assert (part.kind, part.mass) == ("bell", pytest.approx(0.025))
    assert len(runs_of_part(services.store(home), part.id)) == 2
    assert r"M\<b\>" in "".join(caption.value for caption in page.caption)


def test_another_kind_and_the_simulated_bench_are_refused(store, folder):
    id = folder.begin(TypedPart("bell", mass_g=25.0, rpm=5200.0, ring_mm=14.0).job(TAPE))
    with pytest.raises(InputError, match="the job is about a bell, but P1 is a propeller"):
        folder.tie(id, find_part(store, "P1").id)
    part = SimulatedPart("bell", 1)
    invented = folder.begin(part.job(TAPE), part)
    with pytest.raises(InputError, match="its part is invented"):
        folder.tie(invented, find_part(store, "M1").id)
    page = opened(job=invented)
    assert "their parts are invented" in shown(page)
    assert "tie" not in {button.key for button in page.button}


@pytest.mark.parametrize("text", ["", "[]", '{"form": "balancer job link 1"}', '{"form": "x"}'])
def test_a_damaged_link_is_told_and_the_job_goes_on(store, folder, text):
    id = begun(folder, store)
    (folder.folder / f"{id}.kept.json").write_text(text)
    page = opened(job=id)
    assert "not in the history yet" in words_of(page.warning)
    page.selectbox(key=f"tie_part_{id}").set_value(find_part(store, "M1").id).run()
    click(page, "tie")
    assert "This job is kept with M1." in shown(page)


def test_a_damaged_note_of_a_recording_keeps_the_job_and_is_told(store, folder):
    id = begun(folder, store)
    kept = followed(folder, id, until=("fit",))
    (folder.folder / f"{id}.run-1.json").write_text('{"form": "balancer run file 1", "run": 3}')
    assert folder.get(id).digest == kept.digest
    assert folder.get(id).recording(1) is None
    (folder.folder / f"{id}.run-1.json").write_text("{")
    with pytest.raises(InputError, match="this is not JSON"):
        folder.get(id).recording(1)


def test_removed_jobs_leave_the_lists_and_keep_their_files(store, folder):
    id = begun(folder, store)
    kept = followed(folder, id, until=("fit",))
    files = {path.name for path in folder.folder.glob(f"{id}*")}
    page = opened()
    click(page, f"remove_{id}")
    assert folder.latest(9) == ()
    assert {path.name for path in (folder.folder / "removed").iterdir()} == files
    assert not folder.holds(id)
    with pytest.raises(InputError, match="there is no such"):
        folder.change(id, kept.digest, changes.acknowledged)
    with pytest.raises(InputError, match="there is no such job"):
        folder.remove("../../x")
    assert len(runs_of_part(store, find_part(store, "M1").id)) == 2  # the history keeps them


def test_the_list_of_all_jobs_is_searched_by_words(folder):
    for number in range(7):
        folder.begin(TypedPart("bell", f"M{number}", 25.0, 5200.0, ring_mm=14.0).job(TAPE))
    page = opened()
    assert sum(button.label == "Open" for button in page.button) == 5
    page.session_state["all_jobs"] = True
    checked(page.run())
    assert sum(button.label == "Open" for button in page.button) == 12
    checked(page.text_input(key="find_job").set_value("bell m3").run())
    assert [b.key.startswith("all_open_") for b in page.button if b.label == "Open"].count(True) == 1
    checked(page.text_input(key="find_job").set_value("nothing like it").run())
    assert "No job is like that." in shown(page)


def test_a_transaction_gives_up_as_soon_as_it_is_told(store, home):
    with locked(home), pytest.raises(OperationError, match="another program is writing"):
        store.transaction(0.05).__enter__()
    with store.transaction():  # and later ones are as patient as before
        assert store.row("PRAGMA busy_timeout")[0] == 5000


def test_the_link_on_disk_says_what_it_is(store, folder):
    id = begun(folder, store)
    data = json.loads((folder.folder / f"{id}.kept.json").read_text())
    assert data["form"] == "balancer job link 1"
    assert link.read_link(folder.folder / id) == folder.get(id).link == replace(Link(), part=data["part"])


def test_the_store_is_opened_for_looking_only_where_there_is_one(home):
    assert begin.offer(home) == begin.Offer()
    with pytest.raises(InputError, match="not in the history"):
        begin.chosen(home, new_id())
    with Store.open(home):
        pass
    assert begin.offer(home).parts == ()

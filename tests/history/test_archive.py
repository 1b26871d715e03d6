"""Export and import: the whole history on another machine, nothing doubled, nothing lost."""

import json
import math
import zipfile
from dataclasses import replace

import pytest

from balancer.errors import OperationError
from balancer.history.archive import export_store, import_store
from balancer.history.archive_forms import FORM
from balancer.history.check import check
from balancer.history.events import add_event, events_of
from balancer.history.jobs import add_job, get_job
from balancer.history.machines import add_machine, find_machine, list_machines, update_machine
from balancer.history.merge import TABLES
from balancer.history.parts import add_part, find_part, get_part, move_part, update_part
from balancer.history.queries import list_parts
from balancer.history.records.part import SPARE, Location
from balancer.history.records.run import RecordingRef
from balancer.history.removal import remove
from balancer.history.runs import add_run, get_run, runs_of_job, set_aside
from balancer.history.stands import add_coefficient, add_stand
from balancer.history.store import Store, backup
from balancer.procedure.coefficients import SetUp
from tests.history import makers, old_stores

NOW = makers.later(days=60)
ADDERS = {
    "machines": add_machine,
    "stands": add_stand,
    "parts": add_part,
    "jobs": add_job,
    "runs": add_run,
    "coefficients": add_coefficient,
    "events": add_event,
}


@pytest.fixture
def other(tmp_path):
    """The history of another machine."""
    with Store.open(tmp_path / "other") as opened:
        yield opened


@pytest.fixture
def full(store):
    """A record of each kind, recordings and a photo among them."""
    for table, record in old_stores.records():
        ADDERS[table.name](store, record)
    file, marks = store.files.keep(b"samples" * 1000), store.files.keep(b"mark times")
    ref = RecordingRef(file, "Größe \U0001f681.csv", file, marks=marks, marks_name="marks.csv", near=500.0)
    add_run(store, makers.run(makers.part("p2"), 7, recording=ref))
    photo = store.files.keep(b"a photo")
    update_part(store, replace(find_part(store, "p2"), photo=photo), makers.later(days=1))
    return store


def rows(store):
    """All that the tables hold."""
    names = [table.name for table in TABLES] + ["readings"]
    return {name: sorted(map(tuple, store.rows(f"SELECT * FROM {name}"))) for name in names}


def send(store, to, name="history.zip", now=NOW):
    export_store(store, store.home.parent / name, now)
    return import_store(to, store.home.parent / name)


def test_the_whole_history_comes_back_on_another_machine(full, other, tmp_path):
    done = export_store(full, tmp_path / "history.zip", NOW)
    assert dict(done.rows) == {
        "machines": 1, "stands": 1, "parts": 3, "jobs": 1, "runs": 4, "coefficients": 1, "events": 4
    }  # fmt: skip
    assert (done.files, done.missing) == (3, ())
    came = import_store(other, tmp_path / "history.zip")
    assert rows(other) == rows(full)
    assert set(other.files.all()) == set(full.files.all())
    assert check(other).sound
    assert (came.added, came.conflicts, came.files) == (tuple(sorted(done.rows)), (), 3)


def test_importing_again_changes_nothing(full, other):
    send(full, other)
    before = rows(other)
    again = send(full, other, "again.zip")
    assert rows(other) == before
    assert (again.added, again.updated, again.conflicts, again.files) == ((), (), (), 0)
    assert sum(count for _, count in again.unchanged) == 15


def test_there_and_back_changes_nothing(full, other):
    before = rows(full)
    send(full, other)
    back = send(other, full, "back.zip")
    assert rows(full) == before
    assert (back.added, back.updated, back.conflicts) == ((), (), ())


def on_hub(turned_deg):
    return Location("fitted", makers.machine().id, 1, math.radians(turned_deg))


def test_how_a_propeller_is_turned_travels(full, other):
    part = move_part(full, find_part(full, "P10"), on_hub(120), makers.later(days=8))
    send(full, other)
    assert get_part(other, part.id).where.turned == pytest.approx(math.radians(120))
    assert events_of(other, part.id)[0].where.turned == pytest.approx(math.radians(120))
    move_part(full, get_part(full, part.id), on_hub(240), makers.later(days=61))
    assert dict(send(full, other, "second.zip").updated) == {"parts": 1}
    assert rows(full) == rows(other)


def test_a_copy_has_how_a_propeller_is_turned(full, tmp_path):
    move_part(full, find_part(full, "P10"), on_hub(120), makers.later(days=8))
    backup(full, tmp_path / "copy")
    with Store.open(tmp_path / "copy") as copy:
        assert rows(copy) == rows(full)


def test_an_archive_of_form_1_still_comes(full, other, tmp_path):
    """As it was written before places said how a propeller is turned."""

    def older(data):
        for place in (data.get("now"), data):
            if place and "turned_deg" in place:
                assert place.pop("turned_deg") is None

    export_store(full, tmp_path / "history.zip", NOW)
    rewrite(
        tmp_path / "history.zip", tmp_path / "old.zip", {"parts.jsonl": older, "events.jsonl": older}, form=1
    )
    assert import_store(other, tmp_path / "old.zip").conflicts == ()
    assert rows(other) == rows(full)
    # and what is said here of the turn is not lost to an older archive
    turned = move_part(other, find_part(other, "P10"), on_hub(120), makers.later(days=61))
    assert import_store(other, tmp_path / "old.zip").older == (("parts", 1),)
    assert get_part(other, turned.id).where == turned.where


def test_the_same_history_makes_the_same_archive(full, tmp_path):
    for name in "ab":
        export_store(full, tmp_path / name, NOW)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_an_archive_is_open_to_other_programs(full, tmp_path):
    export_store(full, tmp_path / "history.zip", NOW)
    with zipfile.ZipFile(tmp_path / "history.zip") as archive:
        manifest = json.loads(archive.read("manifest.json"))
        parts = [json.loads(line) for line in archive.read("parts.jsonl").splitlines()]
        run = json.loads(archive.read("runs.jsonl").splitlines()[0])
    assert (manifest["form"], manifest["records"]["parts"]) == ("balancer history 2", 3)
    (p10,) = (part for part in parts if part["label"] == "P10")
    assert (p10["mass_g"], p10["sizes"]["diameter_mm"]) == pytest.approx((16.0, 304.8))
    assert run["item"]["run"]["readings"][0]["re"] == 1.5


def test_the_later_edit_wins_on_both_sides(full, other):
    send(full, other)
    here, there = find_part(full, "P10"), find_part(other, "p2")
    update_part(full, replace(here, words="edited here"), makers.later(days=61))
    update_part(other, replace(there, words="edited there"), makers.later(days=62))
    came = send(full, other, "second.zip")
    assert (came.updated, came.older) == ((("parts", 1),), (("parts", 1),))
    assert (find_part(other, "P10").words, find_part(other, "p2").words) == ("edited here", "edited there")
    send(other, full, "back.zip")
    assert rows(full) == rows(other)


def test_a_mark_of_removal_travels(full, other):
    send(full, other)
    remove(full, find_part(full, "P10"), makers.later(days=61))
    send(full, other, "second.zip")
    assert [part.label for part in list_parts(other)] == ["M1", "p2"]


def test_edits_at_the_same_moment_are_reported_and_what_is_here_stays(full, other):
    send(full, other)
    for store, words in ((full, "here"), (other, "there")):
        update_part(store, replace(find_part(store, "P10"), words=words), makers.later(days=61))
    (conflict,) = send(full, other, "second.zip").conflicts
    assert (conflict.what, conflict.name, conflict.trouble) == ("part", "P10", "same-time")
    assert find_part(other, "P10").words == "there"


def test_a_label_that_is_taken_gives_way_and_is_reported(full, other):
    for label in ("P10", "p10-2"):
        add_part(other, makers.part(label, id=makers.ident("theirs", label)))
    (conflict,) = send(full, other).conflicts
    assert (conflict.name, conflict.trouble, conflict.now) == ("P10", "label", "P10-3")
    assert get_part(other, makers.part("P10").id).label == "P10-3"
    before = rows(other)
    send(full, other, "again.zip")
    assert rows(other) == before


def test_a_long_label_that_is_taken_stays_short_enough(store, other):
    add_part(store, makers.part("ABCDEFGHIJKL"))
    add_part(other, makers.part("abcdefghijkl", id=makers.ident("theirs")))
    assert send(store, other).conflicts[0].now == "ABCDEFGHIJ-2"


def test_names_of_machines_and_stands_that_are_taken_give_way(full, other):
    add_machine(other, makers.machine("TERN", id=makers.ident("theirs")))
    add_stand(other, makers.stand("bench", id=makers.ident("their stand")))
    found = {(one.what, one.name, one.trouble, one.now) for one in send(full, other).conflicts}
    assert found == {("machine", "Tern", "name", "Tern-2"), ("stand", "bench", "name", "bench-2")}
    assert check(other).sound


def test_an_arm_that_is_taken_makes_the_part_that_came_a_spare(full, other):
    add_machine(other, makers.machine())
    theirs = makers.part("X1", where=Location("fitted", makers.machine().id, 1))
    add_part(other, theirs)
    move_part(full, find_part(full, "P10"), on_hub(120), makers.later(days=8))
    (conflict,) = send(full, other).conflicts
    assert (conflict.name, conflict.trouble) == ("P10", "arm")
    assert find_part(other, "P10").where == SPARE


def test_a_job_that_went_on_on_both_machines_keeps_all_runs(full, other):
    send(full, other)
    part, job = find_part(full, "P10"), makers.job(makers.part("P10"))
    for seed, store in ((31, full), (32, other)):
        add_run(store, makers.run(part, seed, job=job.id, number=3))
    (conflict,) = send(full, other, "second.zip").conflicts
    assert (conflict.what, conflict.name, conflict.trouble, conflict.now) == ("run", "3", "number", "4")
    assert [run.number for run in runs_of_job(other, get_job(other, job.id).id)] == [1, 2, 3, 4]


def test_what_was_measured_is_never_replaced(full, other, tmp_path):
    send(full, other)
    run = makers.run(makers.part("P10"), 1)

    def changed(data):
        if data["id"] == run.id:
            data["item"]["run"]["readings"][0]["re"] = 99.0
            data["edited_at"] = "2030-01-01T00:00:00.000000Z"

    rewrite(tmp_path / "history.zip", tmp_path / "changed.zip", {"runs.jsonl": changed})
    (conflict,) = import_store(other, tmp_path / "changed.zip").conflicts
    assert (conflict.what, conflict.trouble) == ("run", "measured")
    assert get_run(other, run.id).item.run.readings[0].value == 1.5 + 0.5j


def test_a_run_set_aside_elsewhere_is_set_aside_here(full, other):
    send(full, other)
    run = get_run(full, makers.run(makers.part("P10"), 1).id)
    set_aside(full, run, "a gust", makers.later(days=61))
    assert send(full, other, "second.zip").updated == (("runs", 1),)
    assert get_run(other, run.id).item.set_aside == "a gust"


def test_a_lost_recording_is_told_and_the_rest_comes(full, other, tmp_path):
    (file, *_) = (run["file"] for run in full.rows("SELECT file FROM runs WHERE file IS NOT NULL"))
    full.files.remove(file)
    assert export_store(full, tmp_path / "history.zip", NOW).missing == (file,)
    assert import_store(other, tmp_path / "history.zip").missing == (file,)
    assert rows(other) == rows(full)


def test_times_and_whole_numbers_may_be_written_otherwise(full, other, tmp_path):
    """Another program may have written the archive: the same moment, the same number."""

    def otherwise(data):
        data["edited_at"] = data["edited_at"].replace("T09:30:00.000000Z", "T11:30+02:00")

    export_store(full, tmp_path / "history.zip", NOW)
    rewrite(tmp_path / "history.zip", tmp_path / "changed.zip", {"machines.jsonl": otherwise})
    import_store(other, tmp_path / "changed.zip")
    assert rows(other)["machines"] == rows(full)["machines"]


def test_a_file_that_is_there_is_not_overwritten(store, tmp_path):
    (tmp_path / "history.zip").write_text("mine")
    with pytest.raises(OperationError, match="a file of this name already; choose another name"):
        export_store(store, tmp_path / "history.zip", NOW)


def test_a_folder_that_is_not_there_is_told(store, tmp_path):
    with pytest.raises(OperationError, match="this cannot be written"):
        export_store(store, tmp_path / "nowhere" / "history.zip", NOW)


def test_an_export_while_another_program_writes_is_whole(writers, home, tmp_path, other):
    said = tmp_path / "said"
    writer = writers.start(home, said, 200)
    writers.wait_for_more(said, 37 * 10)
    with Store.open(home) as store:
        done = export_store(store, tmp_path / "history.zip", NOW)
    writers.wait_for_end(writer)
    came = import_store(other, tmp_path / "history.zip")
    assert dict(came.added)["runs"] == dict(done.rows)["runs"] == came.files >= 10
    assert check(other).sound


def rewrite(source, target, changes, form=FORM):
    """Write an archive anew, each record of some tables changed."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "manifest.json":
                content = json.dumps(json.loads(content) | {"form": f"balancer history {form}"})
            if name in changes:
                records = [json.loads(line) for line in content.splitlines()]
                for record in records:
                    changes[name](record)
                content = "".join(json.dumps(record) + "\n" for record in records)
            new.writestr(name, content)


def test_a_renamed_machine_travels(full, other):
    send(full, other)
    update_machine(full, replace(find_machine(full, "Tern"), name="Gull"), makers.later(days=61))
    send(full, other, "second.zip")
    assert [machine.name for machine in list_machines(other)] == ["Gull"]


def test_the_set_up_of_a_stand_follows_its_new_name(store, other):
    add_stand(store, makers.stand(set_up=SetUp("bench", ("x",))))
    add_stand(other, makers.stand(id=makers.ident("theirs")))
    send(store, other)
    names = {row["name"] for row in other.rows("SELECT name FROM stands")}
    assert names == {"bench", "bench-2"}
    assert check(other).sound

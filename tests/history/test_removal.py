"""Nothing measured is deleted by accident: removal is a mark, purge deletes only what is marked."""

from dataclasses import replace

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.check import check
from balancer.history.events import add_event, events_of
from balancer.history.jobs import add_job, get_job, whole_job
from balancer.history.machines import add_machine, get_machine, list_machines
from balancer.history.parts import add_part, find_part, get_part
from balancer.history.queries import list_parts
from balancer.history.records.part import Location
from balancer.history.records.run import RecordingRef
from balancer.history.removal import marked, purge, remove, restore
from balancer.history.runs import add_run, get_run, runs_of_part
from balancer.history.stands import add_stand, get_stand, list_stands
from tests.history import makers

NOW = makers.later(days=30)
COUNTED = ("machines", "parts", "stands", "jobs", "runs", "readings", "coefficients", "events")


@pytest.fixture
def two(store):
    """Two parts with a job, two runs with recordings and an event each; one recording is shared."""
    add_stand(store, makers.stand())
    shared = store.files.keep(b"of both")
    for label in ("P1", "P2"):
        part = makers.part(label, photo=store.files.keep(b"photo " + label.encode()))
        add_part(store, part)
        job = makers.job(part, makers.stand())
        add_job(store, job)
        for number, file in enumerate((shared, store.files.keep(label.encode())), 1):
            ref = RecordingRef(file, "run.stream", file)
            add_run(
                store,
                makers.run(part, number, job=job.id, number=number, stand=job.stand, recording=ref),
            )
        add_event(store, makers.event(part, "balanced", job=job.id))
    return store


def counts(store):
    return {name: store.row(f"SELECT count(*) FROM {name}")[0] for name in COUNTED}


def test_a_part_is_removed_with_its_story_and_all_of_it_comes_back(two):
    part = makers.part("P1")
    before = counts(two)
    remove(two, find_part(two, "P1"), NOW)
    assert [listed.label for listed in list_parts(two)] == ["P2"]
    assert (events_of(two, part.id), runs_of_part(two, part.id)) == ((), ())
    assert counts(two) == before
    restore(two, get_part(two, part.id), makers.later(days=31))
    assert [listed.label for listed in list_parts(two)] == ["P1", "P2"]
    assert (len(events_of(two, part.id)), len(runs_of_part(two, part.id))) == (1, 2)


def test_what_was_removed_before_does_not_come_back_with_the_part(two):
    run = get_run(two, makers.run(makers.part("P1"), 2).id)
    remove(two, run, makers.later(days=20))
    remove(two, find_part(two, "P1"), NOW)
    restore(two, get_part(two, makers.part("P1").id), makers.later(days=31))
    assert [one.id for one in runs_of_part(two, makers.part("P1").id)] == [
        makers.run(makers.part("P1"), 1).id
    ]


def test_purge_deletes_what_is_marked_and_the_files_that_only_it_needed(two):
    remove(two, find_part(two, "P1"), NOW)
    foreseen = marked(two)
    assert dict(foreseen.rows) == {
        "machines": 0, "parts": 1, "stands": 0, "jobs": 1, "runs": 2, "coefficients": 0, "events": 1
    }  # fmt: skip
    assert foreseen.total == 5
    assert counts(two)["runs"] == 4
    assert purge(two) == foreseen
    assert counts(two) == {
        "machines": 0, "parts": 1, "stands": 1, "jobs": 1, "runs": 2, "readings": 4, "coefficients": 0,
        "events": 1,
    }  # fmt: skip
    health = check(two)
    assert health.sound
    assert health.extra == ()
    assert len(foreseen.files) == 2
    assert two.files.read(runs_of_part(two, makers.part("P2").id)[0].recording.file) is not None


def test_purge_without_a_mark_deletes_nothing(two):
    before, files = counts(two), set(two.files.all())
    assert purge(two).total == 0
    assert (counts(two), set(two.files.all())) == (before, files)


def test_purge_leaves_what_something_else_refers_to(two):
    remove(two, get_stand(two, makers.stand().id), NOW)
    assert list_stands(two) == ()
    assert purge(two).total == 0
    assert get_stand(two, makers.stand().id).removed == NOW


def test_purge_never_deletes_files_without_rows(two):
    """Another program may have written one just now, and be about to add its row."""
    just_now = two.files.keep(b"just recorded")
    remove(two, find_part(two, "P1"), NOW)
    purge(two)
    assert two.files.holds(just_now)
    assert check(two).extra == (just_now,)


def test_a_removed_run_is_no_run_of_its_job(two):
    part = makers.part("P1")
    remove(two, get_run(two, makers.run(part, 1).id), NOW)
    assert len(whole_job(two, makers.job(part).id).runs) == 1


def test_a_job_takes_its_runs_along(two):
    part = makers.part("P1")
    remove(two, get_job(two, makers.job(part).id), NOW)
    assert runs_of_part(two, part.id) == ()
    assert dict(purge(two).rows)["runs"] == 2
    assert get_job(two, makers.job(part).id).removed == NOW  # the event still refers to it


def test_a_machine_with_parts_on_it_is_not_removed(store):
    machine = makers.machine()
    add_machine(store, machine)
    add_part(store, makers.part("P1", where=Location("fitted", machine.id, 3)))
    with pytest.raises(InputError, match="parts are fitted to it: P1; move them first"):
        remove(store, machine, NOW)


def test_marks_are_set_and_taken_once(store):
    add_machine(store, makers.machine())
    remove(store, makers.machine(), NOW)
    gone = get_machine(store, makers.machine().id)
    with pytest.raises(InputError, match="marked as removed already"):
        remove(store, gone, NOW)
    with pytest.raises(OperationError, match="another program has changed this machine meanwhile"):
        restore(store, replace(gone, edited=makers.START), NOW)
    restore(store, gone, NOW)
    (back,) = list_machines(store)
    with pytest.raises(InputError, match="not marked as removed"):
        restore(store, back, NOW)


def test_a_label_given_to_another_meanwhile_keeps_a_part_from_coming_back(store):
    add_part(store, makers.part("P1"))
    remove(store, makers.part("P1"), NOW)
    add_part(store, makers.part("P1", id=makers.ident("another")))
    with pytest.raises(InputError, match="there is a part in use with the label"):
        restore(store, get_part(store, makers.part("P1").id), makers.later(days=31))


def test_a_check_tells_what_is_lost_damaged_or_too_much(two):
    first, second = (run.recording.file for run in runs_of_part(two, makers.part("P1").id))
    two.files.path(first).unlink()
    two.files.path(second).write_bytes(b"something else")
    extra = two.files.keep(b"left by a program that was stopped")
    health = check(two)
    assert (health.missing, health.damaged, health.extra) == ((first,), (second,), (extra,))
    assert not health.sound
    with pytest.raises(OperationError, match="the stored file is no longer what it was; restore it"):
        two.files.read(second)
    with pytest.raises(OperationError, match="the stored file cannot be read"):
        two.files.read(first)

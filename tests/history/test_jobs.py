"""Jobs and runs: kept at every change, rebuilt whole, never replaced."""

from dataclasses import replace

import numpy as np
import pytest

from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError, OperationError
from balancer.history.jobs import Taken, add_job, get_job, jobs_of_part, save_job, whole_job
from balancer.history.parts import add_part
from balancer.history.records.part import PartRecord, PropellerSizes
from balancer.history.records.run import JobRecord, RecordingRef
from balancer.history.records.stand import CoefficientRecord
from balancer.history.runs import (
    add_run,
    get_run,
    runs_of_job,
    runs_of_part,
    runs_of_recording,
    set_aside,
)
from balancer.history.stands import (
    add_coefficient,
    add_stand,
    coefficients_of,
    find_stand,
    get_stand,
    list_stands,
    update_stand,
)
from balancer.history.store import Store
from balancer.procedure.coefficients import SetUp, coefficient_of
from balancer.procedure.next_step import next_step
from balancer.simulator.presets import random_bench
from tests.history import makers
from tests.procedure.hand import Hand, job_for


@pytest.fixture
def kept(store):
    """A job that begins."""
    add_part(store, makers.part())
    job = makers.job(makers.part())
    add_job(store, job)
    return job


def how(number=1, **more):
    return Taken(makers.later(minutes=number), makers.CHANNELS, **more)


def followed(home, seed):
    """Follow the steps at a simulated bench, the job kept at every step in a store that is opened anew."""
    bench, speed = random_bench(np.random.default_rng(seed))
    job, hand = job_for(bench, speed), Hand(bench, speed, seed)
    sizes = PropellerSizes(0.3, bench.rotor.blades, bench.rotor.hand) if bench.rotor.blades else None
    places = job.part.places if sizes else None
    part = makers.part(sizes=sizes or makers.part().sizes, places=places)
    record = JobRecord(
        id=makers.ident(seed), edited=makers.START, part=part.id, started=makers.START, frame=job
    )
    with Store.open(home) as store:
        add_part(store, part)
        add_job(store, record)
    for step_number in range(60):
        step = next_step(job)
        yield job, step
        if step.ends:
            return
        before = len(job.runs)
        job = hand.do(job, step)
        channels = tuple(
            replace(makers.CHANNELS[0], name=f"x{k}") for k in range(len(bench.sensor.noise_density))
        )
        with Store.open(home) as store:
            new = [Taken(makers.later(minutes=step_number), channels)] * (len(job.runs) - before)
            save_job(store, get_job(store, record.id), job, makers.later(minutes=step_number), new)
        with Store.open(home) as store:
            job = whole_job(store, record.id)


def unbalances(pieces):
    return [piece.mass.unbalance for piece in pieces]


@pytest.mark.parametrize("seed", [3, 8, 21])
def test_a_job_kept_and_rebuilt_at_every_step_goes_the_same_way(home, seed):
    """The identity test: the steps of a job that lives in the store are those of one that lives in memory."""
    bench, speed = random_bench(np.random.default_rng(seed))
    _, straight = Hand(bench, speed, seed).follow(job_for(bench, speed))
    stored = [step for _, step in followed(home, seed)]
    assert [(s.action, s.why.code, s.purpose) for s in stored] == [
        (s.action, s.why.code, s.purpose) for s in straight
    ]
    for one, other in zip(stored, straight, strict=True):
        assert [p.mass.unbalance for p in one.pieces] == pytest.approx(
            [p.mass.unbalance for p in other.pieces]
        )
        if other.solution is not None:
            expected = other.solution.answer.correction
            assert one.solution.answer.correction.value == pytest.approx(expected.value, rel=1e-9)
            assert one.solution.answer.correction.covariance.radius == pytest.approx(
                expected.covariance.radius, rel=1e-9
            )
    assert len(stored) > 5


def test_a_run_set_aside_stays_set_aside(store, kept):
    job = kept.frame.with_run(makers.item()).with_run(makers.item(1.6 + 0.5j))
    record = save_job(store, kept, job, makers.later(days=1), [how(1), how(2)])
    record = save_job(store, record, job.set_aside(2, "a gust"), makers.later(days=2))
    assert [run.set_aside for run in whole_job(store, kept.id).runs] == ["", "a gust"]
    save_job(store, record, whole_job(store, kept.id).taken_back(2), makers.later(days=3))
    assert [run.set_aside for run in whole_job(store, kept.id).runs] == ["", ""]


def test_what_was_measured_is_not_replaced(store, kept):
    job = kept.frame.with_run(makers.item())
    record = save_job(store, kept, job, makers.later(days=1), [how()])
    other = replace(job, runs=(makers.item(1.5001 + 0.5j),))
    with pytest.raises(InputError, match="run 1 of this job is not the one that is kept"):
        save_job(store, record, other, makers.later(days=2))
    with pytest.raises(InputError, match="has 0 runs, where 1 are kept and 0 are new; set runs aside"):
        save_job(store, record, replace(job, runs=()), makers.later(days=2))
    (run,) = whole_job(store, kept.id).runs
    assert run.run.readings == job.runs[0].run.readings


def test_two_programs_in_one_job_do_not_lose_a_run(store, home, kept):
    with Store.open(home) as other:
        save_job(other, kept, kept.frame.with_run(makers.item()), makers.later(days=1), [how()])
    with pytest.raises(OperationError, match="another program has changed this job meanwhile"):
        save_job(store, kept, kept.frame.with_run(makers.item(9j)), makers.later(days=1), [how()])
    assert [run.item.run.readings[0].value for run in runs_of_job(store, kept.id)] == [1.5 + 0.5j]


def test_every_new_run_says_how_it_came_about(store, kept):
    with pytest.raises(InputError, match="has 1 runs, where 0 are kept and 0 are new"):
        save_job(store, kept, kept.frame.with_run(makers.item()), makers.later(days=1))
    assert get_job(store, kept.id).edited == kept.edited


def test_a_run_is_kept_with_its_recording(store, kept):
    file = store.files.keep(b"samples")
    ref = RecordingRef(file, "as-is.stream", "a" * 64)
    save_job(store, kept, kept.frame.with_run(makers.item()), makers.later(days=1), [how(recording=ref)])
    (run,) = runs_of_recording(store, file)
    assert (run.recording, run.number, run.channels) == (ref, 1, makers.CHANNELS)
    assert get_run(store, run.id) == run


def test_a_run_whose_recording_is_not_there_is_refused(store):
    add_part(store, makers.part())
    lost = makers.run(makers.part(), recording=RecordingRef("b" * 64, "as-is.stream", "a" * 64))
    with pytest.raises(InputError, match="the recording of the run is not in the history; add the file"):
        add_run(store, lost)


def test_a_run_by_itself(store):
    add_part(store, makers.part())
    run = makers.run(makers.part())
    add_run(store, run)
    assert set_aside(store, run, " loose tape ", makers.later(days=1)).item.set_aside == "loose tape"
    (found,) = runs_of_part(store, makers.part().id)
    assert found.item.set_aside == "loose tape"
    with pytest.raises(OperationError, match="another program has changed this run meanwhile"):
        set_aside(store, run, "", makers.later(days=2))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (dict(channels=makers.CHANNELS[:1]), "a run of 2 readings does not fit 1 channels"),
        (dict(number=3), "the runs of a job are numbered from 1, and no others are"),
        (dict(at=makers.START.replace(tzinfo=None)), "the time of the run has no time zone"),
    ],
)
def test_runs_that_do_not_fit_are_refused(more, words):
    with pytest.raises(InputError, match=words):
        makers.run(makers.part(), **more)


def test_the_frame_of_a_job_holds_no_runs():
    frame = makers.job(makers.part()).frame.with_run(makers.item())
    with pytest.raises(InputError, match="the frame of a job holds no runs"):
        makers.job(makers.part(), frame=frame)


def test_jobs_of_a_part(store, kept):
    assert jobs_of_part(store, makers.part().id) == (get_job(store, kept.id),)


def test_coefficients_are_given_under_the_name_that_the_stand_has_now(store):
    set_up = SetUp("bench", ("x",), moving_mass=0.42)
    stand = makers.stand(set_up=set_up)
    add_stand(store, stand)
    found = stored_coefficient(set_up)
    record = CoefficientRecord(id=makers.ident("h"), edited=makers.START, stand=stand.id, coefficient=found)
    add_coefficient(store, record)
    update_stand(store, stand.renamed("granite"), makers.later(days=1))
    (kept,) = coefficients_of(store, stand.id)
    assert kept.coefficient.set_up == replace(set_up, stand="granite")
    assert kept.coefficient.influence[0].value == pytest.approx(found.influence[0].value)
    assert find_stand(store, "GRANITE") == get_stand(store, stand.id) == list_stands(store)[0]


def stored_coefficient(set_up):
    """From a solved job at a simulated bench."""
    bench, speed = random_bench(np.random.default_rng(3))
    _, steps = Hand(bench, speed, 3).follow(job_for(bench, speed))
    solution = next(step.solution for step in steps if step.solution is not None)
    several = replace(set_up, channels=tuple("xyz"[: len(solution.answer.influence)]))
    found = coefficient_of(solution, several, makers.START.date())
    return replace(found, set_up=set_up, influence=found.influence[:1])


def test_a_stand_is_unique_by_name_and_agrees_with_its_set_up(store):
    add_stand(store, makers.stand())
    with pytest.raises(InputError, match='there is a stand "BENCH" already'):
        add_stand(store, makers.stand("BENCH"))
    with pytest.raises(InputError, match='the set-up of stand "bench" is that of "vice"'):
        makers.stand(set_up=SetUp("vice", ("x",)))
    with pytest.raises(InputError, match="the photo of stand vice is not in the history"):
        add_stand(store, makers.stand("vice", photo="c" * 64))


def test_part_records_hold_plain_vectors(store):
    """A stored reading knows channel and unit beside it; `next_step` needs no more."""
    add_part(store, makers.part())
    add_run(store, makers.run(makers.part()))
    (run,) = runs_of_part(store, makers.part().id)
    assert all(type(reading) is UncertainComplex for reading in run.item.run.readings)
    assert isinstance(makers.part(), PartRecord)

"""What is stored suffices to compute all of it again."""

from dataclasses import replace

import numpy as np
import pytest

from balancer.core.runs import Amplitude
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.history import recompute as recompute_module
from balancer.history.parts import add_part
from balancer.history.recompute import recompute
from balancer.history.run_rows import run_values
from balancer.history.runs import add_run, keep_recording
from balancer.procedure.job import JobRun
from balancer.procedure.measure import measure, run_of
from balancer.recording.files import read_bytes
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.mark_file import read_mark_times, with_marks
from balancer.recording.stream_writer import make_stream_text
from balancer.simulator.presets import random_bench
from tests.history import makers


@pytest.fixture(scope="module")
def recorded():
    """A recording of a simulated bench as it lies on the disk."""
    bench, speed = random_bench(np.random.default_rng(4))
    return make_stream_text(bench.record(speed=speed, duration=3.0, seed=4))


@pytest.fixture
def part(store):
    add_part(store, makers.part())
    return makers.part()


def keep(store, part, content, seed, *, hints=NOTHING, marks=b"", near=None, name="as-is.stream.csv"):
    """Measure a recording and keep it with all that is known of it, as a face does."""
    recording = read_bytes(content, name, hints)
    if marks:
        recording = with_marks(recording, read_mark_times(marks, "marks.csv", hints))
    measured = measure(recording, near=near)
    second = ("marks.csv", marks) if marks else None
    ref = keep_recording(store, content, recording, hints=hints, marks=second, near=near)
    assert ref.name == name
    item = JobRun(run_of(measured, (), "as-is"), name, measured.findings)
    run = makers.run(part, seed, item=item, channels=recording.channels, recording=ref)
    add_run(store, run)
    return run


def table(speed_hz=80.0, seconds=2.0):
    """A foreign table with a time in ms and one channel of 1x at a known size, and its mark times in s."""
    times = np.arange(0, seconds, 1e-3)
    samples = 3 * np.cos(2 * np.pi * speed_hz * times - 0.7)
    rows = "".join(f"{1e3 * t:.3f},{a:.6f}\n" for t, a in zip(times, samples, strict=True))
    marks = "".join(f"{1e3 * k / speed_hz:.6f}\n" for k in range(1, int(seconds * speed_hz)))
    return f"time_ms,x\n{rows}".encode(), f"mark_ms\n{marks}".encode()


def test_the_same_comes_out_again(store, part, recorded):
    run = keep(store, part, recorded, 1)
    (found,) = recompute(store)
    assert found.same
    assert found.run.id == run.id
    assert (found.problem, found.other_samples, found.changed) == (None, False, ())


def test_a_table_with_hints_and_a_file_of_marks_is_read_as_it_was_then(store, part):
    content, marks = table()
    hints = Hints(unit="g", stamps="sensor")
    run = keep(store, part, content, 1, hints=hints, marks=marks, name="phone.csv")
    assert run.item.run.readings[0].amplitude == pytest.approx(3 * 9.80665, rel=1e-3)
    assert [found.same for found in recompute(store)] == [True]


def test_without_marks_the_speed_that_was_expected_is_used_again(store, part):
    hints = Hints(unit="m/s^2", stamps="sensor")
    keep(store, part, table()[0], 1, near=2 * np.pi * 78, name="phone.csv", hints=hints)
    (found,) = recompute(store)
    assert isinstance(found.run.item.run.readings[0], Amplitude)
    assert found.same


def test_what_differs_is_reported_and_what_is_kept_stays(store, part, recorded):
    run = keep(store, part, recorded, 1)
    kept = run.item.run.readings[0].value
    with store.transaction():
        store.execute("UPDATE readings SET re = re + 0.01 WHERE position = 0")
    (found,) = recompute(store)
    (changed,) = found.changed
    assert changed.channel == run.channels[0].name
    assert changed.distance == pytest.approx(0.01)
    assert changed.share == pytest.approx(0.01 / abs(kept + 0.01))
    assert changed.found.value == pytest.approx(kept, rel=1e-9)
    (row,) = store.rows("SELECT * FROM runs")
    assert run_values(store, [row])[0].item.run.readings[0].value == kept + 0.01


def test_another_way_of_measuring_shows(store, part, recorded, monkeypatch):
    """As after an update of the program."""
    keep(store, part, recorded, 1)
    monkeypatch.setattr(recompute_module, "run_of", lambda *measured: scaled(run_of(*measured)))
    (found,) = recompute(store)
    assert len(found.changed) == len(found.run.channels)
    assert all(changed.share == pytest.approx(0.02) for changed in found.changed)


def scaled(run):
    return type(run)(
        tuple(reading.times(1.02) for reading in run.readings), run.masses, run.purpose, run.speed
    )


def test_a_lost_and_a_damaged_recording_do_not_keep_the_others_from_it(store, part, recorded):
    runs = [keep(store, part, recorded + b"# %d\n" % seed, seed) for seed in range(3)]
    store.files.path(runs[0].recording.file).unlink()
    store.files.path(runs[1].recording.file).write_bytes(b"rust")
    found = {one.run.id: one for one in recompute(store)}
    assert "cannot be read" in str(found[runs[0].id].problem)
    assert "no longer what it was" in str(found[runs[1].id].problem)
    assert found[runs[2].id].same


def test_another_reading_of_the_same_file_shows(store, part, recorded):
    keep(store, part, recorded, 1)
    with store.transaction():
        store.execute("UPDATE runs SET recording = json_set(recording, '$.digest', ?)", ("0" * 64,))
    (found,) = recompute(store)
    assert found.other_samples
    assert found.changed == ()


def test_some_runs_only_and_none_that_were_typed(store, part, recorded):
    one, other = keep(store, part, recorded, 1), keep(store, part, recorded + b"# again\n", 2)
    add_run(store, makers.run(part, 3))
    assert len(list(recompute(store))) == 2
    assert [found.run.id for found in recompute(store, [other.id])] == [other.id]
    assert one.recording.file != other.recording.file
    assert one.recording.digest == other.recording.digest


def test_phase_where_there_was_none_is_a_difference(store, part, recorded):
    run = keep(store, part, recorded, 1)
    bare = tuple(Amplitude(1.0, 0.1) for _ in run.channels)
    item = JobRun(replace(run.item.run, readings=bare))
    add_run(store, makers.run(part, 2, item=item, channels=run.channels, recording=run.recording))
    found = {one.run.id: one for one in recompute(store)}
    changed = found[makers.run(part, 2).id].changed
    assert len(changed) == len(run.channels)
    assert isinstance(changed[0].found, UncertainComplex)
    assert isinstance(changed[0].found.covariance, Covariance)
    assert changed[0].distance == pytest.approx(abs(1 - changed[0].found.amplitude))

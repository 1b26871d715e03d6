"""Mark times in a file of their own."""

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.recording.files import read, read_bytes
from balancer.recording.hints import NOTHING, Hints
from balancer.recording.mark_file import read_mark_times, with_marks
from balancer.recording.model import Channel, Recording
from tests.foreign import AMPLITUDE, LAG, bursty, even, numbers, table

SIGNAL = even()
START = 1234.5


def samples(stamps, form="{:.6f}", mark=""):
    return table(SIGNAL, ("time_s", numbers(stamps, form)), mark=mark).encode()


MARKS = SIGNAL.marks + START
FORMS = {
    "title": ("mark_s\n" + "\n".join(numbers(MARKS, "{:.7f}")), NOTHING),
    "milliseconds": ("time (ms)\n" + "\n".join(numbers(1e3 * MARKS, "{:.4f}")), NOTHING),
    "told": ("\n".join(numbers(1e6 * MARKS, "{:.0f}")), Hints(time_unit="us")),
    "decimal commas": ("mark [s]\r\n" + ";\r\n".join(numbers(MARKS, "{:.7f}", True)), NOTHING),
    "comments": ("# marks of the pick-up\nmark_s\n\n" + "\n".join(numbers(MARKS, "{:.7f}")), NOTHING),
}


@pytest.mark.parametrize(("text", "hints"), FORMS.values(), ids=FORMS.keys())
def test_marks_join_the_samples(text, hints):
    recording = read_bytes(samples(SIGNAL.times + START), "a.csv")
    joined = with_marks(recording, read_mark_times(text.encode(), "m.csv", hints))
    assert joined.marks == pytest.approx(SIGNAL.marks, abs=2e-6)
    once = measure(joined).channels[0].once
    assert once.amplitude == pytest.approx(AMPLITUDE[0], rel=0.01)
    assert once.lag == pytest.approx(LAG, abs=0.01)
    assert joined.findings[-1].code == "marks_from_file"


def test_dates_join_dates(tmp_path):
    base = np.datetime64("2026-05-04T10:11:12.250000", "us")

    def dates(seconds):
        return [str(base + np.timedelta64(round(t * 1e6), "us")) for t in seconds]

    (tmp_path / "a.csv").write_text(table(SIGNAL, ("time", dates(SIGNAL.times))))
    (tmp_path / "m.csv").write_text("mark\n" + "\n".join(dates(SIGNAL.marks)))
    joined = read(tmp_path / "a.csv", marks=tmp_path / "m.csv")
    assert joined.marks == pytest.approx(SIGNAL.marks, abs=2e-6)


def test_phase_is_refused_where_stamps_are_of_arrival():
    recording = read_bytes(samples(bursty(SIGNAL.times + START)), "a.csv")
    joined = with_marks(recording, read_mark_times(FORMS["title"][0].encode(), "m.csv"))
    assert joined.marks is None
    assert joined.findings[-1].code == "phase_refused"


REFUSED = {
    "no unit": ("1.5\n2.5\n3.5\n", "name no unit; .*--time-unit"),
    "a word": ("mark_s\n1.5\nsoon\n3.5\n", "line 3: 'soon' is not one time"),
    "falling": ("mark_s\n1.5\n0.5\n", "line 3: the mark times do not rise; sort"),
    "nothing": ("# marks\n", "holds no mark times"),
    "title alone": ("mark_s\n", "no mark times follow"),
}


@pytest.mark.parametrize(("text", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_files_that_cannot_be_used(text, words):
    with pytest.raises(InputError, match=f"^m.csv.*{words}"):
        read_mark_times(text.encode(), "m.csv")


def test_a_contradiction_is_refused():
    with pytest.raises(InputError, match="the title states s, --time-unit says ms"):
        read_mark_times(b"mark_s\n1\n2\n", "m.csv", Hints(time_unit="ms"))


def test_marks_of_another_clock_are_refused():
    recording = read_bytes(samples(SIGNAL.times), "a.csv")
    marks = read_mark_times(FORMS["title"][0].encode(), "m.csv")
    with pytest.raises(InputError, match=r"m\.csv: the marks run from 1234\.\d+ to .* not on one clock"):
        with_marks(recording, marks)


def test_two_sets_of_marks_are_refused():
    recording = read_bytes(samples(SIGNAL.times + START, mark="mark"), "a.csv")
    marks = read_mark_times(FORMS["title"][0].encode(), "m.csv")
    with pytest.raises(InputError, match="holds marks of its own"):
        with_marks(recording, marks)


def test_a_recording_without_stamps_cannot_take_them():
    recording = Recording(np.arange(10) / 10, np.zeros((1, 10)), (Channel("x", "m/s^2"),), source="a")
    marks = read_mark_times(FORMS["title"][0].encode(), "m.csv")
    with pytest.raises(InputError, match="need a table with a time column"):
        with_marks(recording, marks)

"""The page of stands: what is known of them, what its clicks write, the checks of sensor and stand."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.bench import BenchView, Capture
from balancer.app.services import MovedError
from balancer.app.stands import bench_check, sensor_check, service, words, work
from balancer.app.stands.captures import MOST, Captures
from balancer.app.stands.items import Item, worst
from balancer.app.stands.service import Typed
from balancer.app.stands.state import wish_of
from balancer.app.worker import Worker
from balancer.core.masses import Mass
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError, OperationError
from balancer.history import stand_story
from balancer.history.records.kept import new_id
from balancer.history.records.stand import CoefficientRecord
from balancer.history.stands import add_coefficient, averages_of, coefficients_of, find_stand
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from balancer.procedure.drift import drift
from balancer.procedure.trial_judgement import linearity
from balancer.procedure.trust import USUAL_SCATTER
from balancer.recording.model import Gap
from balancer.recording.stream_writer import make_stream_packets, make_stream_text
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import G_STANDARD, rad_s_from_rpm
from tests.app_page import settled
from tests.taps import recorded, tapped

PAGE = str(Path(app.__file__).parent / "views" / "stands.py")
NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
BENCH = coastal_propeller(1)


@pytest.fixture
def stand(store):
    return find_stand(store, "bench (example)")


def opened(id=""):
    page = AppTest.from_file(PAGE, default_timeout=30)
    if id:
        page.query_params["stand"] = id
    return settled(page.run())


def click(page, key):
    (found,) = [button for button in page.button if button.key.startswith(key)]
    return settled(found.click().run())


def view(which):
    page = AppTest.from_file(PAGE, default_timeout=30).run()
    return chosen(page, "stands_view", which)


def chosen(page, key, value):
    page.button_group(key=key).set_value(value).run()
    return settled(page)


def everything(page):
    groups = (page.markdown, page.caption, page.error, page.warning, page.info, page.success)
    headings = (page.title, page.header, page.subheader)
    shown = "\n".join(e.value for group in (*groups, *headings) for e in group)
    return re.sub(r"\\(.)|\u2060", r"\1", shown)


def box(page, group, what, stand=None):
    start = f"stands_{what}_" + ("new" if stand is None else stand.id)
    return next(one for one in getattr(page, group) if one.key.startswith(start))


# What is known of stands


def test_the_list_says_what_each_stand_is_and_was_used_for(store):
    text = everything(opened())
    assert "bench (example)" in text
    assert "Moving mass: 260 g." in text
    count = sum(one.determinations for one in averages_of(store, find_stand(store, "bench (example)").id))
    assert f"{count} influence coefficients, 28 jobs, last used " in text


def test_a_stand_opens_by_its_address_and_by_a_click(stand):
    page = click(opened(), "stands_open_")
    assert page.query_params["stand"] == stand.id
    assert everything(page) == everything(opened(stand.id))
    assert "No sign that the stand has changed." in everything(page)
    page = click(page, "stands_all")
    assert "stand" not in page.query_params


def test_groups_are_those_of_the_history(store, stand):
    together = [group.together for group in stand_story.groups(store, stand.id, date.today())]
    assert sorted(map(repr, together)) == sorted(map(repr, averages_of(store, stand.id)))
    # the first bell of the example's story was balanced first, on its second day
    assert f"{date.today() - timedelta(days=364)}, bell M1: " in everything(opened(stand.id))


def test_a_stand_of_an_unknown_address_is_the_list(home):
    page = opened("nonsense")
    assert "Add this stand" in [button.label for button in page.button]
    assert page.warning[0].value == "The stand of this address is not in the history. Choose one of the list."


def test_a_stand_is_added_changed_and_renamed(store):
    page = opened()
    box(page, "text_input", "name").set_value("  shed   bench ")
    box(page, "number_input", "moving").set_value(310.0)
    page = click(page, "stands_add")
    added = find_stand(store, "shed bench")
    assert added.moving_mass == pytest.approx(0.310)
    assert "None yet" in everything(page)
    box(page, "text_input", "words", added).set_value("on rubber feet")
    box(page, "text_input", "name", added).set_value("garage bench")
    click(page, "stands_change_")
    changed = find_stand(store, "garage bench")
    assert (changed.id, changed.words) == (added.id, "on rubber feet")
    assert find_stand(store, "shed bench") is None


def test_renaming_keeps_what_was_learnt(store, stand):
    service.change(store, stand, Typed("another", stand.place, 260.0, stand.words), NOW)
    assert all(one.coefficient.set_up.stand == "another" for one in coefficients_of(store, stand.id))


@pytest.mark.parametrize(
    ("name", "sentence"), [("", "a stand needs a name"), ("Bench (Example)", 'there is a stand "Bench')]
)
def test_a_stand_without_a_name_of_its_own_is_refused(home, name, sentence):
    page = opened()
    box(page, "text_input", "name").set_value(name)
    assert sentence in everything(click(page, "stands_add"))


def test_a_change_made_elsewhere_meanwhile_is_not_overwritten(store, stand):
    service.change(store, stand, Typed("one"), NOW)
    with pytest.raises(OperationError, match="changed this stand meanwhile"):
        service.change(store, stand, Typed("two"), NOW)
    assert find_stand(store, "one") is not None


def test_a_coefficient_is_taken_out_and_brought_back(store, stand):
    before = coefficients_of(store, stand.id)
    page = opened(stand.id)
    page.button(key=f"stands_out_{before[0].id}").click().run()
    assert len(coefficients_of(store, stand.id)) == len(before) - 1
    page = click(page, f"stands_back_{before[0].id}")
    assert {one.id for one in coefficients_of(store, stand.id)} == {one.id for one in before}
    assert "Taken out" not in everything(page)


def test_a_second_click_says_that_it_was_done_already(store, stand):
    record = coefficients_of(store, stand.id)[0]
    service.take_out(store, record, NOW)
    with pytest.raises(MovedError):
        service.take_out(store, record, NOW)
    service.bring_back(store, record.id, NOW)
    with pytest.raises(MovedError):
        service.bring_back(store, record.id, NOW)


def test_names_reach_the_page_as_they_stand(store, stand):
    service.change(store, stand, Typed("<b>*x*</b>", "<i>y</i>"), NOW)
    for page in (opened(), opened(stand.id)):
        assert "<b>*x*</b>" in everything(page)
        raw = "".join(one.value for group in (page.markdown, page.header, page.subheader) for one in group)
        assert not re.search(r"(?<!\\)<[bi]", raw)


# Drift


def coefficient(value, day=1, sd=0.005):
    set_up = SetUp("bench", ("x", "y"), hand="ccw")
    found = tuple(
        UncertainComplex(factor * value, Covariance.circular((sd * abs(value)) ** 2)) for factor in (1, 0.5j)
    )
    return StoredCoefficient(set_up, rad_s_from_rpm(5200), found, date(2026, 1, day), 3)


def test_a_stand_that_changed_is_told_and_says_what_to_look_for(store, stand):
    latest = stand_story.groups(store, stand.id, date.today())[0].records[0]
    loose = replace(
        latest.coefficient,
        when=date.today(),
        influence=tuple(h.times(1.3) for h in latest.coefficient.influence),
    )
    add_coefficient(store, CoefficientRecord(id=new_id(), edited=NOW, stand=stand.id, coefficient=loose))
    text = everything(opened(stand.id))
    assert "Look at it. Drift" in text
    assert "% larger" in text
    assert "Has the sensor moved" in text


def test_how_much_it_moved_is_said_against_the_mean_of_those_before():
    turned = 1.2 * np.exp(1j * math.radians(10))
    found = (coefficient(turned * 1e6, 3), coefficient(1.0e6, 2), coefficient(1.0e6, 1))
    group = stand_story.Group(
        tuple(CoefficientRecord(id=new_id(), edited=NOW, stand=new_id(), coefficient=c) for c in found),
        found[0],
        None,
        drift(found, 0),
        0,
    )
    assert "20 % larger and turned by 10° against the 2 before in channel x" in words.drift_item(group).text
    assert group.drift.state == "changed"


def test_one_coefficient_alone_shows_no_drift():
    assert drift([coefficient(1e6)], 0) is None


@pytest.mark.parametrize("count", [3, 5])
def test_an_unchanged_stand_seldom_seems_changed_and_a_changed_one_mostly(count):
    # seeded trials of the scatter that a careful hand has; 5 % false alarms are the aim, few jobs give less
    rng = np.random.default_rng(5)

    def found(latest_off):
        offs = USUAL_SCATTER * (rng.standard_normal((2, count)).T @ np.array([1, 1j]))
        offs[0] += latest_off
        kept = [coefficient(1e6 * (1 + off), count - n, sd=1e-4) for n, off in enumerate(offs)]
        return drift(kept, 0).state == "changed"

    assert sum(found(0.0) for _ in range(300)) / 300 < 0.08
    assert sum(found(0.15) for _ in range(100)) / 100 > 0.9


# The sensor


def at_rest(rng, **facts):
    samples = 290e-6 * G_STANDARD * np.sqrt(1600 / 2) * rng.standard_normal((3, 6400))
    samples += np.array([0.3, -G_STANDARD, 0.5])[:, None]
    return recorded(np.round(samples / 0.01) * 0.01, **facts)


def item(checked, title):
    return next(one for one in checked.items if one.title == title)


def test_a_good_sensor_shows_its_noise_floor_and_gravity():
    checked = sensor_check.at_rest(at_rest(np.random.default_rng(1)))
    # white noise of sigma at the rate f has the one-sided density sigma sqrt(2/f) (Parseval; numpy made it)
    assert [axis.floor_ug for axis in checked.axes] == pytest.approx([290] * 3, rel=0.1)
    assert [axis.offset for axis in checked.axes] == pytest.approx([0.3, -G_STANDARD, 0.5], abs=0.02)
    assert worst(checked.items) == "good"
    assert "1.00 times gravity" in item(checked, "Scale").text
    assert sensor_check.verdict(checked.items) == "Nothing speaks against this sensor."


def test_what_is_wrong_with_a_sensor_is_told_with_what_to_do():
    good = at_rest(np.random.default_rng(1))
    in_g = sensor_check.at_rest(replace(good, samples=good.samples / G_STANDARD))
    assert item(in_g, "Scale").mood == "look"
    assert "check the unit" in item(in_g, "Scale").text
    full = 16 * G_STANDARD
    cut = sensor_check.at_rest(replace(good, samples=np.clip(good.samples * 20, -full, full)))
    assert item(cut, "Range").mood == "bad"
    assert "choose a larger range" in item(cut, "Range").text
    dead = good.samples.copy()
    dead[0] = 0.3
    assert item(sensor_check.at_rest(replace(good, samples=dead)), "Range").mood == "bad"
    gap = Gap(float(good.times[1000]), float(good.times[1001]), 400, "index")
    lost = sensor_check.at_rest(replace(good, gaps=(gap,)))
    assert (item(lost, "Dropped samples").mood, "400" in item(lost, "Dropped samples").text) == ("look", True)
    assert "range" in sensor_check.verdict(cut.items)


def test_a_hum_and_a_turning_rotor_are_told():
    good = at_rest(np.random.default_rng(1))
    hum = good.samples + 0.2 * np.sin(2 * np.pi * 50 * good.times)
    assert (
        "multiple of the mains"
        in item(sensor_check.at_rest(replace(good, samples=hum)), "Lines at rest").text
    )
    marked = replace(good, marks=np.arange(0.1, 3.9, 0.02))
    assert item(sensor_check.at_rest(marked), "At rest").mood == "bad"


def test_the_rate_is_compared_with_what_the_sensor_says():
    good = at_rest(np.random.default_rng(1))
    told = sensor_check.at_rest(replace(good, sensor=replace(good.sensor, nominal_rate=1601.6)))
    assert "-0.10 % off the 1602" in item(told, "Sample rate").text
    assert "does not say what was meant" in item(sensor_check.at_rest(good), "Sample rate").text


def test_one_axis_alone_cannot_be_compared_with_gravity():
    good = at_rest(np.random.default_rng(1))
    one = replace(good, samples=good.samples[:1].copy(), channels=good.channels[:1])
    assert item(sensor_check.at_rest(one), "Scale").mood == "untold"


def test_the_sensor_check_of_the_page_takes_files_and_an_example(home):
    page = chosen(view("sensor"), "stands_source_rest", "example")
    text = everything(page)
    assert "Nothing speaks against this sensor." in text
    assert "| x | 0" in text
    page = chosen(page, "stands_source_rest", "files")
    running = make_stream_text(BENCH.record(speed=COASTAL_SPEED, duration=4.0, seed=1))
    page.file_uploader(key="stands_files_rest").set_value([("run.stream.csv", running, "")]).run()
    text = everything(settled(page))
    assert "Before you trust this sensor, look at: at rest" in text
    page.file_uploader(key="stands_files_rest").set_value([("nothing.csv", b"\x00\x01", "")]).run()
    assert settled(page).error


# The stand


def spun(count=3, **more):
    return [BENCH.record(speed=COASTAL_SPEED, duration=3.0, seed=n, **more) for n in range(1, count + 1)]


def test_runs_that_repeat_and_runs_that_do_not():
    runs = spun()
    items = bench_check.repeatability(runs)
    assert [one.mood for one in items[:3]] == ["good"] * 3
    assert items[0].title == "Runs against each other"
    moved = BENCH.record(
        speed=COASTAL_SPEED, duration=3.0, seed=9, masses=(Mass(0.1e-3, 0.06, math.radians(40)),)
    )
    apart = bench_check.repeatability([*runs[:2], moved])
    assert apart[0].mood == "bad"
    assert "Tug at the clamps" in apart[0].text


def test_the_scatter_of_an_axis_is_that_of_its_vectors():
    runs = spun()
    found = bench_check.repeatability(runs)[1]
    # outside the page: the 1x vectors by numpy's least squares over the shaft angle between marks
    vectors = []
    for one in runs:
        turns = np.interp(one.times, one.marks, np.arange(one.marks.size))
        inside = (one.times > one.marks[0]) & (one.times < one.marks[-1])
        basis = np.exp(-2j * np.pi * turns[inside])
        vectors.append(2 * np.mean((one.samples[0] - one.samples[0].mean())[inside] * basis).conjugate())
    size = abs(np.mean(vectors))
    assert float(re.search(r"1x is ([\d.]+)", found.text)[1]) == pytest.approx(size, rel=0.02)


def test_runs_without_marks_are_compared_by_size_only():
    items = bench_check.repeatability([replace(one, marks=None) for one in spun()])
    assert [one.mood for one in items] == ["good", "untold"]


def test_runs_that_cannot_be_compared_are_refused():
    with pytest.raises(InputError, match="one run does not show"):
        bench_check.repeatability(spun(1))
    faster = BENCH.record(speed=1.2 * COASTAL_SPEED, duration=3.0, seed=4)
    with pytest.raises(InputError, match="too far apart to be compared"):
        bench_check.repeatability([*spun(1), faster])


def test_taps_find_the_resonance_that_was_put_in():
    # a mode at 60 Hz solved by scipy.signal.lsim (tests/taps): 3600 rpm
    taps = recorded(tapped(np.random.default_rng(3), [(60.0, 0.04, (1.0, 0.6, 0.2))]))
    near, sweep = bench_check.resonances(taps, 3700.0)
    assert sweep is None
    assert near[0].mood == "bad"
    assert float(re.search(r"([\d.]+) Hz", near[1].text)[1]) == pytest.approx(60, rel=0.01)
    assert bench_check.resonances(taps, 5400.0)[0][0].mood == "good"
    assert bench_check.resonances(taps, None)[0][0].mood == "untold"


def test_the_bench_check_of_the_page(home):
    page = view("bench")
    assert "Resonances: not checked yet" in everything(page).replace("**", "")
    page = chosen(page, "stands_source_repeat", "example")
    page = chosen(page, "stands_source_resonance", "example")
    page.number_input(key="stands_rpm").set_value(2000.0).run()
    text = everything(settled(page)).replace("**", "")
    assert "Runs repeat: Good" in text
    assert "Resonances: Do not use it so" in text
    assert "too near to a resonance" in text  # the example's stand has its second mode at 34 Hz, 2040 rpm
    assert "<svg" in text
    page.number_input(key="stands_rpm").set_value(9900.0).run()
    assert "does not reach 9900 rpm" in everything(settled(page))


def test_two_files_are_needed_to_compare(home):
    page = view("bench")
    files = [(f"{n}.stream", make_stream_packets(one), "") for n, one in enumerate(spun(2))]
    page.file_uploader(key="stands_files_repeat").set_value(files[:1]).run()
    assert "One more recording is needed" in everything(settled(page))
    page.file_uploader(key="stands_files_repeat").set_value(files).run()
    assert "All 2 runs agree" in everything(settled(page))


def loaded(sizes, powers):
    """Runs whose vector grows as a power of the mass in g mm: 1 is in proportion."""

    def run(vector, *masses):
        return Run((UncertainComplex(vector, Covariance.circular(1e-6)),), masses, speed=500.0)

    with_masses = [
        run(1 + 2 * size**power, Mass(size * 1e-6, 1.0, 0.0))
        for size, power in zip(sizes, powers, strict=True)
    ]
    return [run(1 + 0j), *with_masses]


@pytest.mark.parametrize(
    ("sizes", "powers", "mood", "said"),
    [
        ((0.5, 1.5), (1, 1), "good", "in proportion"),
        ((0.5, 1.5), (1, 1.5), "look", "does not grow with the mass"),
        ((1.0, 1.05), (1, 1), "untold", "about one size"),
    ],
)
def test_proportion(sizes, powers, mood, said):
    found = bench_check.proportion("job", linearity(loaded(sizes, powers)))
    assert (found.mood, said in found.text) == (mood, True)


def test_what_counts_before_what():
    moods = ("seen", "untold", "good", "look", "bad")
    for n in range(1, 6):
        assert worst([Item("", mood, "") for mood in moods[:n]]) == moods[n - 1]


# From the bench


class StillBench:
    """A bench whose capture is done at once, with the data that it was given."""

    def __init__(self, data=(), busy=True, files=()):
        self.data, self.wishes, self.files = list(data), [], files
        self.shown = BenchView(state="running" if busy else "off")

    def view(self):
        return self.shown

    def recordings(self):
        return self.files

    def capture(self, wish, then):
        self.wishes.append(wish)
        then("cut.stream", self.data.pop(0))
        self.shown = replace(self.shown, capture=Capture(wish, "done", 1.0))

    def drop_capture(self):
        self.shown = replace(self.shown, capture=None)


@pytest.fixture
def at_bench(home, monkeypatch):
    def put(bench):
        monkeypatch.setattr(services, "bench", lambda _: bench)
        return bench

    return put


def test_runs_are_recorded_from_the_bench_one_after_the_other(at_bench):
    bench = at_bench(StillBench([make_stream_packets(one) for one in spun(2)]))
    page = chosen(view("bench"), "stands_source_repeat", "bench")
    page = click(page, "stands_record_repeat")
    assert "Recorded so far: 1." in everything(page)
    page = click(page, "stands_record_repeat")
    assert "All 2 runs agree" in everything(page)
    assert [wish.marks for wish in bench.wishes] == [True, True]
    page = click(page, "stands_anew_repeat")
    assert "runs agree" not in everything(page)


def test_a_sensor_at_rest_is_recorded_without_marks(at_bench):
    rest = coastal_propeller(1).record(speed=COASTAL_SPEED, duration=4.0, seed=1, powered=False)
    bench = at_bench(StillBench([make_stream_packets(rest)]))
    page = chosen(view("sensor"), "stands_source_rest", "bench")
    page = click(page, "stands_record_rest")
    assert "Noise floor" in everything(page)
    assert (bench.wishes[0].marks, bench.wishes[0].seconds) == (False, 5.0)


def test_a_capture_that_waits_or_fails_says_so(at_bench):
    bench = at_bench(StillBench())
    page = chosen(view("bench"), "stands_source_repeat", "bench")
    wish = wish_of("repeat")
    bench.shown = replace(bench.shown, capture=Capture(wish, "waiting"))
    page = settled(page.run())
    page = click(page, "stands_drop_repeat")
    bench.shown = replace(bench.shown, capture=Capture(wish, "failed", trouble="the source went away"))
    assert "the source went away" in everything(settled(page.run()))


def test_without_a_source_the_page_says_where_to_start_one(at_bench):
    at_bench(StillBench(busy=False))
    text = everything(chosen(view("sensor"), "stands_source_rest", "bench"))
    assert "start one on the page Live" in text
    assert "has kept no recording yet" in text


# Beside the page


def test_captures_are_bounded_and_told_apart():
    kept = Captures()
    for n in range(MOST + 2):
        kept.add("rest", "cut.stream", bytes([n]))
    assert [one.data[0] for one in kept.of("rest")] == list(range(2, MOST + 2))
    assert len({one.name for one in kept.of("rest")}) == MOST
    kept.forget("rest")
    assert kept.of("rest") == ()


def test_what_a_file_leaves_open_is_asked_here(home):
    table = b"time_s,x,y,z\n" + b"".join(f"{n / 100},0.1,{n % 2 / 10},1.0\n".encode() for n in range(300))
    page = view("sensor")
    page.file_uploader(key="stands_files_rest").set_value([("phone.csv", table, "")]).run()
    settled(page)
    (unit,) = [one for one in page.button_group if one.key.startswith("stands_rest_unit")]
    text = everything(settled(unit.set_value("g").run()))
    assert "1.01 times gravity" in text


def test_a_recording_of_the_bench_that_is_gone_is_told(tmp_path):
    path = tmp_path / "gone.stream"
    path.write_bytes(b"")
    given = work.of_paths([path])
    path.unlink()
    assert "is not there any more" in work.outcome("rest", given).text


def test_the_worker_does_a_thing_once_and_forgets_the_oldest():
    worker, done = Worker(kept=2), []

    def work_on(what):
        return worker.ask(what, lambda: done.append(what) or what).result(10)

    assert [work_on(what) for what in "aab"] == ["a", "a", "b"]
    assert done == ["a", "b"]
    work_on("c")
    work_on("a")
    assert done == ["a", "b", "c", "a"]


def test_work_that_failed_is_begun_anew():
    worker, tries = Worker(), []

    def fails_once():
        tries.append(1)
        if len(tries) == 1:
            raise ValueError
        return "done"

    with pytest.raises(ValueError):  # noqa: PT011 - of our own making
        worker.ask("key", fails_once).result(10)
    assert worker.ask("key", fails_once).result(10) == "done"

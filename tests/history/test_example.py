"""The example history: what it tells is true of its simulated craft, and it is measured, not written."""

import pytest

from balancer.core.matching import Hub
from balancer.errors import OperationError
from balancer.history.check import check
from balancer.history.events import events_of
from balancer.history.example import DAYS, MACHINE, fill_example
from balancer.history.machines import find_machine
from balancer.history.own import Own, candidates, own_unbalance
from balancer.history.parts import add_part, find_any_part, find_part
from balancer.history.queries import PartFilter, list_parts
from balancer.history.recompute import recompute
from balancer.history.stands import averages_of, list_stands
from balancer.history.store import Store
from balancer.history.story import story_of
from tests.history import makers


@pytest.fixture
def year(example_home):
    with Store.open(example_home) as store:
        yield store


def story(store, label):
    return story_of(store, find_any_part(store, label).id, makers.START.date())


def test_it_is_a_whole_craft_with_two_crashes(year):
    parts = list_parts(year)
    assert [(p.kind, p.state) for p in parts].count(("bell", "fitted")) == 6
    assert [(p.kind, p.state) for p in parts].count(("propeller", "fitted")) == 6
    assert [p.label for p in parts if p.state == "retired"] == ["P3", "P5"]
    crashes = {e.at.date() for p in parts for e in events_of(year, p.id) if e.kind == "crashed"}
    assert len(crashes) == 3  # two accidents, and a branch
    days = [e.at for p in parts for e in events_of(year, p.id)]
    assert 300 < (max(days) - min(days)).days <= DAYS


def test_all_of_it_is_sound_and_small(year, example_home):
    health = check(year)
    assert health.sound
    assert not health.extra
    assert sum(path.stat().st_size for path in example_home.rglob("*") if path.is_file()) < 10e6


def test_every_run_comes_out_again_as_it_is_kept(year):
    found = list(recompute(year, [run["id"] for run in year.rows("SELECT id FROM runs LIMIT 6")]))
    assert len(found) == 6
    assert all(one.same for one in found)


def test_own_unbalance_is_what_the_simulated_parts_truly_have(year, example):
    # the coefficients are known to some percent and share their error: three standard uncertainties
    truth = example[1]
    told = {
        p.label: own_unbalance(year, find_part(year, p.label)) for p in list_parts(year) if p.label in truth
    }
    known = {label: own for label, own in told.items() if isinstance(own, Own)}
    assert len(known) >= 12
    for label, own in known.items():
        assert abs(own.vector.value - truth[label]) < 3.5 * own.vector.covariance.radius + 0.01e-6, label
    assert told["P4"].code == "own_disturbed"


def test_what_a_propeller_has_is_less_what_its_bell_had(year):
    last = story(year, "P1").determinations[-1]
    own, bell = (own_unbalance(year, find_part(year, label)) for label in ("P1", "M1"))
    assert own.vector.value == pytest.approx(last.left.value - bell.vector.value)
    assert own.vector.covariance.re == pytest.approx(last.left.covariance.re + bell.vector.covariance.re)
    assert own.bell == "M1"


def test_the_knocks_are_seen_and_the_quiet_parts_are_quiet(year):
    for label in ("M3", "P6"):
        assert story(year, label).change.state == "changed"
    for label in ("P1", "P2", "P4"):
        assert story(year, label).change.state != "changed"
    assert not story(year, "P1").trend.seen


def test_the_story_compares_what_was_found_with_what_was_left(year):
    first, then, last = story(year, "P6").determinations
    assert then.found.value == pytest.approx(first.left.value, abs=0.05e-6)
    assert (first.good, then.good, last.good) == (True, True, True)
    assert last.left.amplitude < last.permissible < last.found.amplitude
    assert len(find_part(year, "P6").pieces) == len(first.record.frame.fitted + last.record.frame.fitted)


def test_an_arm_whose_propeller_is_not_known_stays_out_of_the_matching(year):
    among = candidates(year, find_machine(year, MACHINE), Hub(2))
    assert [motor.name for motor in among.motors] == ["arm 1", "arm 2", "arm 3", "arm 5", "arm 6"]
    assert [one.code for one in among.left_out] == ["own_disturbed", "arm_left_out"]
    assert {one.name for one in among.propellers} == {"P1", "P2", "P6", "P7", "P8", "P9"}
    assert all(one.angle == 0 for one in among.fitted)


def test_coefficients_of_one_set_up_are_put_together(year):
    (stand,) = list_stands(year)
    found = averages_of(year, stand.id)
    assert {(one.set_up.hand, round(one.set_up.moving_mass, 3)) for one in found} == {
        (hand, mass) for hand in ("ccw", "cw") for mass in (0.26, 0.244)
    }
    assert max(one.scatter for one in found) < 0.1


def test_what_is_due_in_the_list_is_what_was_never_looked_at_or_crashed(year):
    due = list_parts(year, PartFilter(due_before=makers.START.replace(year=2000)))
    assert [part.label for part in due] == ["P4", "P8"]


def test_a_history_with_something_in_it_is_not_touched(store):
    add_part(store, makers.part())
    with pytest.raises(OperationError, match="something in this history already"):
        fill_example(store, makers.START.date())
    assert len(list_parts(store)) == 1

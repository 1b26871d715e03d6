"""Own unbalance and stories from jobs whose answer is known by hand: reading = H U, with H stored."""

import math
from dataclasses import replace

import pytest

from balancer.core.matching import Hub, match
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.history.events import add_event
from balancer.history.jobs import Taken
from balancer.history.keeping import keep_job
from balancer.history.machines import add_machine
from balancer.history.own import candidates, own_unbalance
from balancer.history.parts import add_part, find_part, get_part, move_part
from balancer.history.records.part import Location
from balancer.history.story import story_of
from balancer.procedure.job import JobRun
from tests.history import makers

H = 3e6 - 4e6j  # (m/s^2)/(kg m)
KNOWN = (UncertainComplex(H, Covariance.circular(1e8)),)
U_BELL, U_PAIR = 0.2e-6 + 0.1e-6j, -0.3e-6 + 0.4e-6j
CHANNEL = makers.CHANNELS[:1]


@pytest.fixture
def pair(store):
    """Bell M1 and propeller P1 on arm 1."""
    machine = makers.machine()
    add_machine(store, machine)
    on_1 = Location("fitted", machine.id, 1)
    add_part(store, makers.bell(where=on_1))
    add_part(store, makers.part(where=on_1))
    return store


def measured(store, part, unbalance, day, *, bell=None):
    """Keep a job of one run that shows an unbalance."""
    frame = makers.job(part).frame
    reading = UncertainComplex(H * unbalance, Covariance.circular(1e-6))
    run = JobRun(Run((reading,), (), "as-is", 544.5))
    # each reading of a real bench is another one, and so a job is known by its first
    job = replace(frame, known=KNOWN, acknowledged=True, runs=(run,))
    now = makers.later(days=day)
    return keep_job(store, find_part(store, part.label), job, [Taken(now, CHANNEL)], now, bell=bell)


def event(store, part, kind, day):
    add_event(store, makers.event(part, kind, at=makers.later(days=day)))


def test_a_propeller_has_what_the_pair_has_less_the_bell(pair):
    measured(pair, makers.bell(), U_BELL, 1)
    measured(pair, makers.part(), U_PAIR, 2, bell=makers.bell())
    bell, propeller = own_unbalance(pair, makers.bell()), own_unbalance(pair, makers.part())
    assert bell.vector.value == pytest.approx(U_BELL, rel=1e-6)
    assert propeller.vector.value == pytest.approx(U_PAIR - U_BELL, rel=1e-6)
    among = candidates(pair, makers.machine(), Hub(2))
    assert (among.motors[0].hand, among.fitted[0].propeller, among.left_out[0].code) == (
        "ccw",
        "P1",
        "arm_without_bell",
    )


@pytest.fixture
def on_arm(pair):
    """The pair, measured; gives what turns the propeller on its hub, and what matching then takes."""
    measured(pair, makers.bell(), U_BELL, 1)
    measured(pair, makers.part(), U_PAIR, 2, bell=makers.bell())
    part = find_part(pair, "P1")

    def turn(turned, day):
        now = find_part(pair, "P1")
        return move_part(pair, now, replace(part.where, turned=turned), makers.later(days=day))

    def taken():
        among = candidates(pair, makers.machine(), Hub(0))
        return among.fitted[0].angle, among.assumed

    return pair, turn, taken


def test_a_propeller_stands_as_it_was_noted_and_is_assumed_in_line_where_nobody_knows(on_arm):
    _, turn, taken = on_arm
    assert taken() == (0.0, ("P1",))
    turn(math.pi / 3, 3)
    assert taken() == (pytest.approx(math.pi / 3), ())
    turn(0.0, 4)
    assert taken() == (0.0, ())


def test_what_is_fitted_leaves_what_the_two_parts_have_in_that_turn(on_arm):
    """By hand: the sum of two vectors, the second turned by the angle noted."""
    pair, turn, _ = on_arm
    turn(math.pi / 3, 3)
    among = candidates(pair, makers.machine(), Hub(0))
    first = match(among.motors, among.propellers, among.fitted)[0]
    by_hand = U_BELL + (U_PAIR - U_BELL) * complex(0.5, math.sqrt(0.75))
    assert (first.moves, first.pairings[0].left.value) == (0, pytest.approx(by_hand, rel=1e-6))


def test_a_job_on_the_stand_makes_the_turn_unknown_again(on_arm):
    pair, turn, taken = on_arm
    turn(math.pi, 3)
    measured(pair, makers.part(), U_PAIR * 1.01, 4, bell=makers.bell())
    assert taken() == (0.0, ("P1",))


def test_a_job_from_before_the_turn_or_kept_again_leaves_it_known(on_arm):
    pair, turn, taken = on_arm
    turn(math.pi, 5)
    measured(pair, makers.part(), U_PAIR * 1.01, 4, bell=makers.bell())  # kept late
    assert taken() == (pytest.approx(math.pi), ())
    frame = makers.job(makers.part()).frame
    reading = UncertainComplex(H * U_PAIR, Covariance.circular(1e-6))
    job = replace(frame, known=KNOWN, acknowledged=True, runs=(JobRun(Run((reading,), (), "as-is", 544.5)),))
    assert keep_job(pair, find_part(pair, "P1"), job, [], makers.later(days=9)).new_runs == 0
    assert taken() == (pytest.approx(math.pi), ())


@pytest.mark.parametrize(
    ("story", "code"),
    [
        (lambda s: None, "own_not_measured"),
        (lambda s: measured(s, makers.part(), U_PAIR, 2), "own_bell_not_named"),
        (lambda s: measured(s, makers.part(), U_PAIR, 2, bell=makers.bell()), "own_bell_not_measured"),
        (
            lambda s: (
                measured(s, makers.bell(), U_BELL, 1),
                event(s, makers.bell(), "crashed", 1.5),
                measured(s, makers.part(), U_PAIR, 2, bell=makers.bell()),
            ),
            "own_bell_not_measured",
        ),
        (
            lambda s: (
                measured(s, makers.bell(), U_BELL, 1),
                measured(s, makers.part(), U_PAIR, 2, bell=makers.bell()),
                event(s, makers.part(), "repaired", 3),
            ),
            "own_disturbed",
        ),
    ],
    ids=["never", "bell not named", "bell not measured", "bell crashed before", "repaired since"],
)
def test_what_the_history_cannot_tell_is_named(pair, story, code):
    story(pair)
    assert own_unbalance(pair, makers.part()).code == code
    with pytest.raises(InputError, match="for no arm of Tern"):
        candidates(pair, makers.machine(), Hub(2))


def test_a_knock_to_the_bell_afterwards_is_the_bells_own(pair):
    measured(pair, makers.bell(), U_BELL, 1)
    measured(pair, makers.part(), U_PAIR, 2, bell=makers.bell())
    event(pair, makers.bell(), "crashed", 3)
    assert own_unbalance(pair, makers.bell()).code == "own_disturbed"
    assert own_unbalance(pair, makers.part()).vector.value == pytest.approx(U_PAIR - U_BELL, rel=1e-6)


def test_a_job_within_its_grade_counts_as_checked(pair):
    kept = measured(pair, makers.bell(), U_BELL, 1)
    assert (kept.event, kept.new_runs, kept.coefficient) == ("checked", 1, None)
    story = story_of(pair, makers.bell().id, makers.later(days=2).date())
    assert (len(story.determinations), story.page.run_count) == (1, 1)
    assert story.due.checked == makers.later(days=1).astimezone().date()


def test_a_change_and_a_drift_are_told_from_the_vectors(pair):
    for day, more in ((0, 0), (100, 0.01e-6j), (200, 0.02e-6j), (300, 0.03e-6j)):
        measured(pair, makers.bell(), U_BELL + more, day)
    story = story_of(pair, makers.bell().id, makers.later(days=301).date())
    assert story.trend.seen
    # 0.01 g mm in 100 days, towards 90 deg
    assert story.trend.per_year.value == pytest.approx(0.01e-6j * 3.6525, rel=1e-3)
    assert story.change.against == 3
    assert story.series.points[-1].value == pytest.approx(abs(U_BELL + 0.03e-6j), rel=1e-6)


def test_pieces_of_a_second_job_come_beside_those_of_the_first(pair):
    for day, more in ((1, 0.0), (5, 0.01e-6)):
        frame = makers.job(makers.bell()).frame
        reading = UncertainComplex(H * (U_BELL + more), Covariance.circular(1e-6))
        run = JobRun(Run((reading,), (), "as-is", 544.5))
        job = replace(frame, known=KNOWN, runs=(run,), fitted=(makers.tape_piece(),))
        now = makers.later(days=day)
        keep_job(pair, find_part(pair, "M1"), job, [Taken(now, CHANNEL)], now)
        keep_job(pair, find_part(pair, "M1"), job, [], now)
    assert len(get_part(pair, makers.bell().id).pieces) == 2

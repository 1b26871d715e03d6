"""Blindly doing what `next_step` says, on simulated benches of all kinds, comes to an end that is true.

The benches come from `random_bench`: 5- to 15-inch propellers on soft and stiff stands, with the noise of a
cheap sensor, turbulence, and a hand on the throttle that never meets the same speed twice.
"""

from __future__ import annotations

import numpy as np
import pytest

from balancer.procedure.job_file import job_from_data, job_to_data
from balancer.procedure.next_step import next_step
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell, random_bench
from tests.procedure.hand import Hand, job_for

MOST_RUNS = 6


def draw(number):
    return random_bench(np.random.default_rng([number, 5]))


def follow(numbers, *, with_phase=True, quick=True, grade=2.5e-3):
    """Follow one job for each number: runs made, the last step, what is truly left, what was there before."""
    for number in numbers:
        bench, speed = draw(number)
        hand = Hand(bench, speed, number, with_phase=with_phase, quick=quick)
        job, steps = hand.follow(job_for(bench, speed, grade=grade))
        yield len(job.runs), steps, hand.left(job), abs(bench.rotor.unbalance)


def ended_well(runs, step, left):
    """Done in time, and truly inside the permissible unbalance or the claim."""
    return (
        runs <= MOST_RUNS
        and step.action == "done"
        and left <= max(step.verdict.claim, step.verdict.permissible)
    )


@pytest.fixture(scope="module")
def with_phase():
    return list(follow(range(40)))


@pytest.fixture(scope="module")
def without_phase():
    return list(follow(range(20), with_phase=False))


# 500 draws of each were followed by hand: all with phase and 99.6 % without ended well, and what was claimed
# held in 99 and 98 % of them; here the first of them


def test_following_blindly_with_phase_ends_in_done(with_phase):
    assert all(ended_well(n, steps[-1], left) for n, steps, left, _ in with_phase)


def test_following_blindly_without_phase_ends_in_done(without_phase):
    assert np.mean([ended_well(n, steps[-1], left) for n, steps, left, _ in without_phase]) >= 0.95


def test_what_is_claimed_holds(with_phase, without_phase):
    runs = (*with_phase, *without_phase)
    held = [left <= steps[-1].verdict.claim for _, steps, left, _ in runs if steps[-1].verdict]
    assert np.mean(held) >= 0.95


def test_following_on_whole_recordings():
    for runs, steps, left, before in follow(range(6), quick=False):
        assert ended_well(runs, steps[-1], left)
        assert left < 0.1 * before


def test_a_bell_on_whole_recordings():
    bench = coastal_bell(3)
    hand = Hand(bench, COASTAL_SPEED, 3, quick=False)
    job, steps = hand.follow(job_for(bench, COASTAL_SPEED))
    assert ended_well(len(job.runs), steps[-1], hand.left(job))


def test_a_job_can_be_left_at_any_point():
    # the steps of a job that is written and read again after each of them are the same
    bench, speed = draw(3)
    plain, kept = Hand(bench, speed, 3), Hand(bench, speed, 3)
    job = other = job_for(bench, speed)
    for _ in range(12):
        step, again = next_step(job), next_step(other)
        assert (step.action, step.purpose, step.why.code) == (again.action, again.purpose, again.why.code)
        if step.ends:
            break
        job, other = plain.do(job, step), job_from_data(job_to_data(kept.do(other, again)))
    assert step.action == "done"

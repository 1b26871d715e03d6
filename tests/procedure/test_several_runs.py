"""What solving says when runs contradict each other or a stored coefficient; speeds differ a little."""

import cmath
import math

import numpy as np
import pytest

from balancer.core.masses import Mass, total_unbalance
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.procedure.solve import solve_runs

UNBALANCE = cmath.rect(2.0e-6, 1.1)
GAINS = (cmath.rect(4.0e5, 0.7), cmath.rect(1.5e5, -1.9))
SPEED, SD = 540.0, 5e-3
TRIAL, HALF = Mass(3e-5, 0.06, 0.7), Mass(1.8e-5, 0.06, 4.2)
CONTRADICTIONS = {
    "run_outlying",
    "outlier_unclear",
    "piece_off",
    "one_of_pieces_off",
    "influence_changed",
    "influence_changed_on_the_way",
    "run_off",
    "change_unclear",
}


def run(rng, masses, *, on=None, factor=1.0, off=0.0, power=2.0):
    """One run, `off` of the speed away on a stand that answers with a power of the speed."""
    readings = []
    for gain in GAINS:
        value = (
            factor * gain * (1 + off) ** power * (UNBALANCE + total_unbalance(masses if on is None else on))
        )
        noise = SD * complex(*rng.normal(size=2))
        readings.append(UncertainComplex(value + noise, Covariance.circular(SD**2)))
    return Run(tuple(readings), masses, speed=SPEED * (1 + off))


def told(solution):
    return [finding.code for finding in solution.findings if finding.code in CONTRADICTIONS]


def known(factor=1.0, share=0.03):
    return [UncertainComplex(factor * g, Covariance.circular((share * abs(g)) ** 2)) for g in GAINS]


@pytest.mark.parametrize("power", [1.0, 2.0, 3.0])
def test_speeds_that_differ_by_a_percent_are_no_contradiction(power):
    rng = np.random.default_rng(1)
    for _ in range(10):
        plan = [(), (TRIAL,), (HALF,), (HALF, Mass(1e-5, 0.06, 4.0))]
        runs = [run(rng, masses, off=rng.uniform(-0.01, 0.01), power=power) for masses in plan]
        assert told(solve_runs(runs, radius=0.06)) == []
        assert told(solve_runs(runs, radius=0.06, known=known())) == []


def test_a_piece_that_came_off_is_said_once():
    rng = np.random.default_rng(2)
    runs = [run(rng, ()), run(rng, (TRIAL,)), run(rng, (HALF,), on=())]
    assert told(solve_runs(runs, radius=0.06)) == ["piece_off"]


def test_a_stored_coefficient_that_does_not_hold_is_said_once():
    rng = np.random.default_rng(3)
    runs = [run(rng, ()), run(rng, (TRIAL,)), run(rng, (HALF,))]
    solution = solve_runs(runs, radius=0.06, known=known(cmath.rect(1.4, math.radians(50))))
    assert told(solution) == ["influence_changed"]
    assert solution.answer.correction.value == pytest.approx(-UNBALANCE, rel=0.02)


def test_a_run_that_went_wrong_is_named():
    rng = np.random.default_rng(4)
    plan = [(), (TRIAL,), (HALF,), (Mass(2e-5, 0.06, 2.5),), ()]
    runs = [run(rng, masses, factor=1.4j if k == 1 else 1.0) for k, masses in enumerate(plan)]
    solution = solve_runs(runs, radius=0.06)
    assert told(solution) == ["run_off"]
    found = next(finding for finding in solution.findings if finding.code == "run_off")
    assert found.figure("run") == 2

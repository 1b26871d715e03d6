"""The stated covariances against simulation with a seeded generator."""

import math

import numpy as np
import pytest

from balancer.core.influence import solve_influence
from balancer.core.masses import Mass, total_unbalance
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex

UNBALANCE = 2.0 * np.exp(1.1j)
DRAWS = 300


def at(size, degrees):
    return Mass(size, 1.0, math.radians(degrees))


def z_scores(truth, found):
    """Whitened errors, shape (2,): standard normal when the covariance is true."""
    error = found.value - truth
    root = np.linalg.cholesky(found.covariance.matrix)
    return np.linalg.solve(root, (error.real, error.imag))


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def simulate(plan, gains, roots, *, stated=1.0, draws=DRAWS):
    """Z-scores of every answer over `draws` jobs; readings scatter by `roots`, and say 1/stated of it."""
    rng = np.random.default_rng(21)
    truth = [h * UNBALANCE for h in gains]
    scores = {"correction": [], "initial": [], "influence": [], "predicted": []}
    for _ in range(draws):
        runs = []
        for k, masses in enumerate(plan):
            values = [h * (UNBALANCE + total_unbalance(masses)) for h in gains]
            errors = [root[k] @ rng.normal(size=2) for root in roots]
            covariances = [Covariance.of_matrix(root[k] @ root[k].T / stated**2) for root in roots]
            readings = tuple(
                UncertainComplex(complex(v + complex(*e)), c)
                for v, e, c in zip(values, errors, covariances, strict=True)
            )
            runs.append(Run(readings, tuple(masses)))
        answer = solve_influence(runs)
        left = [h * (UNBALANCE + answer.correction.value) for h in gains]
        scores["correction"].append(z_scores(-UNBALANCE, answer.correction))
        for c in range(len(gains)):
            scores["initial"].append(z_scores(truth[c], answer.initial[c]))
            scores["influence"].append(z_scores(gains[c], answer.influence[c]))
            scores["predicted"].append(z_scores(left[c], answer.predicted[c]))
    return {name: rms(values) for name, values in scores.items()}


def circular(runs, sd):
    return np.array([sd * np.eye(2)] * runs)


def slanted(runs, sd):
    """Runs of different noise, each with a direction of its own."""
    rng = np.random.default_rng(7)
    return sd * rng.uniform(0.3, 1.5, (runs, 2, 2)) * (1 + np.arange(runs)[:, np.newaxis, np.newaxis])


TWO = [(), (at(1.5, 40),)]
FOUR = [(), (at(1.5, 40),), (at(1.0, 200),), (at(1.5, 40), at(1.0, 110))]
GAINS = (1.0 + 0j, 0.5 * np.exp(2j), 0.3 * np.exp(-1j))


@pytest.mark.parametrize("make", [circular, slanted])
@pytest.mark.parametrize("channels", [1, 3])
def test_two_runs(make, channels):
    found = simulate(TWO, GAINS[:channels], [make(2, 0.01)] * channels)
    # 300 draws of two components scatter by 4.1 %
    assert found == {name: pytest.approx(1.0, abs=0.12) for name in found}


@pytest.mark.parametrize("make", [circular, slanted])
@pytest.mark.parametrize("channels", [1, 3])
def test_four_runs(make, channels):
    found = simulate(FOUR, GAINS[:channels], [make(4, 0.01)] * channels)
    # the uncertainty never shrinks with a lucky agreement but grows with a bad one: a little wide on average
    assert all(0.8 <= value <= 1.1 for value in found.values()), found


def test_channels_of_different_noise():
    found = simulate(FOUR, GAINS, [circular(4, sd) for sd in (0.02, 0.005, 0.01)])
    assert all(0.8 <= value <= 1.1 for value in found.values()), found


def test_runs_that_scatter_more_than_they_say_widen_the_answer():
    """R. T. Birge, Physical Review 40 (1932) 207: the scatter among the runs corrects what each says."""
    plan = [(), *((at(1.5, angle),) for angle in range(0, 360, 30))]
    found = simulate(plan, GAINS, [circular(13, 0.01)] * 3, stated=3.0, draws=150)
    # 66 degrees of freedom give the ratio to 9 %; 150 draws of two components scatter by 6 %
    assert all(0.85 <= value <= 1.2 for value in found.values()), found


def test_more_runs_make_it_surer():
    def radius(plan):
        runs = [
            Run((UncertainComplex(UNBALANCE + total_unbalance(m), Covariance.circular(1e-4)),), tuple(m))
            for m in plan
        ]
        return solve_influence(runs).correction.covariance.radius

    # everything twice: the standard uncertainty falls by the root of two
    assert radius(TWO * 2) == pytest.approx(radius(TWO) / math.sqrt(2), rel=1e-6)
    assert radius(FOUR) < radius(TWO)

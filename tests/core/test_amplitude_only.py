"""Without phase: the truth comes back, candidates are complete, stated uncertainties hold."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import differential_evolution, least_squares

from balancer.core.amplitude_only import closed_form, solve_amplitude_only
from balancer.core.masses import Mass, total_unbalance
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

UNBALANCE = cmath.rect(3.0, 2.1)
GAINS = (4.0, 0.7)
ON_A_LINE, IN_THE_ROUND = "two candidates", "one candidate"


def at(size, degrees):
    return Mass(size, 1.0, math.radians(degrees))


THREE = [(), (at(2.0, 0),), (at(2.0, 120),), (at(2.0, 240),)]
PLANS = {
    "three places": (THREE, IN_THE_ROUND),
    "three places, other sizes": ([(), (at(2, 10),), (at(3, 100),), (at(1.5, 250),)], IN_THE_ROUND),
    "three places, no as-is run": ([*THREE[1:], (at(3.0, 60),)], IN_THE_ROUND),
    "four places and a repeat": ([(), *((at(2, a),) for a in (0, 90, 180, 270)), ()], IN_THE_ROUND),
    "material removed": ([(), (at(-2, 0),), (at(-2, 120),), (at(2, 60),), (at(1, 10),)], IN_THE_ROUND),
    "two opposite places": ([(), (at(2, 20),), (at(2, 200),)], ON_A_LINE),
}


def runs_of(plan, unbalance=UNBALANCE, gains=GAINS, sd=1e-3, errors=0.0):
    exact = np.array([[g * abs(unbalance + total_unbalance(m)) for g in gains] for m in plan])
    return [
        Run(tuple(Amplitude(float(a), sd) for a in row), tuple(masses))
        for row, masses in zip(np.abs(exact + errors), plan, strict=True)
    ]


@pytest.mark.parametrize(("plan", "kind"), PLANS.values(), ids=PLANS.keys())
@pytest.mark.parametrize("channels", [1, 2])
def test_the_truth_is_among_the_answers(plan, kind, channels):
    answer = solve_amplitude_only(runs_of(plan, gains=GAINS[:channels]))
    found = (answer.correction, *answer.alternatives)
    assert len(found) == (2 if kind == ON_A_LINE else 1)
    best = min(found, key=lambda c: abs(c.value + UNBALANCE))
    assert best.value == pytest.approx(-UNBALANCE, rel=1e-6)
    assert [h.amplitude for h in answer.influence] == pytest.approx(GAINS[:channels], rel=1e-6)
    assert [v.amplitude for v in answer.initial] == pytest.approx(
        [g * abs(UNBALANCE) for g in GAINS[:channels]], rel=1e-6
    )
    assert answer.next_correction.value == pytest.approx(
        answer.correction.value - total_unbalance(plan[-1]), rel=1e-9
    )


def test_candidates_of_two_places_are_mirror_images():
    answer = solve_amplitude_only(runs_of(PLANS["two opposite places"][0]))
    line = cmath.exp(1j * math.radians(20))
    mirrored = line * (answer.correction.value / line).conjugate()
    assert answer.alternatives[0].value == pytest.approx(mirrored, rel=1e-6)


@pytest.mark.parametrize("angle", [0.4, 2.0, -1.0])
def test_turning_the_zero_mark_turns_the_answer(angle):
    plan = [tuple(Mass(m.mass, m.radius, m.angle - angle) for m in masses) for masses in THREE]
    turned = solve_amplitude_only(runs_of(plan, UNBALANCE * cmath.exp(-1j * angle)))
    plain = solve_amplitude_only(runs_of(THREE))
    assert turned.correction.value == pytest.approx(plain.correction.value * cmath.exp(-1j * angle), rel=1e-6)


def test_reversing_the_sense_of_rotation_conjugates():
    plan = [tuple(Mass(m.mass, m.radius, -m.angle) for m in masses) for masses in THREE]
    mirrored = solve_amplitude_only(runs_of(plan, UNBALANCE.conjugate()))
    assert mirrored.correction.value == pytest.approx(-UNBALANCE.conjugate(), rel=1e-6)


def test_a_reading_with_phase_counts_by_its_amplitude():
    with_phase = [
        Run(
            tuple(UncertainComplex(a.value * 1j**k, Covariance.circular(a.sd**2)) for a in run.readings),
            run.masses,
        )
        for k, run in enumerate(runs_of(THREE))
    ]
    assert solve_amplitude_only(with_phase).correction.value == pytest.approx(-UNBALANCE, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_agrees_with_a_general_search_for_the_least_squares(seed):
    """The same problem in its four raw unknowns, given to scipy's global and local optimisers."""
    rng = np.random.default_rng(seed)
    runs = runs_of(THREE, gains=(4.0,), sd=0.2, errors=rng.normal(scale=0.2, size=(4, 1)))
    fitted = np.array([run.unbalance for run in runs])
    readings = np.array([run.readings[0].value for run in runs])

    def misfit(p):
        return (readings - p[2] * np.abs(complex(p[0], p[1]) + fitted)) / 0.2

    bounds = [(-20, 20), (-20, 20), (0, 20)]
    rough = differential_evolution(lambda p: np.sum(misfit(p) ** 2), bounds, rng=seed, tol=1e-8)
    best = least_squares(misfit, rough.x, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    answer = solve_amplitude_only(runs)
    assert answer.correction.value == pytest.approx(-complex(*best.x[:2]), rel=1e-5)
    assert answer.influence[0].amplitude == pytest.approx(best.x[2], rel=1e-5)


@pytest.mark.parametrize("seed", range(3))
def test_closed_form_agrees_with_the_search_on_exact_readings(seed):
    rng = np.random.default_rng(seed)
    fitted = np.array([0, *(rng.normal(size=4) + 1j * rng.normal(size=4))])
    unbalance = complex(*rng.normal(size=2))
    correction, gain, redundant = closed_form(fitted, 2.5 * np.abs(unbalance + fitted))
    assert correction == pytest.approx(-unbalance, rel=1e-9)
    assert (gain, redundant) == pytest.approx((2.5, 2.5), rel=1e-9)


SPREADS = {
    "three places": (THREE, 0.10),
    # 4 degrees of freedom: the uncertainty never shrinks with luck, but grows with a bad agreement
    "six places": ([(), *((at(2, a),) for a in range(0, 360, 60))], 0.15),
}


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(("plan", "slack"), SPREADS.values(), ids=SPREADS.keys())
def test_stated_covariance_against_simulation(plan, slack, channels):
    rng = np.random.default_rng(31)
    scores = []
    for _ in range(150):
        errors = rng.normal(scale=0.05, size=(len(plan), channels))
        answer = solve_amplitude_only(runs_of(plan, gains=GAINS[:channels], sd=0.05, errors=errors))
        error = answer.correction.value + UNBALANCE
        root = np.linalg.cholesky(answer.correction.covariance.matrix)
        scores.append(np.linalg.solve(root, (error.real, error.imag)))
    # 150 draws of two components scatter by 6 %
    assert 0.95 - slack - 0.10 <= np.sqrt(np.mean(np.square(scores))) <= 1.10


@pytest.mark.parametrize("name", ["initial", "influence"])
def test_stated_amplitude_uncertainties_against_simulation(name):
    rng = np.random.default_rng(32)
    truth = {"initial": GAINS[0] * abs(UNBALANCE), "influence": GAINS[0]}[name]
    scores = []
    for _ in range(150):
        errors = rng.normal(scale=0.05, size=(4, 1))
        answer = solve_amplitude_only(runs_of(THREE, gains=GAINS[:1], sd=0.05, errors=errors))
        found = getattr(answer, name)[0]
        scores.append((found.amplitude - truth) / found.sd_amplitude)
    # 150 draws scatter by 6 %
    assert 0.80 <= np.sqrt(np.mean(np.square(scores))) <= 1.15


def codes(answer):
    return {finding.code for finding in answer.findings}


def test_readings_that_do_not_fit_are_told():
    errors = np.array([[0.0], [0.0], [0.0], [3.0]])
    assert "amplitudes_disagree" in codes(solve_amplitude_only(runs_of(THREE, gains=(4.0,), errors=errors)))
    assert "amplitudes_disagree" not in codes(solve_amplitude_only(runs_of(THREE)))


def test_a_small_effect_is_told():
    plan = [(), *((at(1.0, a),) for a in (0, 120, 240))]
    assert "trial_effect_small" in codes(solve_amplitude_only(runs_of(plan)))
    assert "trial_effect_small" not in codes(solve_amplitude_only(runs_of(THREE)))


NO_ANSWER = {
    "one run": [()],
    "two runs": [(), (at(2, 0),)],
    "one place three times": [(), (at(2, 0),), (at(2, 0),)],
    "masses that cancel": [(), (at(2, 0),), (at(2, 30), at(2, 210))],
}


@pytest.mark.parametrize("plan", NO_ANSWER.values(), ids=NO_ANSWER.keys())
def test_too_few_places_are_refused(plan):
    errors = np.arange(len(plan))[:, np.newaxis] * 0.1
    runs = runs_of(plan, errors=errors)
    with pytest.raises(InputError, match="as-is run and trials at two places or more are needed"):
        solve_amplitude_only(runs)


def test_identical_amplitudes_are_refused():
    runs = [Run((Amplitude(3.0, 0.1),), masses) for masses in THREE]
    with pytest.raises(InputError, match="amplitudes of all runs are identical"):
        solve_amplitude_only(runs)


@pytest.mark.parametrize(("value", "sd"), [(-1.0, 0.1), (1.0, -0.1), (math.nan, 0.1), (1.0, math.inf)])
def test_what_is_no_amplitude_is_refused(value, sd):
    with pytest.raises(InputError, match="is no amplitude"):
        Amplitude(value, sd)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.floats(0, 1e4), st.floats(0.05, 1.0), st.floats(-7.0, 7.0)), min_size=2, max_size=4
    ),
    st.floats(0, 1e4),
)
def test_any_typed_amplitudes_give_an_answer_or_a_refusal(rows, first):
    assume(all(a == 0 or a > 1e-6 for a in (first, *(row[0] for row in rows))))
    runs = [Run((Amplitude(first, 0.01),))]
    runs += [Run((Amplitude(a, 0.01),), (Mass(m, 1.0, angle),)) for a, m, angle in rows]
    try:
        answer = solve_amplitude_only(runs)
    except InputError:
        return
    for found in (answer.correction, *answer.alternatives):
        assert cmath.isfinite(found.value)

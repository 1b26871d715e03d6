"""With phase: the truth comes back, and what must not matter does not.

The bench is one line, V = H (U + W), written here anew; the yardsticks are general solvers.
"""

import cmath
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from balancer.core.influence import solve_influence
from balancer.core.masses import Mass, total_unbalance
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

UNBALANCE = cmath.rect(3.2e-6, 2.1)  # 3.2 g mm
GAINS = (cmath.rect(4.0e5, 0.7), cmath.rect(1.5e5, -1.9), cmath.rect(6e4, 3.0))  # (m/s^2)/(kg m)
SD = 2e-3


def trial(grams, degrees, radius=0.06):
    return Mass(grams * 1e-3, radius, math.radians(degrees))


PLANS = {
    "one trial": [(), (trial(0.05, 30),)],
    "trial removed, another put on": [(), (trial(0.05, 30),), (trial(0.04, 150),)],
    "trial left on": [(), (trial(0.05, 30),), (trial(0.05, 30), trial(0.03, 250))],
    "material removed": [(), (trial(-0.05, 200),)],
    "two radii": [(), (trial(0.05, 30, 0.02), trial(0.02, 70, 0.11))],
    "no as-is run": [(trial(0.05, 30),), (trial(0.04, 150),)],
    "as-is run repeated": [(), (trial(0.05, 30),), ()],
}
plans = pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS.keys())


def runs_of(plan, unbalance=UNBALANCE, gains=GAINS, sd=SD, errors=None):
    """Readings of every run; `errors` of shape (runs, channels) are added."""
    errors = np.zeros((len(plan), len(gains))) if errors is None else errors
    return [
        Run(
            tuple(
                UncertainComplex(
                    complex(gain * (unbalance + total_unbalance(masses)) + error), Covariance.circular(sd**2)
                )
                for gain, error in zip(gains, row, strict=True)
            ),
            tuple(masses),
        )
        for masses, row in zip(plan, errors, strict=True)
    ]


@plans
@pytest.mark.parametrize("channels", [1, 2, 3])
def test_the_truth_comes_back(plan, channels):
    answer = solve_influence(runs_of(plan, gains=GAINS[:channels]))
    assert answer.method == "influence"
    assert answer.correction.value == pytest.approx(-UNBALANCE, rel=1e-9)
    assert [h.value for h in answer.influence] == pytest.approx(GAINS[:channels], rel=1e-9)
    assert [v.value for v in answer.initial] == pytest.approx(
        [h * UNBALANCE for h in GAINS[:channels]], rel=1e-9
    )
    assert all(left.amplitude < 1e-9 for left in answer.predicted)


@plans
def test_next_is_the_correction_minus_what_is_fitted(plan):
    answer = solve_influence(runs_of(plan))
    fitted = total_unbalance(plan[-1])
    assert answer.next_correction.value == pytest.approx(answer.correction.value - fitted, rel=1e-12)
    assert answer.next_correction.covariance == answer.correction.covariance


def test_correction_on_leaves_nothing():
    answer = solve_influence(runs_of(PLANS["one trial"]))
    put_on = Mass.of_unbalance(answer.correction.value, 0.06)
    check = runs_of([(put_on,)])[0]
    assert max(abs(r.value) for r in check.readings) < 1e-9 * abs(GAINS[0] * UNBALANCE)


@given(st.floats(-math.pi, math.pi))
def test_turning_the_zero_mark_turns_the_answer(angle):
    # the mark moved by `angle` against the rotation: every angle and every lag is that much smaller
    turn = cmath.exp(-1j * angle)
    plan = PLANS["trial left on"]
    turned_plan = [tuple(Mass(m.mass, m.radius, m.angle - angle) for m in masses) for masses in plan]
    readings = [tuple(r.times(turn) for r in run.readings) for run in runs_of(plan)]
    turned = solve_influence([Run(r, m) for r, m in zip(readings, turned_plan, strict=True)])
    plain = solve_influence(runs_of(plan))
    assert turned.correction.value == pytest.approx(plain.correction.value * turn, rel=1e-9)
    assert [h.value for h in turned.influence] == pytest.approx([h.value for h in plain.influence], rel=1e-9)


@plans
def test_reversing_the_sense_of_rotation_conjugates(plan):
    mirrored_plan = [tuple(Mass(m.mass, m.radius, -m.angle) for m in masses) for masses in plan]
    mirrored = solve_influence(runs_of(mirrored_plan, UNBALANCE.conjugate(), [h.conjugate() for h in GAINS]))
    plain = solve_influence(runs_of(plan))
    assert mirrored.correction.value == pytest.approx(plain.correction.value.conjugate(), rel=1e-9)


@plans
def test_doubling_the_unbalance_doubles_vector_and_correction(plan):
    once, twice = solve_influence(runs_of(plan)), solve_influence(runs_of(plan, 2 * UNBALANCE))
    assert twice.correction.value == pytest.approx(2 * once.correction.value, rel=1e-9)
    assert twice.initial[0].value == pytest.approx(2 * once.initial[0].value, rel=1e-9)
    assert twice.influence[0].value == pytest.approx(once.influence[0].value, rel=1e-9)


@given(st.floats(-math.pi, math.pi), st.floats(0.1, 10.0))
def test_a_delay_or_a_gain_common_to_all_runs_does_not_matter(angle, gain):
    # a sensor filter turns and shrinks every reading alike at one speed: it goes into H
    factor = cmath.rect(gain, angle)
    readings = [tuple(r.times(factor) for r in run.readings) for run in runs_of(PLANS["one trial"])]
    answer = solve_influence([Run(r, m) for r, m in zip(readings, PLANS["one trial"], strict=True)])
    assert answer.correction.value == pytest.approx(-UNBALANCE, rel=1e-9)


def test_the_order_of_channels_does_not_matter():
    rng = np.random.default_rng(8)
    plan = PLANS["trial removed, another put on"]
    errors = SD * (rng.normal(size=(3, 3)) + 1j * rng.normal(size=(3, 3)))
    runs = runs_of(plan, errors=errors)
    swapped = [Run(run.readings[::-1], run.masses) for run in runs]
    plain, other = solve_influence(runs), solve_influence(swapped)
    assert other.correction.value == pytest.approx(plain.correction.value, rel=1e-12)
    assert other.correction.covariance.re == pytest.approx(plain.correction.covariance.re, rel=1e-9)


def test_two_runs_are_the_textbook_formula():
    rng = np.random.default_rng(2)
    for _ in range(20):
        v0, v1, w = rng.normal(size=3) + 1j * rng.normal(size=3)
        readings = [UncertainComplex(complex(v), Covariance(*rng.uniform(0.1, 1, 2))) for v in (v0, v1)]
        answer = solve_influence(
            [Run((readings[0],)), Run((readings[1],), (Mass.of_unbalance(complex(w), 1.0),))]
        )
        # whatever the weights: two runs leave no choice
        assert answer.correction.value == pytest.approx(-v0 * w / (v1 - v0), rel=1e-9)


def noisy_channel(rng, plan):
    """One channel with errors far above rounding; covariances with a direction of their own."""
    fitted = np.array([total_unbalance(masses) for masses in plan])
    roots = rng.normal(size=(len(plan), 2, 2)) * 0.05
    values = GAINS[0] * (UNBALANCE + fitted)
    values = values + [complex(*(root @ rng.normal(size=2))) for root in roots]
    covariances = [Covariance.of_matrix(root @ root.T) for root in roots]
    return values, covariances, fitted


@plans
def test_equal_weights_agree_with_numpy_lstsq(plan):
    rng = np.random.default_rng(3)
    values, _, fitted = noisy_channel(rng, plan)
    design = np.column_stack((np.ones(len(plan)), fitted * 1e6))
    (initial, effect), *_ = np.linalg.lstsq(design, values, rcond=None)
    runs = [
        Run((UncertainComplex(complex(v), Covariance.circular(1e-4)),), tuple(m))
        for v, m in zip(values, plan, strict=True)
    ]
    answer = solve_influence(runs)
    assert answer.initial[0].value == pytest.approx(initial, rel=1e-9)
    assert answer.influence[0].value == pytest.approx(effect * 1e6, rel=1e-9)
    assert answer.correction.value == pytest.approx(-initial / effect * 1e-6, rel=1e-9)


@plans
def test_unequal_weights_agree_with_scipy_least_squares(plan):
    rng = np.random.default_rng(5)
    values, covariances, fitted = noisy_channel(rng, plan)
    whiteners = [np.linalg.inv(np.linalg.cholesky(c.matrix)) for c in covariances]

    def misfit(p):
        left = values - complex(p[0], p[1]) - complex(p[2], p[3]) * fitted * 1e6
        return np.concatenate([w @ (e.real, e.imag) for w, e in zip(whiteners, left, strict=True)])

    fit = least_squares(misfit, np.ones(4), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    runs = [
        Run((UncertainComplex(complex(v), c),), tuple(m))
        for v, c, m in zip(values, covariances, plan, strict=True)
    ]
    answer = solve_influence(runs)
    assert answer.initial[0].value == pytest.approx(complex(*fit.x[:2]), rel=1e-7)
    assert answer.influence[0].value == pytest.approx(complex(*fit.x[2:]) * 1e6, rel=1e-7)


def test_several_channels_leave_least_over_all():
    # channels that disagree: no unbalance explains both, so the weighted sum of what is left is minimised
    rng = np.random.default_rng(6)
    plan = PLANS["one trial"]
    errors = 0.2 * (rng.normal(size=(2, 3)) + 1j * rng.normal(size=(2, 3)))
    answer = solve_influence(runs_of(plan, errors=errors))

    def left(p):
        u = complex(p[0], p[1]) * 1e-6
        return np.array(
            [v.value + h.value * u for v, h in zip(answer.initial, answer.influence, strict=True)]
        ).view(float)

    best = least_squares(left, (1.0, 1.0), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert answer.correction.value == pytest.approx(complex(*best.x) * 1e-6, rel=1e-6)
    assert [p.value for p in answer.predicted] == pytest.approx(left(best.x).view(complex), abs=1e-6)


def test_a_noisy_channel_counts_less():
    plan = PLANS["one trial"]
    runs = runs_of(plan, gains=GAINS[:2])
    wrong = UncertainComplex(runs[0].readings[1].value + 0.3, Covariance.circular(0.3**2))
    mixed = [Run((runs[0].readings[0], wrong), ()), runs[1]]
    answer = solve_influence(mixed)
    assert abs(answer.correction.value + UNBALANCE) < 1e-3 * abs(UNBALANCE)


def codes(answer):
    return {finding.code for finding in answer.findings}


def test_channels_that_disagree_are_told():
    runs = runs_of(PLANS["one trial"], gains=GAINS[:2])
    # a 1x force that is no unbalance, in the second channel only
    shifted = [
        Run(
            (run.readings[0], UncertainComplex(run.readings[1].value + 0.3, run.readings[1].covariance)),
            run.masses,
        )
        for run in runs
    ]
    answer = solve_influence(shifted)
    assert "channel_left_over" in codes(answer)
    assert "channel_left_over" not in codes(solve_influence(runs))


def test_runs_that_disagree_are_told_and_widen_the_answer():
    plan = PLANS["trial removed, another put on"]
    plain = solve_influence(runs_of(plan))
    errors = np.zeros((3, 3), dtype=complex)
    errors[1, 0] = 30 * SD
    disagreeing = solve_influence(runs_of(plan, errors=errors))
    assert "runs_disagree" in codes(disagreeing)
    assert "runs_disagree" not in codes(plain)
    assert disagreeing.correction.covariance.radius > 3 * plain.correction.covariance.radius
    assert disagreeing.consistency > 1e-3
    assert plain.consistency < 1e-9


def test_a_trial_lost_in_noise_is_told():
    answer = solve_influence(runs_of([(), (trial(1e-4, 30),)], sd=0.05))
    assert "trial_effect_unclear" in codes(answer)


NO_ANSWER = {
    "one run": ([()], "one run cannot tell what a mass does; add a run with a trial mass"),
    "same masses": ([(trial(0.05, 30),), (trial(0.05, 30),)], "every run has the same masses fitted"),
    "no masses": ([(), ()], "every run has the same masses fitted"),
    "two masses that cancel": (
        [(), (trial(0.05, 30), trial(0.05, 210))],
        "every run has the same masses fitted",
    ),
    "three masses that cancel": (
        [(), (trial(0.05, 0), trial(0.05, 120), trial(0.05, 240))],
        "every run has the same masses fitted",
    ),
    "a mass of nothing": ([(), (trial(0.0, 30),)], "every run has the same masses fitted"),
}


@pytest.mark.parametrize(("plan", "words"), NO_ANSWER.values(), ids=NO_ANSWER.keys())
def test_runs_without_an_answer_are_refused(plan, words):
    # each reading is told apart from the others, so that only the masses can be the trouble
    errors = np.arange(len(plan))[:, np.newaxis] * np.ones(3) * 0.1
    runs = runs_of(plan, errors=errors)
    with pytest.raises(InputError, match=words):
        solve_influence(runs)


def test_identical_readings_are_refused():
    reading = UncertainComplex(1 + 2j, Covariance.circular(1e-4))
    runs = [Run((reading,)), Run((reading,), (trial(0.05, 30),))]
    with pytest.raises(InputError, match="readings of all runs are identical"):
        solve_influence(runs)


def test_readings_of_nothing_are_refused():
    reading = UncertainComplex(0j, Covariance.circular(1e-4))
    runs = [Run((reading,)), Run((reading,), (trial(0.05, 30),))]
    with pytest.raises(InputError, match="readings of all runs are identical"):
        solve_influence(runs)


def test_a_trial_without_any_effect_is_refused():
    # two as-is runs differ, the trial run lies just between them: the effect comes out as exactly 0
    values, plan = (1 + 1j, 3 + 3j, 2 + 2j), [(), (), (trial(0.05, 30),)]
    runs = [
        Run((UncertainComplex(v, Covariance.circular(1e-4)),), m) for v, m in zip(values, plan, strict=True)
    ]
    with pytest.raises(InputError, match="changed nothing"):
        solve_influence(runs)


def test_runs_with_different_channels_are_refused():
    runs = runs_of(PLANS["one trial"])
    mixed = [runs[0], Run(runs[1].readings[:2], runs[1].masses)]
    with pytest.raises(InputError, match="do not hold the same channels"):
        solve_influence(mixed)


@given(
    st.lists(
        st.tuples(
            st.complex_numbers(max_magnitude=1e6, allow_nan=False, allow_subnormal=False),
            st.floats(-1.0, 1.0, allow_subnormal=False),
            st.floats(-7.0, 7.0),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_any_typed_readings_give_an_answer_or_a_refusal(rows):
    assume(all(v == 0 or abs(v) > 1e-9 for v, _, _ in rows))
    assume(all(m == 0 or abs(m) > 1e-9 for _, m, _ in rows))
    runs = [
        Run((UncertainComplex(v, Covariance.circular(1e-6)),), (Mass(m, 0.06, angle),) if m else ())
        for v, m, angle in rows
    ]
    try:
        answer = solve_influence(runs)
    except InputError:
        return
    assert cmath.isfinite(answer.correction.value)

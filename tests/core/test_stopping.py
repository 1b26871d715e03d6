"""The stop rule: states, closed forms, and the coverage of what is claimed."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, ncx2, norm

from balancer.core.stopping import judge, share_within, upper_bound, within_own_uncertainty
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError


def circular(value, sd=1.0):
    return UncertainComplex(complex(value), Covariance.circular(sd**2))


@pytest.mark.parametrize("size", [0.0, 0.3, 1.0, 2.5, 6.0, 30.0])
@pytest.mark.parametrize("limit", [0.2, 1.0, 2.45, 7.0, 31.0])
def test_circular_share_is_noncentral_chi_squared(size, limit):
    """|N(z, 1)|^2 is noncentral chi squared with 2 degrees of freedom (scipy)."""
    vector = circular(cmath.rect(size, 0.7))
    assert share_within(vector, limit) == pytest.approx(ncx2.cdf(limit**2, 2, size**2), abs=1e-6)


@pytest.mark.parametrize("size", [0.0, 1.0, 4.0])
def test_an_error_along_one_line_is_a_folded_normal(size):
    vector = UncertainComplex(complex(size), Covariance(1.0, 0.0))
    expected = norm.cdf(2.0 - size) - norm.cdf(-2.0 - size)
    assert share_within(vector, 2.0) == pytest.approx(expected, abs=1e-3)


def test_share_against_simulation():
    rng = np.random.default_rng(1)
    root = np.array([[1.0, 0.0], [0.9, 0.3]])
    vector = UncertainComplex(1.2 - 0.5j, Covariance.of_matrix(root @ root.T))
    draws = rng.normal(size=(200_000, 2)) @ root.T + [1.2, -0.5]
    expected = np.mean(np.hypot(*draws.T) <= 1.7)
    assert share_within(vector, 1.7) == pytest.approx(expected, abs=0.004)  # draws scatter by 0.001


def test_known_bounds():
    # of chi squared with two degrees of freedom, and of one normal component far from 0
    assert upper_bound(circular(0.0)) == pytest.approx(math.sqrt(chi2.ppf(0.95, 2)), abs=1e-4)
    assert upper_bound(circular(1000.0)) == pytest.approx(1000 + 1.6449, abs=2e-3)
    assert upper_bound(UncertainComplex(3 + 4j, Covariance(0.0, 0.0))) == 5.0


@settings(max_examples=40)
@given(
    st.floats(-math.pi, math.pi), st.floats(1e-9, 1e3), st.floats(0, 20), st.floats(0.0, 1.0), st.floats(0, 3)
)
def test_turning_and_scaling_go_through(turn, scale, size, ratio, angle):
    vector = UncertainComplex(cmath.rect(size, angle), Covariance(1.0, ratio**2))
    bound = upper_bound(vector)
    assert size < bound <= size + 2.46
    assert upper_bound(vector.times(cmath.rect(scale, turn))) == pytest.approx(scale * bound, rel=1e-3)
    assert share_within(vector, bound) == pytest.approx(0.95, abs=1e-3)


@pytest.mark.parametrize("size", [0.0, 1.0, 2.0, 3.5, 10.0])
@pytest.mark.parametrize(("ratio", "angle"), [(1.0, 0.0), (0.3, 0.0), (0.3, 0.8), (0.05, 1.2), (0.001, 0.0)])
def test_the_claim_holds_in_95_percent(size, ratio, angle):
    """Drawn about the true residual. The true share is 95 % or more; 150 draws scatter by 1.8 %."""
    rng = np.random.default_rng(int(100 * size + 1000 * ratio))
    truth = cmath.rect(size, angle)
    held = [
        size <= judge(UncertainComplex(truth + complex(x, ratio * y), Covariance(1.0, ratio**2))).claim
        for x, y in rng.normal(size=(150, 2))
    ]
    assert np.mean(held) >= 0.90


def test_the_bench_limit_is_kept_in_95_percent():
    """Of rotors with nothing left, 95 % are found to be inside the uncertainty."""
    rng = np.random.default_rng(3)
    root = np.array([[1.0, 0.0], [0.8, 0.4]])
    covariance = Covariance.of_matrix(root @ root.T)
    inside = [
        within_own_uncertainty(UncertainComplex(complex(*(root @ e)), covariance))
        for e in rng.normal(size=(2000, 2))
    ]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.02)  # scatters by 0.005


STATES = {
    "well inside": (circular(1.0, 0.1), 2.0, "inside"),
    "inside, though not told from nothing": (circular(0.05, 0.1), 2.0, "inside"),
    "inside, but perhaps not": (circular(1.9, 0.5), 2.0, "inside_unsure"),
    "not told from nothing, and perhaps too much": (circular(1.0, 1.0), 2.0, "bench_limit"),
    "too much, but not told from nothing": (circular(2.2, 1.0), 2.0, "bench_limit"),
    "too much": (circular(3.0, 0.5), 2.0, "go_on"),
    "nothing allowed is known, seen": (circular(3.0, 0.5), None, "go_on"),
    "nothing allowed is known, not seen": (circular(1.0, 0.5), None, "bench_limit"),
    "exact": (circular(1.0, 0.0), None, "go_on"),
    "exactly nothing": (circular(0.0, 0.0), None, "bench_limit"),
    "along its long axis": (UncertainComplex(2 + 0j, Covariance(1.0, 0.01)), None, "bench_limit"),
    "across its long axis": (UncertainComplex(2j, Covariance(1.0, 0.01)), None, "go_on"),
}


@pytest.mark.parametrize(("residual", "permissible", "state"), STATES.values(), ids=STATES.keys())
def test_states(residual, permissible, state):
    verdict = judge(residual, permissible)
    assert verdict.state == state
    assert verdict.done == (state != "go_on")
    assert verdict.claim >= residual.amplitude
    assert (verdict.certainty is None) == (permissible is None)
    if state == "inside":
        assert verdict.certainty >= 0.95


def test_never_a_claim_below_what_the_bench_can_see():
    for size in (0.0, 0.5, 2.0):
        verdict = judge(circular(size, 0.7), 1e-9)
        assert verdict.claim >= 0.7 * math.sqrt(chi2.ppf(0.95, 2)) - 1e-5
        assert verdict.limit == pytest.approx(0.7 * math.sqrt(chi2.ppf(0.95, 2)), rel=1e-6)


def test_noise_does_not_add_to_the_size():
    """|z|^2 is too large by the two variances on average (S. O. Rice, Bell System Technical Journal 1945)."""
    rng = np.random.default_rng(4)
    errors = rng.normal(size=(4000, 2)).view(complex).ravel()
    squares = [judge(circular(3 + e)).size ** 2 for e in errors[:500]]
    assert np.mean(squares) == pytest.approx(9, abs=1.2)  # scatters by 0.28
    assert np.mean(np.abs(3 + errors) ** 2) > 10.5


def test_the_verdict_turns_with_nothing():
    residual = UncertainComplex(1.5 - 2j, Covariance(1.0, 0.2, 0.1))
    plain, turned = judge(residual, 3.0), judge(residual.times(1j), 3.0)
    assert turned.claim == pytest.approx(plain.claim, rel=1e-6)
    assert turned.certainty == pytest.approx(plain.certainty, abs=1e-6)
    assert turned.state == plain.state


@pytest.mark.parametrize("permissible", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_permissible_residual_is_refused(permissible):
    with pytest.raises(InputError, match="permissible residual must be above 0"):
        judge(circular(1.0), permissible)


CODES = {
    "inside": (circular(1e-7, 1e-8), 1e-6, "residual_inside"),
    "unsure": (circular(9e-7, 3e-7), 1e-6, "residual_inside_unsure"),
    "limit": (circular(9e-7, 9e-7), 1e-6, "residual_bench_limit"),
    "above": (circular(3e-6, 1e-7), 1e-6, "residual_above"),
    "seen": (circular(3e-6, 1e-7), None, "residual_seen"),
    "not seen": (circular(3e-8, 1e-7), None, "residual_not_seen"),
}


@pytest.mark.parametrize(("residual", "permissible", "code"), CODES.values(), ids=CODES.keys())
def test_the_finding_carries_figures_in_trade_units(residual, permissible, code):
    verdict = judge(residual, permissible)
    assert verdict.finding.code == code
    figures = dict(verdict.finding.figures)
    if "claim_gmm" in figures:
        assert figures["claim_gmm"] == pytest.approx(verdict.claim * 1e6)

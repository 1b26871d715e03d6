"""Has it changed? False alarms and power by simulation, distributions by scipy.stats.

Hotelling's T squared and its F form are those of any text on multivariate statistics (T. W. Anderson, An
Introduction to Multivariate Statistical Analysis, chapter 5: from memory). Rates are those of seeded runs of
`ROUNDS` cases, whose own standard deviation is 0.6 % at 5 %.
"""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import chi2, f, ncx2, norm

from balancer.core.scatter import Scatter
from balancer.core.vector_change import compare, relative
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError

ROUNDS = 1200
ROUND = Covariance.circular(1.0)
LONG = Covariance(1.0, 0.3, 0.3)
TALL = Covariance(0.5, 2.0, -0.4)
MOUNTING = Covariance(4.0, 1.5, 1.0)


def draw(rng, covariance, mean=0j):
    first, second = rng.standard_normal(2)
    root = math.sqrt(covariance.re)  # of Cholesky's factor
    slope = covariance.cross / root
    return mean + complex(root * first, slope * first + math.sqrt(covariance.im - slope**2) * second)


def seen(rng, covariance, mean=0j, stated=None):
    return UncertainComplex(draw(rng, covariance, mean), stated or covariance)


def rate(once, seed=1):
    rng = np.random.default_rng(seed)
    return np.mean([once(rng).state == "changed" for _ in range(ROUNDS)])


def known(rng, change=0j):
    return compare([seen(rng, LONG)], seen(rng, TALL, change))


def several(rng, change=0j):
    return compare([seen(rng, LONG), seen(rng, TALL), seen(rng, LONG)], seen(rng, TALL, change), scatter=NONE)


def mounted(rng):
    own = LONG.plus(MOUNTING)
    return compare(
        [seen(rng, own, stated=LONG)], seen(rng, own, stated=LONG), scatter=Scatter.known(MOUNTING)
    )


EXACTLY = UncertainComplex(1 + 0j, Covariance(0.0, 0.0))
DOUBT = Covariance(0.005, 0.010, 0.0025)  # of a relative error
NONE = Scatter.known(Covariance(0.0, 0.0))


def own_scatter(count):
    """The earlier ones scatter 1.7 times as much as their covariances say."""

    def once(rng):
        stated = itertools.cycle((LONG, TALL))
        earlier = [seen(rng, c.times(1.7), stated=c) for c in itertools.islice(stated, count)]
        return compare(earlier, seen(rng, TALL.times(1.7), stated=TALL))

    return once


def repeats(count, *, earlier=1, circular=False, more=None):
    """Scatter from few repeats, of which nothing is known beforehand; `more`: the new one is noisier."""
    whole = ROUND.times(2.0) if circular else LONG.plus(MOUNTING)
    stated = ROUND if circular else LONG

    def once(rng):
        scatter = Scatter.of_repeats(
            [seen(rng, whole, stated=stated) for _ in range(count)], circular=circular
        )
        now = seen(rng, whole if more is None else whole.plus(more))
        now = UncertainComplex(now.value, stated if more is None else stated.plus(more))
        return compare([seen(rng, whole, stated=stated) for _ in range(earlier)], now, scatter=scatter)

    return once


def one_coefficient(rng, *, told=True, doubt=DOUBT):
    """Two unbalances found with one influence coefficient, some 9 % off: their errors go together."""
    off = 1 - draw(rng, doubt)
    found = [(5 + 3j + draw(rng, LONG)) * off, (5 + 3j + draw(rng, TALL)) * off]
    before, now = (
        UncertainComplex(value, own.plus(doubt.times(value)))
        for value, own in zip(found, (LONG, TALL), strict=True)
    )
    return compare([before], now, shared=doubt if told else None)


def two_channels_of_repeats(rng):
    readings = [[seen(rng, LONG), seen(rng, TALL.times(3.0), 2 - 1j)] for _ in range(9)]
    return compare(readings[:1], readings[1], scatter=Scatter.of_repeats(readings[2:]))


@pytest.mark.parametrize(
    "once",
    [
        known,
        several,
        mounted,
        own_scatter(3),
        repeats(3),
        repeats(5, more=TALL),
        repeats(3, circular=True),
        one_coefficient,
        two_channels_of_repeats,
    ],
)
def test_five_false_alarms_in_a_hundred(once):
    assert rate(once) == pytest.approx(0.05, abs=0.02)


def test_leaving_out_the_mounting_or_the_common_coefficient_is_wrong():
    def bare(rng):
        own = LONG.plus(MOUNTING)
        return compare([seen(rng, own, stated=LONG)], seen(rng, own, stated=LONG))

    assert rate(bare) > 0.4
    assert rate(lambda rng: one_coefficient(rng, told=False, doubt=DOUBT.times(2.0))) < 0.02


# Components of the difference have standard deviation root 2 here. Power of the 5 % test with two degrees of
# freedom (noncentral chi squared, scipy.stats): 0.771 at 3 of them, 0.90 at 3.56; where the standard
# uncertainty is that of the whole vector, the root of both variances, 3 of it are 4.24 of a component: 0.974.
@pytest.mark.parametrize(("sizes", "power"), [(0.0, 0.05), (3.0, 0.771), (3.5572, 0.90), (3 * 2**0.5, 0.974)])
def test_power(sizes, power):
    limit = chi2.ppf(0.95, 2)
    assert power == pytest.approx(ncx2.sf(limit, 2, sizes**2) if sizes else 0.05, abs=1e-3)
    change = sizes * math.sqrt(2) * np.exp(0.7j)
    found = rate(lambda rng: compare([seen(rng, ROUND)], seen(rng, ROUND, change)))
    assert found == pytest.approx(power, abs=0.04)


def test_no_test_reaches_more_than_91_percent_at_three():
    # the best there is, one that knows the direction beforehand (Neyman and Pearson)
    assert norm.sf(norm.ppf(0.95) - 3) == pytest.approx(0.9123, abs=1e-4)


@pytest.mark.parametrize("scatter", [None, "repeats"])
def test_the_detectable_change_is_seen_nine_times_in_ten(scatter):
    """In the least favourable direction, that of the larger axis."""
    rng = np.random.default_rng(4)
    changed, cases = 0, 500
    true = LONG.plus(MOUNTING)
    _, _, direction = (LONG if scatter is None else true).axes()
    for _ in range(cases):
        if scatter is None:
            size = compare([UncertainComplex(0j, LONG)], UncertainComplex(0j, LONG)).detectable[0]
            change = size * np.exp(1j * direction)
            changed += compare([seen(rng, LONG)], seen(rng, LONG, change)).state == "changed"
        else:
            exact = Scatter(tuple(map(tuple, true.matrix.tolist())), 7)
            size = compare(
                [UncertainComplex(0j, LONG)], UncertainComplex(0j, LONG), scatter=exact
            ).detectable[0]
            found = Scatter.of_repeats([seen(rng, true) for _ in range(8)])
            change = size * np.exp(1j * direction)
            changed += compare([seen(rng, true)], seen(rng, true, change), scatter=found).state == "changed"
    assert changed / cases == pytest.approx(0.9, abs=0.04)


def test_a_turn_without_growth_is_a_change():
    before, now = UncertainComplex(10 + 0j, ROUND), UncertainComplex(10j, ROUND)
    found = compare([before], now)
    assert found.state == "changed"
    assert found.difference[0].value == -10 + 10j
    assert found.probability == pytest.approx(math.exp(-200 / 2 / 2), rel=1e-9)  # chi squared, two degrees


def test_the_t_squared_of_the_texts():
    """One new against k = 5 earlier ones: T^2 = k/(k+1) d' S^-1 d, (k-2) T^2 / (2 (k-1)) is F(2, k-2)."""
    rng = np.random.default_rng(2)
    values = rng.normal(0, 1, (5, 2)) @ np.array([[1.0, 0.4], [0.0, 0.7]])
    earlier = [UncertainComplex(complex(*v), Covariance(0.0, 0.0)) for v in values]
    new = np.array([2.0, -1.5])
    d = new - values.mean(axis=0)
    square = 5 / 6 * d @ np.linalg.inv(np.cov(values.T)) @ d
    found = compare(
        earlier,
        UncertainComplex(complex(*new), Covariance(0.0, 0.0)),
        scatter=Scatter.of_repeats(earlier),
    )
    assert found.probability == pytest.approx(f.sf(3 * square / 8, 2, 3), rel=1e-6)
    assert found.against == 5


def test_cannot_tell_when_what_matters_would_be_missed():
    vector = UncertainComplex(1e-6, Covariance.circular(0.1e-6**2))
    assert compare([vector], vector, matters=0.6e-6).state == "no_sign"
    unsure = compare([vector], vector, matters=0.4e-6)
    assert unsure.state == "cannot_tell"
    assert unsure.detectable[0] == pytest.approx(3.5572 * 0.1e-6 * math.sqrt(2), rel=1e-3)
    assert unsure.finding.code == "change_cannot_be_told"
    assert unsure.finding.figure("detectable_gmm") == pytest.approx(0.503, abs=0.001)


def test_the_difference_holds_the_error_of_the_common_coefficient():
    influence = UncertainComplex(2e6j, Covariance.circular(0.2e6**2))
    doubt = relative(influence)
    assert doubt.re == pytest.approx(0.01)
    before, now = (
        UncertainComplex(u, Covariance.circular(0.01).plus(doubt.times(u))) for u in (1 + 0j, 5 + 0j)
    )
    found = compare([before], now, shared=doubt)
    assert found.difference[0].covariance.re == pytest.approx(0.02 + 0.01 * 16)


def test_one_kind_of_answer_each():
    def at(value, covariance=ROUND):
        return UncertainComplex(value * 1e-6, covariance.times(1e-6))

    changed, same = compare([at(0j)], at(8 + 0j)), compare([at(0j)], at(0.3 + 0j))
    assert changed.finding.code == "part_changed"
    assert changed.finding.figure("change_gmm") == pytest.approx(8.0)
    assert same.finding.code == "no_sign_of_change"
    readings = compare([[at(0j), at(0j)]], [at(0j), at(9j)])
    assert readings.reading_findings[0].figure("channel") == 2
    assert same.reading_findings[0].code == "readings_unchanged"


def test_values_rounded_to_the_same_are_not_without_scatter():
    same = UncertainComplex(0.12 + 0.05j, Covariance.circular(0.01**2))
    near = UncertainComplex(0.121 + 0.05j, Covariance.circular(0.01**2))
    assert compare([same, same, same], near).state == "no_sign"


@pytest.mark.parametrize(
    ("earlier", "now", "more", "said"),
    [
        ([], UncertainComplex(0j, ROUND), {}, "between determinations of the same channels"),
        ([[UncertainComplex(0j, ROUND)] * 2], UncertainComplex(0j, ROUND), {}, "of the same channels"),
        ([EXACTLY], EXACTLY, {}, "nothing is known of the uncertainty"),
        (
            [UncertainComplex(0j, ROUND)],
            UncertainComplex(0j, ROUND),
            {"scatter": Scatter.known(ROUND, ROUND)},
            "of the same channels",
        ),
        (
            [UncertainComplex(10 + 0j, ROUND)],
            UncertainComplex(0j, ROUND),
            {"shared": ROUND},
            "do not hold that of the shared",
        ),
        (
            [[UncertainComplex(0j, ROUND)] * 2],
            [UncertainComplex(0j, ROUND)] * 2,
            {"shared": ROUND},
            "compare raw readings",
        ),
    ],
)
def test_what_cannot_be_compared(earlier, now, more, said):
    with pytest.raises(InputError, match=said):
        compare(earlier, now, **more)


@pytest.mark.parametrize(("count", "circular"), [(2, False), (1, True)])
def test_too_few_repeats(count, circular):
    vectors = [UncertainComplex(complex(k), ROUND) for k in range(count)]
    with pytest.raises(InputError, match="do not tell how much mounting scatters"):
        Scatter.of_repeats(vectors, circular=circular)


def test_scatter_of_an_indexing():
    scatter = Scatter.of_mounting(0.5, 6)
    assert scatter.matrix == pytest.approx(0.25 * np.eye(2))
    exact = UncertainComplex(0j, Covariance(0.0, 0.0))
    found = compare([exact], UncertainComplex(2 + 0j, Covariance(0.0, 0.0)), scatter=scatter)
    assert found.probability == pytest.approx(f.sf(4 / 0.5 / 2, 2, 6), rel=1e-6)

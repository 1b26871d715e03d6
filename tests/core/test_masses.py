"""Masses as vectors: identities that hold for every mass."""

import cmath
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from balancer.core.masses import Mass, split, total_unbalance
from balancer.errors import InputError

ANGLES = st.floats(-10.0, 10.0)
MASSES = st.builds(Mass, st.floats(-0.1, 0.1), st.floats(0.001, 0.3), ANGLES)


@given(MASSES)
def test_removing_a_mass_is_adding_it_opposite(mass):
    removed = Mass(-mass.mass, mass.radius, mass.angle)
    opposite = Mass(mass.mass, mass.radius, mass.angle + math.pi)
    assert removed.unbalance == pytest.approx(opposite.unbalance, abs=1e-15)
    assert total_unbalance([mass, removed]) == 0


@given(MASSES, st.floats(0.001, 0.3))
def test_a_moved_mass_makes_the_same_unbalance(mass, radius):
    assert mass.moved_to(radius).unbalance == pytest.approx(mass.unbalance, rel=1e-12, abs=1e-18)


@given(st.floats(1e-9, 1.0), ANGLES, st.floats(0.001, 0.3))
def test_a_mass_of_an_unbalance_makes_it(size, angle, radius):
    unbalance = cmath.rect(size, angle)
    mass = Mass.of_unbalance(unbalance, radius)
    assert mass.mass > 0
    assert mass.unbalance == pytest.approx(unbalance, rel=1e-12)


@given(st.floats(1e-9, 1e3), ANGLES, ANGLES, ANGLES)
def test_parts_of_a_split_add_up(size, angle, first, second):
    assume(abs(math.sin(second - first)) > 1e-3)
    unbalance = cmath.rect(size, angle)
    parts = split(unbalance, first, second)
    whole = cmath.rect(parts[0], first) + cmath.rect(parts[1], second)
    assert whole == pytest.approx(unbalance, rel=1e-9)


def test_no_masses_are_no_unbalance():
    assert total_unbalance([]) == 0


@pytest.mark.parametrize("radius", [0.0, -0.05])
def test_a_radius_of_nothing_is_refused(radius):
    with pytest.raises(InputError, match="radius of a mass must be above 0; give radius_mm"):
        Mass(1e-3, radius, 0.0)


@pytest.mark.parametrize("facts", [(math.nan, 0.06, 0.0), (1e-3, math.inf, 0.0), (1e-3, 0.06, -math.inf)])
def test_numbers_that_are_none_are_refused(facts):
    with pytest.raises(InputError, match="must be finite numbers"):
        Mass(*facts)

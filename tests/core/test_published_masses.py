"""Splitting, combining and moving masses: published examples.

Sources beside each row: "found" was read on its own page, "computed" is exact arithmetic on its data.
All masses are in the source's own unit at the source's own radius: the algebra does not care. Angles in
print count one way round, whichever; so do ours.
"""

import cmath
import math

import pytest

from balancer.core.masses import Mass, split, total_unbalance
from balancer.errors import InputError


def at(mass, degrees, radius=1.0):
    return Mass(mass, radius, math.radians(degrees))


def balancing(masses, radius=1.0):
    """The mass that balances the given ones."""
    return Mass.of_unbalance(-total_unbalance(masses), radius)


def degrees(angle):
    return math.degrees(angle) % 360


SPLITS = [
    # US Bureau of Reclamation, hydro-generator balancing guide (found; exact computed): 50 lb at 15 deg
    (50, 15, (0, 60), (40.825, 14.943), 5e-4),
    # the same as printed, scaled from a drawing: 42 and 15 lb
    (50, 15, (0, 60), (42, 15), 1.5),
    # D. Shreve, Balancing Weights: Radius Changes and Splitting (data found, computed), oz
    (1.925, 250, (240, 280), (1.4974, 0.5200), 5e-5),
]


@pytest.mark.parametrize(("mass", "angle", "places", "parts", "step"), SPLITS)
def test_split(mass, angle, places, parts, step):
    found = split(cmath.rect(mass, math.radians(angle)), *(math.radians(p) for p in places))
    assert found == pytest.approx(parts, abs=step)


def test_moving_to_another_radius():
    # D. Shreve, as above (found): 2.2 oz from 14 in to 16 in
    assert at(2.2, 250, radius=14).moved_to(16).mass == pytest.approx(1.925, abs=1e-12)
    assert at(2.2, 250, radius=14).moved_to(16).angle == at(2.2, 250).angle


def test_split_of_opposite_places_is_refused():
    # W. C. Foiles, Weight Splitting into More than Two Locations (found): 180 deg apart cannot serve
    with pytest.raises(InputError, match="180 degrees apart cannot share"):
        split(1 + 1j, math.radians(30), math.radians(210))


def test_split_on_one_place_is_refused():
    with pytest.raises(InputError, match="same angle"):
        split(1 + 1j, math.radians(30), math.radians(390))


@pytest.mark.parametrize("target", [-20, 70, 130, 250])
def test_target_outside_the_pair_needs_a_negative_mass(target):
    # W. C. Foiles, as above (found)
    first, second = math.radians(0), math.radians(60)
    parts = split(cmath.rect(1, math.radians(target)), first, second)
    assert min(parts) < 0
    # the parts still add up
    assert parts[0] * cmath.exp(1j * first) + parts[1] * cmath.exp(1j * second) == pytest.approx(
        cmath.rect(1, math.radians(target))
    )


BALANCED_SETS = [
    # force-table exercise, algebra.com 1122981 (found)
    ("force table", [at(300, 30), at(450, 110), at(400, 230)], 1.0, 306.36, 299.6, (5e-3, 5e-2)),
    # Khurmi and Gupta, Theory of Machines, example 21.1 (data found, answer computed): kg, m, the successive
    # angles between the masses 45, 75 and 135 deg
    (
        "Khurmi 21.1",
        [at(200, 0, 0.20), at(300, 45, 0.15), at(240, 120, 0.25), at(260, 255, 0.30)],
        0.2, 116.10, 201.31, (5e-3, 5e-3),
    ),
    # the same as printed (from memory): 116 kg at 201.48 deg, drawn to scale
    (
        "Khurmi 21.1 printed",
        [at(200, 0, 0.20), at(300, 45, 0.15), at(240, 120, 0.25), at(260, 255, 0.30)],
        0.2, 116, 201.48, (0.5, 0.2),
    ),
    # Rao, problem 9.5 (data found, computed), g
    ("Rao 9.5", [at(225, 10), at(320, 100), at(550, 190)], 1.0, 456.098, 325.444, (5e-4, 5e-4)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("source", "masses", "radius", "mass", "angle", "steps"), BALANCED_SETS, ids=[r[0] for r in BALANCED_SETS]
)
def test_balancing_mass(source, masses, radius, mass, angle, steps):
    found = balancing(masses, radius)
    assert found.mass == pytest.approx(mass, abs=steps[0])
    assert degrees(found.angle) == pytest.approx(angle, abs=steps[1])
    assert abs(total_unbalance([*masses, found])) < 1e-12 * mass


def test_holes_are_removed_masses():
    # Rao, problem 9.4 (data found, computed): four holes at 100 mm, a fifth at 125 mm balances them
    holes = [at(-100, 0, 100), at(-100, 60, 100), at(-150, 120, 100), at(-150, 180, 100)]
    to_add = balancing(holes, 125)
    # a hole is the mass that is missing, so it goes opposite to a mass that would be added
    assert to_add.mass == pytest.approx(183.303, abs=5e-4)
    assert degrees(to_add.angle + math.pi) == pytest.approx(289.107, abs=5e-4)
    assert abs(total_unbalance([*holes, at(-183.303, 289.107, 125)])) < 0.3

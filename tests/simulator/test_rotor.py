"""The rotor's two parts, turned on each other."""

import cmath
import math
from dataclasses import replace

import pytest

from balancer.errors import InputError
from balancer.simulator.rotor import Rotor

DEG = math.pi / 180


@pytest.mark.parametrize(
    ("index_deg", "size", "angle_deg"),
    [(0, 0.919700, 81.7854), (180, 1.820481, 20.3281), (120, 1.193030, 0.9409), (240, 1.992694, 43.9976)],
)
def test_indexing_check_set(index_deg, size, angle_deg):
    """Bell 1.2 at 40 keeps the mark, propeller 0.8 at 170 is turned (Bloch and Geitner, Machinery Component
    Maintenance and Repair, p. 312 for the practice; the figures are computed)."""
    rotor = Rotor(bell=cmath.rect(1.2, 40 * DEG), propeller=cmath.rect(0.8, 170 * DEG), index=index_deg * DEG)
    assert abs(rotor.unbalance) == pytest.approx(size, abs=1e-6)
    assert cmath.phase(rotor.unbalance) / DEG % 360 == pytest.approx(angle_deg, abs=1e-4)


def test_mass_and_sense():
    rotor = Rotor(bell=0j, bell_mass=0.02, propeller_mass=0.015, blades=2, hand="cw")
    assert rotor.mass == pytest.approx(0.035)
    assert (rotor.sense, replace(rotor, hand="ccw").sense) == (-1, 1)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bell": complex(math.nan, 0)}, "unbalances must be finite"),
        ({"magnet_pull": complex(0, math.inf)}, "magnet_pull must be finite"),
        ({"index": math.nan}, "index must be finite"),
        ({"bell_mass": 0.0}, "bell_mass must be above 0"),
        ({"propeller_mass": -0.1}, "propeller_mass must not be negative"),
        ({"blades": -1}, "blades must not be negative"),
        ({"magnets": 13}, "magnets must be even"),
        ({"hand": "left"}, "hand must be cw or ccw"),
        ({"blades": -1, "magnets": 0}, "blades must not be negative, magnets must be even"),
    ],
)
def test_impossible_rotors_are_refused(change, words):
    rotor = Rotor(bell=1e-6)
    with pytest.raises(InputError, match=words):
        replace(rotor, **change)

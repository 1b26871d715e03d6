"""What a person reads about a match: who goes where, what it brings, and the cautions."""

import math

import pytest

from balancer.core.matching import Fitted, Hub, Motor, Propeller, Taping, choose, match
from balancer.core.pieces import Stock
from balancer.core.places import Places
from balancer.core.tape import Tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.wording.matching import UNSCREWING_CAUTION, match_lines, table

NOISE = Covariance.circular(0.02e-6**2)
TAPE = Taping(Stock(Tape("mine", 0.145, 0.010, weighed=True)), pieces=1)
SIZES = (1.0, 3.0, 2.0, 0.2)


@pytest.fixture
def build():
    """An invented machine: the propellers of arms 2 and 3 are mixed up, the one of arm 1 is turned."""
    motors = [
        Motor(f"arm {k + 1}", UncertainComplex(1e-6 * (k + 1), NOISE), "cw", 0.02, 500.0, Hub(2))
        for k in range(3)
    ]
    places = Places.of_propeller(2, 0.035, 0.120, usual=0.060)
    propellers = [
        Propeller(f"P{k + 1}", UncertainComplex(-1e-6 * size, NOISE), "cw", 0.012, places=places)
        for k, size in enumerate(SIZES)
    ]
    fitted = [Fitted("arm 1", "P1", math.pi), Fitted("arm 2", "P2"), Fitted("arm 3", "P3")]
    return motors, propellers, fitted


def test_the_table_says_what_to_swap_and_what_to_turn(build):
    found = match(*build)
    lines = match_lines(found, choose(found))
    assert lines[0] == "Touch all 3 motors:"
    assert lines[1].split("  ")[0] == "motor"
    assert lines[2].endswith("turn it on the hub to 0 deg")
    assert lines[3].endswith("fit P3 from arm 3")
    assert lines[4].endswith("fit P2 from arm 2")
    assert lines[5].startswith("note: Takes ")
    assert lines[6].startswith("Spares: P4 (best on arm 1 at 0 deg: 0.800 g mm)")
    assert lines[-1] == UNSCREWING_CAUTION
    assert "disarm, unplug the battery" in UNSCREWING_CAUTION


def test_nothing_to_unscrew_needs_no_caution(build):
    motors, propellers, _ = build
    fitted = [Fitted("arm 1", "P1"), Fitted("arm 2", "P3"), Fitted("arm 3", "P2")]
    found = match(motors, propellers, fitted)
    lines = match_lines(found, choose(found))
    assert lines[0] == "Leave every propeller where it is:"
    assert all(line.endswith("leave it") for line in lines[2:5])
    assert UNSCREWING_CAUTION not in lines


def test_angles_as_the_person_counts_them(build):
    motors, propellers, fitted = build
    free = [Motor(m.name, m.bell.times(1j), "cw", 0.02, 500.0) for m in motors]
    chosen = choose(match(free, propellers, fitted))
    assert "90 deg" in table(chosen)[1]
    assert "270 deg" in table(chosen, direction="with")[1]


def test_tape_comes_after_the_screws(build):
    motors, propellers, _ = build
    chosen = match(motors, propellers[1:], taping=TAPE)[-1]
    assert any("then 1 piece of its correction" in line for line in table(chosen))
    assert "fit P4" in table(chosen)[1]

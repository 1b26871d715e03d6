"""Why a placement leaves what it leaves."""

import cmath
import math

import pytest

from balancer.core.pieces import Placement, Stock
from balancer.core.placement import choose, place
from balancer.core.placement_findings import placement_findings
from balancer.core.places import Places, Ring
from balancer.core.tape import Tape

ALUMINIUM = Stock(Tape("aluminium", 0.145, 0.010))
TWO = Places.of_propeller(2, 0.035, 0.120, usual=0.060)
TWO_AND_RIM = Places.of_propeller(2, 0.035, 0.120, usual=0.060, ring=Ring("rim", 0.018))
THREE = Places.of_propeller(3, 0.035, 0.120, usual=0.060)
BELL = Places.of_bell(0.018)


def gmm(size, degrees=0.0):
    return cmath.rect(size * 1e-6, math.radians(degrees))


def found(size, degrees, places, stock, enough=0.0):
    best = choose(place(gmm(size, degrees), places, stock))
    return placement_findings(best, places, stock, enough=enough)


@pytest.mark.parametrize(
    ("size", "degrees", "places", "stock", "code"),
    [
        (1.5, 60, TWO, ALUMINIUM, "placement_across"),
        (1.5, 90, TWO, ALUMINIUM, "placement_across"),
        (1.5, 40, THREE, Stock(Tape("packing", 0.048, 0.005), layers=1, longest=0.010), "placement_no_room"),
        (5.0, 40, BELL, Stock(Tape("packing", 0.048, 0.010)), "placement_no_room"),
        (0.15, 0, TWO, Stock(Tape("vinyl", 0.200, 0.050)), "tape_too_heavy"),
        (0.30, 60, THREE, Stock(Tape("lead", 1.0, 0.030)), "tape_too_heavy"),
    ],
)
def test_what_is_left_is_explained(size, degrees, places, stock, code):
    (finding,) = found(size, degrees, places, stock)
    assert (finding.code, finding.severity) == (code, "warning")


@pytest.mark.parametrize("degrees", [0, 33, 90, 140, 222, 300])
@pytest.mark.parametrize("places", [TWO_AND_RIM, THREE, BELL])
def test_what_serves_is_passed_in_silence(degrees, places):
    assert found(1.5, degrees, places, ALUMINIUM) == ()


def test_the_part_across_is_told_in_gmm():
    (finding,) = found(1.5, 60, TWO, ALUMINIUM)
    assert finding.figure("across_gmm") == pytest.approx(1.5 * math.sin(math.radians(60)))


def test_what_may_be_left_is_passed_in_silence():
    assert found(1.5, 60, TWO, ALUMINIUM, enough=2e-6) == ()


def test_hands_that_are_coarser_than_what_may_be_left_are_told():
    (finding,) = found(1.5, 30, THREE, ALUMINIUM, enough=0.05e-6)
    assert (finding.code, finding.severity) == ("hands_coarse", "info")
    assert finding.figure("error_gmm") > 0.08  # 1 mm of 1.45 mg/mm at 60 mm


def test_nothing_to_do_needs_no_words():
    assert placement_findings(Placement((), 0j), TWO, ALUMINIUM) == ()

"""Places and stock: what they are, and what is refused."""

import math

import pytest

from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Blade, Places, Ring, Slot, Spots
from balancer.core.tape import Tape
from balancer.errors import InputError

TAPE = Tape("mine", 0.145, 0.010)


@pytest.mark.parametrize(
    ("blades", "degrees"), [(2, [30, 210]), (3, [30, 150, 270]), (4, [30, 120, 210, 300])]
)
def test_blades_follow_the_first_evenly(blades, degrees):
    places = Places.of_propeller(blades, 0.03, 0.06, first=math.radians(30))
    assert [math.degrees(blade.angle) for blade in places.blades] == pytest.approx(degrees)
    assert [blade.name for blade in places.blades] == [f"blade {k + 1}" for k in range(blades)]
    assert places.rings == ()


def test_the_usual_radius_is_the_middle_unless_said():
    assert Blade("blade 1", 0.0, 0.03, 0.06).usual_radius == pytest.approx(0.045)
    assert Places.of_propeller(2, 0.03, 0.06, usual=0.05, ring=Ring("hub", 0.008)).radius == 0.05
    assert Places.of_bell(0.018).radius == 0.018
    assert Places.of_bell(screws=Spots("screw", 0.009, (0.0,))).radius == 0.009


def test_a_bell_has_a_rim_slots_and_screws():
    bell = Places.of_bell(0.018, slots=[Slot(0.0, 0.4)], screws=Spots("screw", 0.009, (0.0, math.pi)))
    assert bell.blades == ()
    assert bell.rings[0].slots == (Slot(0.0, 0.4),)
    assert bell.spots[0].angles == (0.0, math.pi)


def test_a_mass_off_the_record_makes_a_piece_and_the_same_mass_again():
    for mass in (Mass(20e-6, 0.05, 1.0), Mass(-20e-6, 0.05, 1.0)):
        assert Piece.of_mass(mass).mass == mass


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Places.of_propeller(1, 0.03, 0.06), "two blades or more"),
        (lambda: Places.of_propeller(2, 0.06, 0.03), "the inner one first"),
        (lambda: Places.of_propeller(2, 0.0, 0.03), "two radii above 0"),
        (lambda: Places.of_propeller(2, 0.03, 0.06, usual=0.07), "70 mm, lies outside the allowed 30 to 60"),
        (lambda: Places.of_propeller(2, 0.03, 0.06, faces=3), "one face or two"),
        # sanding never reaches the spar or the root (common practice, no source)
        (lambda: Places.of_propeller(2, 0.03, 0.06, sanded_from=0.030), "never at the spar or the root"),
        (lambda: Places.of_propeller(2, 0.03, 0.06, first=math.nan), "must be finite"),
        (Places.of_bell, "no place for a mass"),
        (lambda: Places.of_bell(0.0), "must be above 0"),
        (lambda: Places.of_bell(screws=Spots("screw", -0.01, (0.0,))), "must be above 0"),
        (lambda: Slot(0.0, 7.0), "between 0 and 360 degrees"),
        (lambda: Stock(None), "nothing to put on or to take off"),
        (lambda: Stock(TAPE, layers=0), "at least one layer"),
        (lambda: Stock(TAPE, longest=0.002), "longest strip is shorter than the shortest"),
        (lambda: Stock(TAPE, length_step=0.0), "must be above 0"),
        (lambda: Stock(None, drop_step=-1e-6), "must be above 0"),
        (lambda: Stock(None, washers=(0.0,)), "must be above 0"),
    ],
)
def test_refusals_say_what_to_do(make, words):
    with pytest.raises(InputError, match=words):
        make()

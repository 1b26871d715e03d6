"""Corrections as tape on blades and rings."""

import cmath
import math

import numpy as np
import pytest
from scipy.integrate import quad

from balancer.core.masses import total_unbalance
from balancer.core.tape import Tape, cut_arc, cut_strip, usual_tape
from balancer.errors import InputError
from balancer.procedure.strips import Places, lay_strips, left_over

TAPE = Tape("mine", 0.145, 0.010, weighed=True)


@pytest.mark.parametrize("blades", [2, 3, 4])
@pytest.mark.parametrize("degrees", [0, 20, 90, 119, 180, 200, 300])
def test_strips_add_up_to_the_correction(blades, degrees):
    wanted = 1.5e-6 * cmath.exp(1j * math.radians(degrees))
    laid = lay_strips(wanted, Places.of_propeller(blades, 0.06, 0.018), TAPE, step=1e-9)
    assert total_unbalance(item.mass for item in laid) == pytest.approx(wanted, abs=1e-12)


def test_whole_millimetres_leave_no_more_than_half_of_one_each():
    rng = np.random.default_rng(3)
    places = Places.of_propeller(2, 0.06, 0.018)
    for _ in range(200):
        wanted = rng.uniform(0.5e-6, 3e-6) * cmath.exp(1j * rng.uniform(0, 2 * np.pi))
        laid = lay_strips(wanted, places, TAPE)
        # half a millimetre of blade tape at 60 mm and of each layer of ring tape at 18 mm
        layers = max((item.strip.layers for item in laid if not item.along_blade), default=1)
        allowed = 0.5e-3 * TAPE.mass_per_length * (0.06 * 2 + 0.018 * layers)
        assert abs(left_over(wanted, laid)) <= allowed
        assert all(abs(item.strip.length * 1e3 - round(item.strip.length * 1e3)) < 1e-9 for item in laid)


def test_a_bell_takes_all_of_it_on_its_rim():
    (only,) = lay_strips(1e-6 + 0j, Places((), 0.06, 0.018, "bell rim"), TAPE)
    assert only.where == "bell rim"


def test_an_arc_of_tape_acts_as_the_integral_of_its_pieces():
    strip = cut_arc(TAPE, 0.4e-6, 0.018, longest=0.02)
    half = strip.length / (2 * 0.018)
    moment, _ = quad(lambda a: TAPE.mass_per_length * strip.layers * 0.018**2 * math.cos(a), -half, half)
    assert moment == pytest.approx(0.4e-6, rel=1e-9)


def test_layers_keep_strips_short():
    strip = cut_strip(TAPE, 0.1e-3, longest=0.030)
    assert strip.length <= 0.030
    assert strip.mass == pytest.approx(0.1e-3)


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    # common practice, no source: g/m^2 of the usual kinds, to be replaced by weighing
    [
        ("packing", 45, 50),
        ("polyimide", 73, 73),
        ("aluminium", 110, 180),
        ("masking", 110, 130),
        ("vinyl", 170, 230),
    ],
)
def test_usual_tapes_lie_in_the_usual_range_and_are_not_weighed(kind, low, high):
    tape = usual_tape(kind, 0.01)
    assert low <= tape.areal_density * 1e3 <= high
    assert not tape.weighed


@pytest.mark.parametrize(
    "make",
    [
        lambda: Tape("x", 0.0, 0.01),
        lambda: Tape("x", 0.1, -1.0),
        lambda: Tape("x", math.nan, 0.01),
        lambda: Tape.of_strip("x", 1e-3, 0.0, 0.01),
        lambda: usual_tape("gold", 0.01),
        lambda: Places.of_propeller(1, 0.06, 0.01),
    ],
)
def test_refusals_say_what_to_do(make):
    with pytest.raises(InputError, match=r"\S"):
        make()

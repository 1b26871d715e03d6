"""Where an angle lies on the page, argued from how the rotor turns, and where words go."""

from __future__ import annotations

import cmath
import math
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.figures import convention_picture
from balancer.figures.dial import Dial, check_frame, shown_angle
from balancer.figures.labels import Box, Scene

TOP = -1j  # one unit above the shaft, y downward: where the pick-up looks at


def turned(point: complex, hand: str, turn_deg: float) -> complex:
    """Turn a spot on the page as the rotor turns; with y downward a positive phase is clockwise."""
    return point * cmath.exp(1j * math.radians(turn_deg if hand == "cw" else -turn_deg))


@pytest.mark.parametrize("hand", ["ccw", "cw"])
@pytest.mark.parametrize("angle", [0, 34, 90, 180, 271.5])
def test_a_spot_passes_the_pick_up_when_the_rotor_has_turned_by_its_angle(hand, angle):
    # design.md's convention: the spot at 90 deg passes the pick-up a quarter turn AFTER the mark
    dial = Dial(0j, 1.0, hand)
    assert turned(dial.at(angle, 1.0), hand, angle) == pytest.approx(TOP)


def test_90_deg_lies_on_the_right_for_ccw_and_on_the_left_for_cw():
    assert Dial(0j, 1.0, "ccw").at(90, 1.0) == pytest.approx(1 + 0j)
    assert Dial(0j, 1.0, "cw").at(90, 1.0) == pytest.approx(-1 + 0j)


@given(st.floats(-720, 720), st.floats(0, 10), st.floats(-10, 10))
def test_the_two_hands_are_mirror_images(angle, radius, across):
    ccw, cw = (Dial(0j, 2.0, hand).at(angle, radius, across) for hand in ("ccw", "cw"))
    assert cw == pytest.approx(complex(-ccw.real, ccw.imag))


@given(st.floats(-360, 360), st.floats(0.1, 10))
def test_vectors_and_places_agree(angle, radius):
    dial = Dial(3 + 4j, 5.0, "cw")
    assert dial.of(cmath.rect(radius, math.radians(angle))) == pytest.approx(dial.at(angle, radius))


@pytest.mark.parametrize("hand", ["ccw", "cw"])
def test_arcs_run_the_way_the_angles_do(hand):
    # SVG 2, section 9.3.8: the sweep flag 1 draws in the direction of positive (clockwise) angles
    dial = Dial(0j, 1.0, hand)
    for end, flag in ((90, "0"), (270, "1")):
        large, sweep = dial.arc(10, 0, end).split("A")[1].split()[3:5]
        assert large == flag
        assert sweep == ("1" if hand == "ccw" else "0")
        assert dial.arc(10, end, 0).split("A")[1].split()[4] != sweep


def test_shown_angles_count_either_way():
    assert [shown_angle(a, "against") for a in (0, 34.4, 359.7, -90)] == [0, 34, 0, 270]
    assert [shown_angle(a, "with") for a in (0, 34.4, 359.7, -90)] == [0, 326, 0, 90]


def test_unknown_words_are_refused():
    with pytest.raises(InputError, match="'left'; use ccw or cw"):
        check_frame("left", "against")
    with pytest.raises(InputError, match="'lag'; use against or with"):
        check_frame("cw", "lag")


def test_convention_picture_shows_the_spot_at_the_pick_up_a_quarter_turn_later():
    root = ElementTree.fromstring(convention_picture())
    first, later = (
        complex(float(e.get("cx")), float(e.get("cy"))) for e in root.iter("circle") if e.get("data-part")
    )
    hubs = [complex(float(e.get("cx")), float(e.get("cy"))) for e in root.iter("circle") if e.get("r") == "7"]
    assert turned(first - hubs[0], "ccw", 90) == pytest.approx(later - hubs[1])
    assert (later - hubs[1]) / abs(later - hubs[1]) == pytest.approx(TOP)


def test_boxes():
    box = Box.centred(10 + 10j, 8, 4)
    assert box.overlap(Box.centred(14 + 12j, 8, 4)) == pytest.approx(4 * 2)
    assert box.overlap(Box.centred(30 + 10j, 8, 4)) == 0
    assert box.distance(10 + 20j) == pytest.approx(8)
    assert box.distance(17 + 16j) == pytest.approx(5)
    assert box.reach(1j) == pytest.approx(2)
    assert box.outside(Box(0j, 10 + 20j)) == pytest.approx(16)


@given(*(st.complex_numbers(max_magnitude=30) for _ in range(2)))
def test_length_of_a_line_inside_a_box_against_counting_points(start, end):
    box = Box(-8 - 5j, 10 + 6j)
    points = start + (end - start) * (np.arange(4000) + 0.5) / 4000
    inside = (abs(points.real - 1) < 9) & (abs(points.imag - 0.5) < 5.5)
    # a scene of this one line and no words: its cost is three times the length covered
    cost = Scene(Box(-99 - 99j, 99 + 99j), strokes=((start, end),)).cost(box)
    assert cost / 3 == pytest.approx(inside.mean() * abs(end - start), abs=0.05)


def test_labels_of_a_crowd_do_not_overlap():
    scene = Scene(Box(0j, 300 + 300j), rivals=(150 + 150j, 152 + 149j, 149 + 153j, 155 + 155j))
    placed = scene.place_all([(anchor, 60.0, 15.0, 1 + 0j) for anchor in scene.rivals])
    pairs = [(a, b) for n, a in enumerate(placed) for b in placed[n + 1 :]]
    assert len(pairs) == 6
    assert all(a.overlap(b) == 0 for a, b in pairs)


def test_a_label_stays_inside_and_off_the_lines():
    scene = Scene(Box(0j, 100 + 100j), strokes=((50 + 50j, 95 + 50j),))
    box = scene.place(95 + 50j, 40, 12, 1 + 0j)
    assert box.outside(scene.bounds) == pytest.approx(0)
    assert scene.cost(box) == pytest.approx(0)

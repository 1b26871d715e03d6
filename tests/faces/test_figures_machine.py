"""The machine seen from above: what it shows of each arm, that nothing lies on anything else, no HTML."""

from __future__ import annotations

import math
import re
from itertools import combinations
from xml.etree import ElementTree

import pytest

from balancer.errors import InputError
from balancer.figures import standalone, svg
from balancer.figures.dial import WIDTH
from balancer.figures.machine import MOST_ARMS, ArmView, machine_picture, rotor_radius


def arms(count, changed=()):
    hands = ("ccw", "cw")
    return [
        ArmView(
            n, hands[n % 2], f"P{n}", 90.0 if n in changed else 0.0, note="turn to 90°", changed=n in changed
        )
        for n in range(1, count + 1)
    ]


def drawn(views, **more):
    picture = machine_picture(views, **more)
    assert "\n" not in picture
    assert " id=" not in picture
    return ElementTree.fromstring(picture)


def parts(root, name):
    return [one for one in root.iter() if one.get("data-part") == name]


def centre(circle):
    return complex(float(circle.get("cx")), float(circle.get("cy")))


@pytest.mark.parametrize("count", range(1, MOST_ARMS + 1))
def test_every_arm_is_there_inside_the_picture_and_touches_no_other(count):
    root = drawn(arms(count), title="Now")
    width, height = (float(size) for size in root.get("viewBox").split()[2:])
    rotors = parts(root, "rotor")
    assert [one.get("data-arm") for one in rotors] == [str(n) for n in range(1, count + 1)]
    radius = rotor_radius(count)
    for one, other in combinations(rotors, 2):
        assert abs(centre(one) - centre(other)) > 2 * radius
    for word in root.iter("text"):
        reach = svg.text_width(word.text, float(word.get("font-size")))
        x, y = float(word.get("x")), float(word.get("y"))
        start = x - (reach / 2 if word.get("text-anchor") == "middle" else 0)
        assert start >= 0
        assert start + reach <= width
        assert 0 < y < height


def test_arms_follow_each_other_clockwise_by_their_numbers():
    spots = [centre(one) for one in parts(drawn(arms(6)), "rotor")]
    middle = sum(spots) / 6
    turns = [(math.degrees(math.atan2((s - middle).imag, (s - middle).real)) + 90) % 360 for s in spots]
    assert turns == pytest.approx([30, 90, 150, 210, 270, 330], abs=0.01)  # y grows downward: clockwise


@pytest.mark.parametrize(("hand", "side"), [("ccw", 1), ("cw", -1)])
def test_a_mark_at_90_deg_lies_where_the_rotor_brings_it_to_the_top_a_quarter_turn_later(hand, side):
    # the convention of design.md, as in test_figures_dial: ccw brings its right-hand side to the top
    root = drawn([ArmView(1, hand, "P1", 90.0)])
    (mark,), (rotor,) = parts(root, "mark"), parts(root, "rotor")
    apart = centre(mark) - centre(rotor)
    assert apart.imag == pytest.approx(0, abs=0.01)
    assert apart.real * side > 5


def test_the_arrow_of_the_turning_sense_leads_to_the_mark_at_the_top():
    for hand in ("ccw", "cw"):
        found = re.search(r'd="(M[^"]*A[^"]*)"', machine_picture([ArmView(1, hand, "P1", 0.0)]))
        numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", found[1])]
        start_y, end_y = numbers[1], numbers[-1]
        assert end_y < start_y  # upward, on the side from which the rotor comes to the top
        assert (numbers[0] > WIDTH / 2) == (hand == "ccw")


def test_what_changes_shows_by_more_than_colour():
    root = drawn(arms(4, changed=(2,)))
    (two,) = [one for one in parts(root, "rotor") if one.get("data-changed") == "yes"]
    assert two.get("data-arm") == "2"
    rings = [
        c for c in root.iter("circle") if centre(c) == centre(two) and c.get("stroke") == two.get("stroke")
    ]
    assert len(rings) == 2  # a double ring
    bold = {word.text for word in root.iter("text") if word.get("font-weight") == "600"}
    assert {"P2", "turn to 90°"} <= bold
    assert "P1" not in bold


def test_the_label_says_all_in_words_and_follows_the_way_of_counting():
    views = [ArmView(1, "ccw", "P1", 90.0, note="from arm 2"), ArmView(2, "cw")]
    assert drawn(views, title="Then").get("aria-label") == (
        "Then. The machine from above. Arm 1, counter-clockwise: P1, mark at 90°, from arm 2. "
        "Arm 2, clockwise: no propeller."
    )
    assert "mark at 270°" in drawn(views, direction="with").get("aria-label")


def test_an_arm_of_which_nothing_is_known_has_a_dashed_ring_and_no_mark():
    root = drawn([ArmView(1, "ccw", "P1", None, note="not known"), ArmView(2, "cw", "P2", 0.0)])
    unknown, known = parts(root, "rotor")
    assert unknown.get("stroke-dasharray")
    assert known.get("stroke-dasharray") is None
    assert len(parts(root, "mark")) == 1


def test_names_are_escaped_and_colours_follow_the_page():
    picture = machine_picture(
        [ArmView(1, "ccw", '<script>alert("1")</script>', 0.0, note="<b>")], title="<i>"
    )
    assert "<script" not in picture
    assert "<b>" not in picture
    assert "<i>" not in picture
    assert "currentColor" in picture
    assert ElementTree.fromstring(standalone(picture, dark=True)) is not None


@pytest.mark.parametrize("count", [0, MOST_ARMS + 1])
def test_too_few_and_too_many_arms_are_refused(count):
    with pytest.raises(InputError, match=f"1 to {MOST_ARMS} arms, not {count}"):
        machine_picture(arms(count))


@pytest.mark.parametrize("wrong", [{"hand": "left"}, {"blades": -1}, {"mark_deg": math.nan}])
def test_impossible_arms_are_refused(wrong):
    with pytest.raises(InputError):
        ArmView(**{"number": 1, "hand": "ccw", "propeller": "P1", "mark_deg": 0.0} | wrong)

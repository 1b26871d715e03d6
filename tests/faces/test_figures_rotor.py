"""The rotor picture: pieces at their true place and in their true size, for both hands."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from balancer.errors import InputError
from balancer.figures import Piece, RotorView, rotor_picture
from balancer.figures.dial import RING
from balancer.figures.lens import SIDE, magnification


def drawn(kind="propeller", radius_mm=150.0, pieces=(), **options):
    return ElementTree.fromstring(rotor_picture(RotorView(kind, radius_mm, pieces=tuple(pieces), **options)))


def centre_of(root):
    ring = next(e for e in root.iter("circle") if e.get("r") == f"{RING:g}")
    return complex(float(ring.get("cx")), float(ring.get("cy")))


def corners_of(root, scope="."):
    """Give the end points of the outlines of all pieces, from the shaft, in the order drawn."""
    paths = [e.get("d") for e in root.findall(f"{scope}/path[@data-part='piece']")]
    ends = [[p.split()[-1] for p in re.split(r"[MLA]", path.rstrip("Z"))[1:]] for path in paths]
    return [[complex(*map(float, end.split(","))) - centre_of(root) for end in piece] for piece in ends]


def px_per_mm(root):
    bar = next(e for e in root.iter("line") if e.get("data-part") == "scale-bar")
    words = [e.text for e in root.findall("text") if re.fullmatch(r"[\d.]+ mm", e.text)]
    return (float(bar.get("x2")) - float(bar.get("x1"))) / float(words[0].split()[0])


def place_of(corners):
    """Give radius in px and angle clockwise from the top of the middle of a piece."""
    middle = sum(corners) / len(corners)
    return abs(middle), math.degrees(math.atan2(middle.real, -middle.imag)) % 360


@pytest.mark.parametrize(("hand", "clockwise"), [("ccw", 90), ("cw", 270)])
def test_a_piece_at_90_deg_is_drawn_where_it_will_pass_the_pick_up_a_quarter_turn_later(hand, clockwise):
    root = drawn(pieces=[Piece(90, 60, 20, 10)], hand=hand)
    (corners,) = corners_of(root)
    radius, angle = place_of(corners)
    assert angle == pytest.approx(clockwise, abs=0.02)
    assert radius == pytest.approx(60 * px_per_mm(root), abs=0.02)


@pytest.mark.parametrize("kind", ["propeller", "bell"])
@pytest.mark.parametrize("angle", [0, 34, 90, 200])
def test_the_two_hands_are_drawn_as_mirror_images(kind, angle):
    piece = Piece(angle, 60, 20, 10)
    (ccw,), (cw,) = (corners_of(drawn(kind, pieces=[piece], hand=hand)) for hand in ("ccw", "cw"))
    assert cw == pytest.approx([complex(-c.real, c.imag) for c in ccw], abs=0.02)


@pytest.mark.parametrize("kind", ["propeller", "bell"])
def test_tape_round_a_ring_keeps_its_length_round_the_shaft_and_says_its_unseen_width(kind):
    radius, length, width = 18, 12, 10
    svg = rotor_picture(RotorView(kind, 150, pieces=(Piece(90, radius, length, width, on_ring=True),)))
    (corners,) = corners_of(ElementTree.fromstring(svg))
    angles = [math.degrees(math.atan2(corner.real, -corner.imag)) for corner in corners]
    assert max(angles) - min(angles) == pytest.approx(math.degrees(length / radius), abs=0.2)
    assert "12 mm round the ring" in svg
    assert "10 mm wide (seen edge on)" in svg


def test_a_piece_on_a_propeller_has_its_true_size_along_the_blade():
    root = drawn(pieces=[Piece(34, 60, 20, 8)], first_blade_deg=34)
    scale = px_per_mm(root)
    ((near, far, far_other, near_other),) = corners_of(root)
    assert abs(far - near) / scale == pytest.approx(20, abs=0.05)
    assert abs(near_other - near) / scale == pytest.approx(8, abs=0.05)
    # the length points away from the shaft
    middle = (near + far + far_other + near_other) / 4
    assert ((far - near) / middle).imag == pytest.approx(0, abs=1e-3)


def test_a_piece_on_a_bell_has_its_true_size_along_the_rim():
    root = drawn("bell", 14, [Piece(120, 13, 8, 1.2)])
    scale = px_per_mm(root)
    ((start, end, inner_end, inner_start),) = corners_of(root)
    assert abs(start) / scale == pytest.approx(13.6, abs=0.01)
    assert abs(inner_end) / scale == pytest.approx(12.4, abs=0.01)
    turn = math.radians(place_of([end])[1] - place_of([start])[1])
    assert turn * 13 == pytest.approx(8, abs=0.02)
    assert place_of([start, end, inner_end, inner_start])[1] == pytest.approx(120, abs=0.02)


@pytest.mark.parametrize(("blades", "hand", "sign"), [(2, "ccw", 1), (3, "cw", -1), (4, "ccw", 1)])
def test_blades_reach_the_radius_at_their_angles(blades, hand, sign):
    root = drawn(radius_mm=127, blades=blades, hand=hand, first_blade_deg=20)
    outlines = [e.get("d") for e in root.findall("./path[@data-part='blade']")]
    assert len(outlines) == blades
    for n, outline in enumerate(outlines):
        points = [
            complex(*map(float, p.split(","))) - centre_of(root)
            for p in re.findall(r"-?[\d.]+,-?[\d.]+", outline)
        ]
        tip = max(points, key=abs)
        assert abs(tip) / px_per_mm(root) == pytest.approx(127, rel=2e-3)
        clockwise = math.degrees(math.atan2(tip.real, -tip.imag))
        assert (clockwise - sign * (20 + 360 * n / blades) + 180) % 360 - 180 == pytest.approx(0, abs=1.5)


@pytest.mark.parametrize(("hand", "sign"), [("ccw", 1), ("cw", -1)])
def test_the_thick_arrow_turns_as_the_rotor_does_and_the_thin_one_against_it(hand, sign):
    root = drawn(hand=hand)
    arrows = {e.get("stroke-width"): e.get("d") for e in root.findall("./path[@stroke='currentColor']")}

    def clockwise(path):  # SVG 2, section 9.3.8: sweep flag 1 is clockwise
        return int(path.split("A")[1].split()[4]) * 2 - 1

    assert clockwise(arrows["3.5"]) == -sign
    assert clockwise(arrows["1.5"]) == sign


def test_counting_with_the_rotation_changes_the_words_and_nothing_else():
    pieces = [Piece(34, 60, 20, 10, "tape")]
    against, with_it = drawn(pieces=pieces), drawn(pieces=pieces, direction="with")
    assert corners_of(against) == corners_of(with_it)
    assert "centre: radius 60 mm, 34°" in [e.text for e in against.iter("text")]
    assert "centre: radius 60 mm, 326°" in [e.text for e in with_it.iter("text")]


def test_a_small_piece_is_shown_larger_by_the_factor_it_says():
    root = drawn(pieces=[Piece(34, 60, 20, 10, "tape")])
    factor = next(int(e.text.split()[1]) for e in root.iter("text") if e.text.startswith("drawn "))
    (main,), (large,) = corners_of(root), corners_of(root, "./svg")
    assert factor >= 2
    assert abs(large[1] - large[0]) / abs(main[1] - main[0]) == pytest.approx(factor, rel=2e-3)
    # in the middle of its frame, and all of it inside
    own = [corner + centre_of(root) for corner in large]
    assert sum(own) / 4 == pytest.approx(complex(SIDE, SIDE) / 2, abs=0.02)
    assert all(0 < c.real < SIDE and 0 < c.imag < SIDE for c in own)


def test_a_piece_that_is_large_already_needs_no_detail():
    root = drawn("bell", 14, [Piece(90, 13, 8, 1.2, "tape")])
    assert root.findall("./svg") == []
    assert magnification(1.0, Piece(0, 10, 33, 5)) == 1
    assert magnification(1.0, Piece(0, 10, 32, 5)) == 2
    assert magnification(1.0, Piece(0, 10, 0.001, 0.001)) == 100


def test_several_pieces_have_letters_and_their_roles_differ_in_more_than_colour():
    pieces = [Piece(a, 60, 20, 10, "tape", role) for a, role in ((0, "add"), (90, "trial"), (200, "remove"))]
    root = drawn(pieces=pieces)
    words = [e.text for e in root.iter("text")]
    for wanted in ("A: add tape", "B: trial mass: tape", "C: remove tape"):
        assert wanted in words
    looks = {
        (e.get("stroke-dasharray"), e.get("fill-opacity")) for e in root.findall("./path[@data-part='piece']")
    }
    assert len(looks) == 3


def test_the_label_states_the_whole_instruction():
    root = drawn(
        radius_mm=152.4,
        pieces=[Piece(34, 60, 20, 10, "12 mg of tape")],
        hand="cw",
        title="Propeller P3",
    )
    assert root.get("aria-label") == (
        "Propeller P3. Propeller of 2 blades and radius 152.4 mm, seen from the front, turning clockwise; "
        "the mark is at the top, angles count against the rotation. "
        "Add 12 mg of tape, centre at radius 60 mm, 34°, 20 mm along the blade, 10 mm wide."
    )
    assert "Nothing is fitted." in drawn("bell", 14).get("aria-label")


BAD_PIECES = {
    "angle": (math.nan, 60, 20, 10),
    "radius": (0, 0, 20, 10),
    "length": (0, 60, -1, 10),
    "width": (0, 60, 20, math.inf),
}


@pytest.mark.parametrize("numbers", BAD_PIECES.values(), ids=BAD_PIECES.keys())
def test_a_piece_must_have_a_place_and_a_size(numbers):
    with pytest.raises(InputError, match=r"the piece 'tape' cannot be drawn: .*; give finite numbers"):
        Piece(*numbers, "tape")


BAD_VIEWS = [
    ({"kind": "wheel"}, "kind 'wheel' cannot be drawn; use propeller or bell"),
    ({"radius_mm": math.nan}, "radius nan mm .* cannot be drawn"),
    ({"radius_mm": 0.0}, "radius 0.0 mm"),
    ({"first_blade_deg": math.inf}, "first blade at inf deg"),
    ({"blades": 1}, "a propeller of 1 blades cannot be drawn; give 2 to 6"),
    ({"hand": "left"}, "sense of rotation is 'left'"),
    ({"direction": "lag"}, "counting direction is 'lag'"),
    ({"hub_radius_mm": 200.0}, "hub's radius is 200.0 mm on a rotor of radius 150.0 mm"),
    ({"hub_radius_mm": math.nan}, "hub's radius is nan mm"),
    (
        {"pieces": (Piece(0, 151, 5, 5, "tape"),)},
        "'tape' at radius 151 mm lies outside the rotor of radius 150 mm",
    ),
    ({"kind": "bell", "pieces": (Piece(0, 10, 63, 2, "tape"),)}, "of 63 mm is longer than the way round"),
]


@pytest.mark.parametrize(("change", "words"), BAD_VIEWS, ids=[str(list(c)[-1]) for c, _ in BAD_VIEWS])
def test_a_view_that_cannot_be_drawn_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        RotorView(**({"kind": "propeller", "radius_mm": 150.0} | change))


def test_an_unknown_role_is_refused():
    with pytest.raises(InputError, match="role 'glue'; use trial, add, remove"):
        Piece(0, 10, 5, 5, "tape", "glue")


FORMS = ("drop", "washer", "spot", "mass")


@pytest.mark.parametrize("kind", ["propeller", "bell"])
@pytest.mark.parametrize("form", FORMS)
def test_what_is_no_strip_is_a_sign_at_its_place_and_claims_no_size(kind, form):
    root = drawn(kind, pieces=[Piece(90, 60, 4, 4, "20 mg", form=form)])
    (outline,) = (e.get("d") for e in root.findall("./path[@data-part='piece']"))
    points = [complex(*map(float, p.split(","))) for p in re.findall(r"-?[\d.]+,-?[\d.]+", outline)]
    ends = [[pick(p.real for p in points), pick(p.imag for p in points)] for pick in (min, max)]
    middle = complex(*(sum(pair) / 2 for pair in zip(*ends, strict=True))) - centre_of(root)
    assert abs(middle) == pytest.approx(60 * px_per_mm(root), abs=0.1)
    assert math.degrees(math.atan2(middle.real, -middle.imag)) == pytest.approx(90, abs=0.5)
    assert root.findall("./svg") == []  # nothing to magnify
    assert "the sign shows its place, not its size" in root.get("aria-label")
    assert "4 mm" not in root.get("aria-label")


def test_the_signs_differ_in_shape():
    drops = [drawn(pieces=[Piece(90, 60, 4, 4, "20 mg", form=form)]) for form in FORMS]
    strokes = [len(root.findall("./line")) for root in drops]
    outlines = [root.find("./path[@data-part='piece']").get("d") for root in drops]
    assert len(set(zip(outlines, strokes, strict=True))) == len(FORMS)


def test_what_stays_on_and_what_was_taken_off_before_are_said_as_such():
    pieces = [Piece(0, 60, 20, 10, "tape", "add"), Piece(180, 60, 20, 10, "tape", "on")]
    gone = Piece(90, 60, 4, 4, "12 mg", "gone", form="spot")
    root = drawn(pieces=[*pieces, gone])
    said = root.get("aria-label")
    assert "Add tape" in said
    assert "On it: tape" in said
    assert "Taken off: 12 mg" in said
    looks = {
        (e.get("stroke-dasharray"), e.get("fill-opacity")) for e in root.findall("./path[@data-part='piece']")
    }
    assert len(looks) == 3


def test_an_unknown_form_is_refused():
    with pytest.raises(InputError, match="form 'glue'; use strip, drop"):
        Piece(0, 10, 5, 5, "tape", form="glue")

"""The polar picture: arrows, ellipses, rings and names where they belong."""

from __future__ import annotations

import cmath
import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from scipy import stats

from balancer.core.vectors import SDS_95, Covariance
from balancer.errors import InputError
from balancer.figures import NamedCircle, PolarPoint, polar_picture, svg
from balancer.figures.dial import RING


def vector(label, amplitude, angle_deg, role="other", covariance=None):
    return PolarPoint(label, cmath.rect(amplitude, math.radians(angle_deg)), covariance, role)


def drawn(points, **options):
    return ElementTree.fromstring(polar_picture(points, **({"unit": "m/s^2", "title": "Test"} | options)))


def centre_of(root):
    ring = next(e for e in root.iter("circle") if e.get("r") == f"{RING:g}")
    return complex(float(ring.get("cx")), float(ring.get("cy")))


def tips_of(root):
    """Give the round markers from the shaft; each is there once more in the legend, later."""
    marks = [e for e in root.iter("circle") if e.get("data-part") == "tip"]
    drawn_ones = marks[: len(marks) // 2]
    return [complex(float(e.get("cx")), float(e.get("cy"))) - centre_of(root) for e in drawn_ones]


def texts_of(root):
    return [e.text for e in root.iter("text")]


def word_boxes(root, names):
    """Give name: (left, top, right, bottom) of centred words, the first of each (the legend comes later)."""
    boxes = {}
    for e in root.iter("text"):
        if e.text in names and e.text not in boxes:
            size, x, y = (float(e.get(key)) for key in ("font-size", "x", "y"))
            half = svg.text_width(e.text, size) / 2
            boxes[e.text] = (x - half, y - 0.75 * size, x + half, y + 0.2 * size)
    return boxes


def overlapping(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@pytest.mark.parametrize(("hand", "sign"), [("ccw", 1), ("cw", -1)])
def test_arrow_tips_lie_at_their_angle_and_length(hand, sign):
    root = drawn([vector("one", 10, 0), vector("two", 5, 90), vector("three", 7.5, 200)], hand=hand)
    tips = tips_of(root)
    # 10 m/s^2 is itself a round number of steps, so the ring is at 10
    wanted = [(10, 0), (5, 90), (7.5, 200)]
    for tip, (length, angle) in zip(tips, wanted, strict=True):
        assert abs(tip) == pytest.approx(RING * length / 10, abs=0.02)
        clockwise = math.degrees(math.atan2(tip.real, -tip.imag))
        assert (clockwise - sign * angle + 180) % 360 - 180 == pytest.approx(0, abs=0.02)


def test_counting_with_the_rotation_changes_the_degrees_and_nothing_else():
    points = [vector("one", 10, 30)]
    against, with_it = drawn(points), drawn(points, direction="with")
    assert tips_of(against) == tips_of(with_it)
    assert "10.0 m/s² at 30°" in texts_of(against)
    assert "10.0 m/s² at 330°" in texts_of(with_it)
    assert "against the rotation" in texts_of(against)
    assert "with the rotation" in texts_of(with_it)

    def place(root, word):
        return next((e.get("x"), e.get("y")) for e in root.iter("text") if e.text == word)

    assert place(against, "60°") == place(with_it, "300°")


def test_ellipse_factor_is_the_95_percent_point_of_chi_square():
    # scipy.stats, and the printed 5.991 of NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4
    factor = SDS_95
    assert factor == pytest.approx(math.sqrt(stats.chi2.ppf(0.95, 2)))
    assert factor**2 == pytest.approx(5.991, abs=0.0006)


def ellipse_of(root):
    e = next(e for e in root.iter("ellipse") if e.get("data-part") == "ellipse")
    x, y, turn = (float(v) for v in re.findall(r"-?[\d.]+", e.get("transform")))
    return complex(x, y), float(e.get("rx")), float(e.get("ry")), math.radians(turn)


@pytest.mark.parametrize("hand", ["ccw", "cw"])
@pytest.mark.parametrize(
    "matrix", [[[0.9, 0.5], [0.5, 0.4]], [[0.2, -0.1], [-0.1, 0.8]], [[0.5, 0], [0, 0.5]]]
)
def test_ellipse_axes_against_numpy(matrix, hand):
    root = drawn([vector("one", 6, 70, covariance=Covariance.of_matrix(np.array(matrix)))], hand=hand)
    middle, rx, ry, _ = ellipse_of(root)
    scale = abs(middle - centre_of(root)) / 6
    small, large = np.sqrt(np.linalg.eigvalsh(np.array(matrix)) * stats.chi2.ppf(0.95, 2)) * scale
    assert (rx, ry) == pytest.approx((large, small), abs=0.05)


@pytest.mark.parametrize("hand", ["ccw", "cw"])
def test_ellipse_holds_95_percent_of_what_is_drawn_from_the_covariance(hand):
    # the directions too: samples go through the same page geometry as the tip, by hand
    matrix = np.array([[0.9, 0.55], [0.55, 0.4]])
    value = cmath.rect(6, math.radians(70))
    root = drawn([PolarPoint("one", value, Covariance.of_matrix(matrix))], hand=hand)
    middle, rx, ry, turn = ellipse_of(root)
    scale = abs(middle - centre_of(root)) / 6
    real, imag = np.random.default_rng(5).multivariate_normal([0, 0], matrix, 20_000).T
    side = 1 if hand == "ccw" else -1
    on_page = scale * (side * imag - 1j * real)
    own_frame = on_page * np.exp(-1j * turn)
    inside = (own_frame.real / rx) ** 2 + (own_frame.imag / ry) ** 2 <= 1
    # 20,000 draws: the share's standard deviation is 0.0015
    assert inside.mean() == pytest.approx(0.95, abs=0.006)


@pytest.mark.parametrize(
    ("amplitude", "outer"), [(7.2, "8"), (9.9, "10"), (0.0123, "0.0125"), (1234, "1250"), (2.6e-7, "3e-7")]
)
def test_rings_are_round_numbers_that_hold_everything(amplitude, outer):
    root = drawn([vector("one", amplitude, 10)])
    assert outer in texts_of(root)
    assert "rings in m/s²" in texts_of(root)
    assert max(abs(t) for t in tips_of(root)) <= RING + 0.01


def test_limits_and_ellipses_count_for_the_scale():
    limit = next(
        e
        for e in drawn([vector("one", 1, 10)], circles=[NamedCircle("limit", 4.0)]).iter("circle")
        if e.get("data-part") == "limit"
    )
    assert float(limit.get("r")) == pytest.approx(RING)
    _, rx, _, _ = ellipse_of(drawn([vector("one", 1, 10, covariance=Covariance.circular(4.0))]))
    assert rx < RING


LAYOUTS = {
    "usual": [(7, 160), (9.4, 120), (0.6, 300)],
    "close together": [(7, 350), (7.2, 4), (6.9, 357)],
    "near zero": [(0.3, 10), (0.4, 200), (7, 90)],
    "one line": [(3, 45), (6, 45), (9, 45)],
    "at the ring": [(10, 0), (10, 90), (10, 270)],
    "all zero": [(0, 0), (0, 0), (0, 0)],
}


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())
def test_names_lie_on_nothing_else(layout):
    names = ["As-is", "Trial", "Check"]
    roles = ["as_is", "trial", "check"]
    root = drawn([vector(n, a, d, r) for n, (a, d), r in zip(names, layout, roles, strict=True)])
    boxes = word_boxes(root, names)
    degrees = word_boxes(root, [f"{a}°" for a in range(30, 360, 30)] + ["mark 0°"])
    assert len(boxes) == 3
    assert len(degrees) == 12
    for n, name in enumerate(names):
        others = [boxes[other] for other in names[n + 1 :]] + list(degrees.values())
        assert not any(overlapping(boxes[name], other) for other in others)


def test_zero_vectors_are_points_at_the_centre_without_an_angle():
    root = drawn([vector("nothing", 0, 0)])
    assert tips_of(root) == [0j]
    assert "0 m/s²" in texts_of(root)


def test_the_label_states_everything():
    root = drawn(
        [vector("As-is", 7, 160), vector("Check", 0.5, 20)],
        title="Channel x",
        circles=[NamedCircle("permissible", 1.1)],
        hand="cw",
    )
    assert root.get("aria-label") == (
        "Channel x. Polar picture seen from the front of a rotor that turns clockwise, the mark at the top, "
        "angles counted against the rotation: As-is 7.00 m/s² at 160°; Check 0.500 m/s² at 20°; "
        "circle permissible 1.10 m/s²."
    )


@pytest.mark.parametrize("value", [complex("nan"), complex(math.inf, 0), complex(0, math.nan)])
def test_a_vector_must_be_finite(value):
    with pytest.raises(InputError, match="the vector 'As-is' is not a finite number"):
        PolarPoint("As-is", value)


@pytest.mark.parametrize("radius", [math.nan, math.inf, -1.0])
def test_a_circle_must_have_a_size(radius):
    with pytest.raises(InputError, match="the circle 'limit' has the radius"):
        NamedCircle("limit", radius)


def test_unknown_roles_and_no_vectors_are_refused():
    with pytest.raises(InputError, match="role 'final'; use as_is, trial"):
        PolarPoint("x", 1j, None, "final")
    with pytest.raises(InputError, match="role 'x'; use permissible, noise"):
        NamedCircle("x", 1.0, "x")
    with pytest.raises(InputError, match="at least one vector"):
        polar_picture([], unit="m/s^2", title="")

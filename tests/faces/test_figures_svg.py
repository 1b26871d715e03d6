"""What holds for every picture: one line of well-formed SVG, safe words, no ids, enough contrast."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.core.vectors import Covariance
from balancer.figures import (
    NamedCircle,
    Piece,
    PolarPoint,
    RotorView,
    convention_picture,
    palette,
    polar_picture,
    rotor_picture,
    standalone,
    svg,
)

EVIL = "P3 \"quoted\" 'too' <script>alert(1)</script> & <b>bold</b> 🚁 №7\n\nnext\x00line"
SPOKEN = "P3 \"quoted\" 'too' <script>alert(1)</script> & <b>bold</b> 🚁 №7 next line"

POLAR = polar_picture(
    [
        PolarPoint("As-is", 5 + 3j, Covariance(0.2, 0.05, 0.04), "as_is"),
        PolarPoint("Trial", -4 + 6j, Covariance(0.1, 0.1), "trial"),
        PolarPoint("Check", 0j, None, "check"),
        *(PolarPoint(role, 2j - n, None, role) for n, role in enumerate(palette.ROLES)),
    ],
    unit="m/s^2",
    circles=[NamedCircle("permissible", 1.0), NamedCircle("noise floor", 0.3, "noise")],
    title="1x vectors at 5,200 rpm",
)
PROPELLER = rotor_picture(
    RotorView(
        "propeller",
        152,
        3,
        pieces=tuple(Piece(40.0 * n, 60, 20, 10, "tape", role) for n, role in enumerate(palette.PIECES)),
        title="Propeller",
    )
)
BELL = rotor_picture(RotorView("bell", 14, hand="cw", pieces=(Piece(200, 13, 6, 1.5, "tape", "remove"),)))
PICTURES = {"polar": POLAR, "propeller": PROPELLER, "bell": BELL, "convention": convention_picture()}

every_picture = pytest.mark.parametrize("picture", PICTURES.values(), ids=PICTURES.keys())


def luminance(colour: str) -> float:
    """W3C, Web Content Accessibility Guidelines 2.2, definition of relative luminance."""
    channels = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """W3C, Web Content Accessibility Guidelines 2.2, definition of contrast ratio."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_formula_on_the_guidelines_own_extremes():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # #767676 is the usual example of the lightest grey that passes 4.5:1 on white (WebAIM, Contrast checker;
    # from memory)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("ground", [palette.LIGHT_GROUND, palette.DARK_GROUND])
@pytest.mark.parametrize("colour", palette.COLOURS)
def test_lines_have_3_to_1_on_both_grounds(colour, ground):
    # WCAG 2.2, success criterion 1.4.11 Non-text Contrast
    assert contrast(colour, ground) >= 3.0


@pytest.mark.parametrize(
    ("ink", "ground"),
    [(palette.LIGHT_TEXT, palette.LIGHT_GROUND), (palette.DARK_TEXT, palette.DARK_GROUND)],
)
def test_text_has_4_5_to_1_also_on_the_tinted_blade(ink, ground):
    # WCAG 2.2, success criterion 1.4.3 Contrast (Minimum); the tint is 6 % of the text colour
    pairs = [(int(ink[n : n + 2], 16), int(ground[n : n + 2], 16)) for n in (1, 3, 5)]
    tinted = "#" + "".join(f"{round(0.06 * i + 0.94 * g):02x}" for i, g in pairs)
    assert min(contrast(ink, ground), contrast(ink, tinted)) >= 4.5


@every_picture
def test_only_known_colours_and_text_in_the_page_colour(picture):
    root = ElementTree.fromstring(picture)
    for element in root.iter():
        for name in ("fill", "stroke"):
            assert element.get(name, "none") in {"none", "currentColor", *palette.COLOURS}
        if element.tag == "text":
            assert element.get("fill") == "currentColor"


def test_no_two_roles_differ_by_colour_alone():
    for styles in (palette.ROLES, palette.CIRCLES, palette.PIECES):
        shapes = [(style.marker, style.dash) for style in styles.values()]
        assert len(set(shapes)) == len(shapes)


@every_picture
def test_one_line_of_well_formed_svg_without_ids(picture):
    root = ElementTree.fromstring(picture)
    assert root.tag == "svg"
    assert "\n" not in picture
    assert not any(e.get("id") for e in root.iter())
    assert "url(" not in picture
    assert root.get("width") == "100%"
    assert root.get("role") == "img"
    assert len(root.get("aria-label")) > 60


@every_picture
def test_words_are_large_enough_and_inside_the_picture(picture):
    root = ElementTree.fromstring(picture)
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    for word in root.findall("text"):
        size, x, y = (float(word.get(name)) for name in ("font-size", "x", "y"))
        assert size >= 10.5
        share = {"middle": 0.5, "end": 1.0}.get(word.get("text-anchor"), 0.0)
        left = x - share * svg.text_width(word.text, size)
        assert left >= 0
        # the estimate of a word's width is generous by about a tenth
        assert left + 0.9 * svg.text_width(word.text, size) <= width
        assert size * 0.7 <= y <= height


@every_picture
def test_numbers_are_rounded_so_that_the_text_is_the_same_everywhere(picture):
    for element in ElementTree.fromstring(picture).iter():
        for name, value in element.attrib.items():
            if name != "aria-label":
                assert not re.search(r"\d\.\d{3,}|-0(?![.\d])|nan|inf|\de[-+\d]", value)


@pytest.mark.parametrize(
    "picture",
    [
        polar_picture([PolarPoint(EVIL, 1j)], unit=EVIL, title=EVIL, circles=[NamedCircle(EVIL, 0.5)]),
        rotor_picture(RotorView("propeller", 60, pieces=(Piece(10, 30, 9, 4, EVIL),), title=EVIL)),
    ],
    ids=["polar", "rotor"],
)
def test_a_persons_words_are_words_and_nothing_else(picture):
    root = ElementTree.fromstring(picture)
    assert "\n" not in picture
    assert not root.findall(".//script")
    assert not root.findall(".//b")
    assert SPOKEN in root.get("aria-label")
    shown = " ".join(e.text for e in root.iter("text"))
    assert "<script>" in shown


@given(st.text(max_size=40))
def test_any_text_survives(words):
    drawn = svg.tag("text", svg.escape(words), title=svg.escape(words))
    root = ElementTree.fromstring(drawn)
    assert "\n" not in drawn
    assert (root.text or "") == root.get("title", "")


def test_no_mark_turns_the_order_of_what_follows():
    assert svg.escape("a\u202eb\u2066 c") == "a b c"


@given(st.text(max_size=60), st.floats(20, 300))
def test_wrapped_words_keep_to_their_lines_and_width(words, width):
    rows = svg.wrap(words, width, 12)
    assert len(rows) <= 2
    assert all(svg.text_width(row, 12) <= width for row in rows)


@given(st.floats(1e-90, 1e90), st.integers(1, 9))
def test_round_steps_cover_the_span(span, most):
    step = svg.nice_step(span, most)
    leading = round(float(f"{step:.1e}".split("e")[0]), 1)
    finer = step * {1.0: 0.5, 2.0: 0.5, 2.5: 0.8, 5.0: 0.5}[leading]
    assert step * most >= span * (1 - 1e-6)
    assert finer * most < span * (1 + 1e-6)


@pytest.mark.parametrize("dark", [False, True])
@every_picture
def test_a_file_of_its_own_has_name_space_ground_and_colours(picture, dark):
    root = ElementTree.fromstring(standalone(picture, dark=dark))
    space = "{http://www.w3.org/2000/svg}"
    ground, ink = (
        (palette.DARK_GROUND, palette.DARK_TEXT) if dark else (palette.LIGHT_GROUND, palette.LIGHT_TEXT)
    )
    original = ElementTree.fromstring(picture)
    width, height = (float(v) for v in original.get("viewBox").split()[2:])
    assert root.tag == f"{space}svg"
    assert root.get("color") == ink
    assert root[0].tag == f"{space}rect"
    assert root[0].get("fill") == ground
    assert (float(root[0].get("width")), float(root[0].get("height"))) == (width, height)
    assert float(root.get("width")) / float(root.get("height")) == pytest.approx(width / height, rel=1e-4)
    assert root.get("aria-label") == original.get("aria-label")
    assert len(root) == len(original) + 1


def test_standalone_refuses_other_text():
    with pytest.raises(ValueError, match=r"balancer\.figures"):
        standalone("<svg></svg>")

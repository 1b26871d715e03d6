"""Pages: whole, sealed off from the network, and true to what people typed."""

import math
import re
from dataclasses import replace
from itertools import pairwise

import pytest

from balancer.history.records.part import RETIRED
from balancer.report.card import PartCard
from balancer.report.drawings import as_fitted, pieces_drawing
from balancer.report.markup import Html, element, joined, typed
from balancer.report.page import card_page, sheet_page
from balancer.report.style import STYLE
from balancer.units import gmm_from_kgm
from balancer.wording.basics import CAUTIONS, CONVENTION_WITH, significant
from balancer.wording.report import BOUND_NOTE, PIECES_UNNAMED, WRONG_HAND, grade_text
from tests.history import makers
from tests.report import stories
from tests.report.pages import Page

LABELS = ("P1", "P2", "P3", "P9", "M1", "M2")


@pytest.fixture(scope="module")
def pages(craft, hostile):
    """Every page that the stories make, as text by the name of its part or machine."""
    cards = [*(getattr(craft, label) for label in LABELS), *hostile.cards]
    sheets = [craft.sheet, hostile.sheet]
    return {card.part.label: card_page(card) for card in cards} | {
        sheet.machine.name: sheet_page(sheet) for sheet in sheets
    }


@pytest.fixture(scope="module")
def everything(pages):
    return list(pages.values())


def test_every_page_is_whole_and_needs_nothing_from_outside(everything):
    for text in everything:
        page = Page(text)
        tags = {name for name, _ in page.elements}
        assert not tags & {"script", "link", "img", "iframe", "object", "form", "image", "use"}
        assert page.named("html") == [{"lang": "en"}]
        assert not re.search(r"url\(|@import|https?:", text)
        for _, attributes in page.elements:
            assert not any(name.startswith("on") for name in attributes)
            assert attributes.get("href", "#").startswith("#")
            assert "src" not in attributes


def test_every_page_can_be_read_without_eyes(everything):
    """WCAG 2.1: 1.1.1 pictures named, 1.3.1 headings in order and tables with headings, 3.1.1 language."""
    for text in everything:
        page = Page(text)
        levels = [int(name[1]) for name, _ in page.elements if re.fullmatch(r"h[1-6]", name)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after - before <= 1 for before, after in pairwise(levels))
        pictures = [attributes for attributes in page.named("svg") if "aria-label" in attributes]
        assert all(attributes["role"] == "img" for attributes in pictures)
        assert len(page.within("title")) == len(pictures) + 1
        assert all(attributes["scope"] in {"col", "row", "rowgroup"} for attributes in page.named("th"))
        ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
        assert len(ids) == len(set(ids))
        links = {attributes["href"][1:] for attributes in page.named("a")}
        assert links <= set(ids)


def test_what_people_typed_comes_out_as_typed(hostile, pages):
    for card in hostile.cards:
        page = Page(pages[card.part.label])
        assert card.part.label in page.within("bdi")
        assert stories.WORDS in page.within("p")
        assert page.within("title")[0] == f"Propeller {card.part.label}"
    page = Page(pages[stories.MACHINE])
    assert stories.MACHINE in page.within("bdi")
    assert 'עמדה <i>"1"</i>' in page.within("bdi")
    assert all(attributes == {"dir": "auto"} for attributes in page.named("bdi"))


def test_the_figures_on_the_page_are_those_of_the_card(craft, pages):
    page = Page(pages["P1"])
    one = craft.P1.latest
    for left in (one.found, one.left):
        assert f"≤ {significant(gmm_from_kgm(left.verdict.claim), 2)} g mm" in page.within("td")
        assert grade_text(left.claim_grade) in page.within("td")
    assert f"{significant(gmm_from_kgm(one.permissible))} g mm" in page.within("td")
    assert "2026-07-03" in page.within("time")
    assert "G2.5: the owner's choice for this part" in page.text
    assert "garage" in page.within("bdi")
    for event in craft.P1.events:
        assert event.words in page.within("bdi")


def test_every_piece_is_listed_and_drawn(craft, pages):
    page = Page(pages["P1"])
    count = len(craft.P1.part.pieces)
    listed = [line for line in page.within("li") if "tape" in line and "mg" in line]
    assert len(listed) == count
    letters = {text[:2] for text in page.within("text") if re.match(r"[A-Z]: on it", text)}
    assert len(letters) == count


def test_a_card_never_says_add(pages):
    """Whoever read it would fit the same piece again."""
    for label in LABELS:
        page = Page(pages[label])
        assert not [word for word in page.within("text") if re.match(r"(?i)([A-Z]: )?(add|remove)\b", word)]
        for attributes in page.named("svg"):
            assert not re.search(r"(?i)\. (add|remove) ", attributes.get("aria-label", ""))


def test_removed_material_is_said_to_be_taken_off():
    drawn = as_fitted('<svg aria-label="x. Remove 5 mg"><text>B: Remove 5 mg</text><text>A: add</text></svg>')
    assert drawn == (
        '<svg aria-label="x. Taken off: 5 mg"><text>B: taken off: 5 mg</text><text>A: on it</text></svg>'
    )


def test_cautions_stand_on_every_page(everything):
    for text in everything:
        assert set(CAUTIONS) <= set(Page(text).within("li"))


def test_angles_count_as_the_person_chose(craft, pages):
    page = Page(card_page(craft.P1, "with"))
    assert CONVENTION_WITH in page.within("p")
    assert any("angles count with the rotation" in a.get("aria-label", "") for a in page.named("svg"))
    assert CONVENTION_WITH not in pages["P1"]


def test_what_is_not_known_is_said(pages):
    page = Page(pages["P3"])
    assert "This part was never on the bench in a job, so nothing is known of its unbalance." in page.text
    assert page.within("b")[:2] == ["not known", "not known"]
    assert "There is no trend yet: nothing is known in g mm." in page.text
    assert BOUND_NOTE not in page.text
    assert "The runs have no phase, so there is no polar picture." in pages["P9"]


def test_why_nothing_is_known_of_a_job(craft):
    for state, words in (
        ("no_runs", "No run of this job counts yet"),
        ("unsolved", "do not suffice to tell the unbalance (no effect)"),
        ("unchecked", "No check run was made with what is on"),
        ("trial_on", "left with the trial piece on"),
    ):
        problem = "no effect" if state == "unsolved" else ""
        one = replace(craft.P2.outcomes[0], state=state, left=None, problem=problem)
        assert words in Page(card_page(replace(craft.P2, outcomes=(one,)))).text
    newer = card_page(replace(craft.P2, outcomes=(one, *craft.P2.outcomes)))
    assert "A newer job, of 2026-03-06, tells nothing yet: The job was left with the trial" in newer


def test_pieces_that_the_record_does_not_name_are_drawn_and_pointed_out(hostile, pages):
    page = Page(pages[hostile.cards[1].part.label])
    assert hostile.cards[1].part.pieces == ()
    assert PIECES_UNNAMED in page.within("p")
    assert "On at the end of the latest job" in page.within("title")
    assert PIECES_UNNAMED not in pages[hostile.cards[0].part.label]


def test_a_propeller_on_the_wrong_arm_is_called_out(craft, pages):
    wrong = replace(craft.P1, arm=replace(craft.P1.arm, hand="cw"))
    assert WRONG_HAND in Page(card_page(wrong)).within("p")
    arm = replace(craft.sheet.arms[0], cards=(wrong,))
    assert WRONG_HAND in Page(sheet_page(replace(craft.sheet, arms=(arm,)))).text
    assert WRONG_HAND not in pages["P1"]


def test_a_retired_part_is_called_so(craft):
    retired = replace(craft.P1, part=replace(craft.P1.part, where=RETIRED), arm=None, machine="")
    page = Page(card_page(retired))
    assert page.within("b")[-1] == "retired"
    assert "retired" in page.within("td")


@pytest.mark.parametrize(
    ("part", "hand", "why"),
    [
        (makers.part("A1", kind="adapter", sizes=None, places=None), None, "no drawing of an adapter"),
        (
            makers.bell(places=None, sizes=replace(makers.bell().sizes, radius=None)),
            "cw",
            "radius of the part",
        ),
        (makers.bell(), None, "not known which way the part turns"),
        (
            makers.part(places=None, sizes=replace(makers.part().sizes, blades=7)),
            "cw",
            "propeller of 7 blades",
        ),
        (
            makers.part(sizes=replace(makers.part().sizes, diameter=0.15), pieces=(makers.tape_piece(),)),
            "ccw",
            "lies outside the rotor",
        ),
    ],
)
def test_what_cannot_be_drawn_is_said(craft, part, hand, why):
    drawing = pieces_drawing(part, part.pieces, hand, "against", "On it")
    assert drawing.svg == ""
    assert why in drawing.missing
    card: PartCard = replace(craft.P3, part=part, hand=hand)
    assert why in Page(card_page(card)).text


def test_text_is_escaped_once_and_html_never():
    assert element("p", "<&>", Html("<b>"), title='"x"') == '<p title="&quot;x&quot;">&lt;&amp;&gt;<b></p>'
    assert joined("a\x00b\ud800", typed("<")) == 'a\ufffdb\ufffd<bdi dir="auto">&lt;</bdi>'
    assert isinstance(joined("x"), Html)


def luminance(colour):
    # relative luminance and contrast ratio as in WCAG 2.1, definitions
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_text_has_contrast_in_light_and_dark():
    """WCAG 2.1, 1.4.3: 4.5 to 1."""
    light, dark = (
        dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block))
        for block in re.findall(r":root \{([^}]*)\}", STYLE)
    )
    for scheme in (light, dark):
        assert contrast(scheme["ink"], scheme["ground"]) > 7
        assert contrast(scheme["quiet"], scheme["ground"]) > 4.5
        assert contrast(scheme["warn"], scheme["warn-ground"]) > 4.5
        assert contrast(scheme["ink"], scheme["warn-ground"]) > 7


def test_a_card_says_how_a_propeller_sits_on_its_hub(craft):
    where = replace(craft.P1.part.where, turned=math.pi)
    turned = replace(craft.P1, part=replace(craft.P1.part, where=where))
    assert "its mark at 180 deg from that of the bell" in card_page(turned)
    assert "On its hub" not in card_page(craft.P1)

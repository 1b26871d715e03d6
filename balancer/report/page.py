"""Whole pages: one HTML file without anything from outside, to read on a screen and to print on A4."""

from __future__ import annotations

from balancer.report import sections
from balancer.report.card import ArmSheet, MachineSheet, PartCard
from balancer.report.markup import Html, element, joined, typed, typed_block
from balancer.report.style import STYLE
from balancer.wording import report as words
from balancer.wording.basics import Direction


def card_page(card: PartCard, direction: Direction = "against") -> str:
    """Write a part's card as a page.

    Parameters
    ----------
    card : PartCard
        The card.
    direction : {"against", "with"}
        How the angles shown count.

    Returns
    -------
    str
        The text of an HTML file.
    """
    kind = words.KIND_WORDS[card.part.kind]
    return _page(
        f"{kind} {card.part.label}",
        sections.heading(1, f"{kind} ", typed(card.part.label)),
        _made(card.made.date().isoformat()),
        *_card(card, 2, direction),
    )


def sheet_page(sheet: MachineSheet, direction: Direction = "against") -> str:
    """Write a machine's sheet as a page: the table of its arms, then the cards, each arm on a new sheet.

    Parameters
    ----------
    sheet : MachineSheet
        The sheet.
    direction : {"against", "with"}
        How the angles shown count.

    Returns
    -------
    str
        The text of an HTML file.
    """
    machine = sheet.machine
    return _page(
        f"Machine {machine.name}",
        sections.heading(1, "Machine ", typed(machine.name)),
        _made(sheet.made.date().isoformat()),
        typed_block(machine.words) if machine.words.strip() else Html(""),
        sections.arms(sheet),
        sections.bound_note(*(card for arm in sheet.arms for card in arm.cards)),
        sections.cautions(2),
        *(_arm(arm, direction) for arm in sheet.arms if arm.cards),
    )


def _arm(arm: ArmSheet, direction: Direction) -> Html:
    cards = []
    for number, card in enumerate(arm.cards):
        title = joined(f"{words.KIND_WORDS[card.part.kind]} ", typed(card.part.label))
        cards.append(
            element(
                "article",
                sections.heading(3, title),
                *_card(card, 4, direction, alone=False),
                id=sections.anchor(card),
                class_="card fresh" if number else "card",
            )
        )
    turns = f"Arm {arm.arm.number}, turning {words.HAND_WORDS[arm.arm.hand]}"
    return element("section", sections.heading(2, turns), *cards, class_="fresh")


def _card(card: PartCard, level: int, direction: Direction, *, alone: bool = True) -> tuple[Html, ...]:
    """Write a card; one among many leaves to the first page what is the same for all."""
    return (
        sections.standing(card),
        sections.facts(card, direction),
        sections.before_and_after(card, level, direction),
        sections.bound_note(card) if alone else Html(""),
        sections.cautions(level) if alone else sections.short_caution(),
        sections.on_it(card, level, direction),
        sections.jobs(card, level),
        sections.story(card, level),
    )


def _made(day: str) -> Html:
    return element("p", f"Report of {day}", class_="made")


def _page(title: str, *content: str) -> str:
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", title),
        element("style", Html(STYLE)),
    )
    return (
        f"<!DOCTYPE html>\n{element('html', head, element('body', element('main', *content)), lang='en')}\n"
    )

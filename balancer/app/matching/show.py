"""The parts of the page of matching: the answer, the machine before and after, a card for each arm."""

from __future__ import annotations

from typing import cast

import streamlit as st

from balancer.app import show
from balancer.app.matching import state, words
from balancer.app.matching.service import Answer, Question, to_note
from balancer.app.matching.words import Card
from balancer.app.plain import Headline, Refusal, in_page_words, plain
from balancer.app.state import direction
from balancer.app.waiting import when_done
from balancer.core.matching import Match
from balancer.wording import finding_line
from balancer.wording.history import turns_text
from balancer.wording.matching import MARKS_NOTE, UNSCREWING_CAUTION

_ABREAST = 3


def answered(question: Question) -> Answer | Refusal | None:
    """Give the answer; None while it is worked out, and the page comes back by itself."""
    found = when_done(*state.asked(question), "Trying which propeller goes best on which motor.", slow=True)
    return cast(Answer | Refusal | None, found)


def arrangement(told: Answer) -> Match:
    """Let the person look at other arrangements than the one that is advised."""
    if len(told.matches) == 1:
        return told.matches[0]
    advised = next(n for n, one in enumerate(told.matches) if one is told.chosen)
    number = st.segmented_control(
        "Motors touched",
        range(len(told.matches)),
        default=advised,
        format_func=lambda n: words.choice_text(told, told.matches[n]),
        required=True,
        wrap=True,
        key=f"matching_moves_{told.state[:8]}_{len(told.matches)}_{advised}",
    )
    return told.matches[int(number)]


def verdict(told: Answer, shown: Match, question: Question) -> None:
    """Say whether it is worth it."""
    st.header(plain(words.verdict(told, shown)), anchor=False)
    text = plain(words.reasons(shown, question.grade_mm_s))
    if shown.moves == 0:
        st.success(text)
    elif any(finding.severity == "warning" for finding in shown.findings):
        st.warning(text)
    else:
        st.info(text)
    show.small(words.costs_text(shown))


def headlines(shown: Match) -> None:
    """Show the gain large, with how sure it is."""
    gain = shown.gain
    if gain is None or shown.moves == 0 or gain.before <= 0:
        return
    share = 100 / gain.before
    show.headlines(
        [
            Headline("Gain expected, %", f"{share * gain.expected:.0f}", "Of what the machine has now."),
            Headline(
                "Gain at the least, %",
                f"{share * gain.lower:.0f}",
                "With 97.5 % probability it is this much or more. Below 0 it may get worse.",
            ),
            Headline("Motors touched", f"{shown.moves} of {len(shown.pairings)}", "Where hands have to go."),
        ]
    )


def machine(told: Answer, shown: Match) -> None:
    """Draw the machine as it is and, if anything changes, as it is to be."""
    drawn = [svg for svg in words.pictures(told, shown, direction()) if svg]
    for column, svg in zip(st.columns(2), drawn[: 2 if shown.moves else 1], strict=False):
        with column:
            show.drawing(svg)
    if drawn:
        show.small(words.PICTURE_NOTE)


def cards(told: Answer, shown: Match) -> None:
    """Show a card for each arm, in their order."""
    if shown.moves:
        show.caution(UNSCREWING_CAUTION)
    found = words.cards(told, shown, direction())
    for first in range(0, len(found), _ABREAST):
        for column, card in zip(st.columns(_ABREAST), found[first : first + _ABREAST], strict=False):
            with column:
                _card(card)
    show.small(f"{MARKS_NOTE} {turns_text(told.among)}".rstrip())


def _card(card: Card) -> None:
    with st.container(border=True):
        show.small(card.title)
        st.markdown(f"**{plain(card.todo)}**" if card.touched else plain(card.todo))
        show.sentence(card.now)
        if card.touched or card.tape:
            show.sentence(card.then)
        for piece in card.tape:
            show.sentence(f"Tape afterwards: {piece}")


def done(told: Answer, shown: Match) -> None:
    """Offer to note that it is done, or how they stand if that was said otherwise than the history has it."""
    if not to_note(told, shown):
        return
    st.button(
        "They now stand like this",
        type="primary",
        key="matching_done",
        on_click=state.done,
        args=(told, shown),
        help="Writes into the history where each propeller is now and how it is turned.",
    )


def untold(told: Answer) -> None:
    """Say what is left out and why."""
    if not told.among.left_out:
        return
    st.subheader("What the history cannot tell", anchor=False)
    for finding in told.among.left_out:
        text = plain(in_page_words(finding_line(finding)))
        (st.warning if finding.severity == "warning" else st.caption)(text)


def sources(told: Answer, shown: Match) -> None:
    """Say where the figures come from, and offer them as files."""
    spares = words.spares(shown, direction())
    if spares:
        with st.expander("Spares: where each would go best"):
            show.points(spares)
    with st.expander("Where the figures come from"):
        show.sentence("A part's own unbalance is what its last job left, with the pieces that are on it.")
        show.points(words.sources(told, direction()))
    show.box(
        "Files to take away",
        "matching_files",
        lambda: show.downloads(words.downloads(told, shown, direction())),
    )

"""What the page shows in more than one place: cautions, pictures, figures, findings, files."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

import streamlit as st

from balancer.app import state
from balancer.app.plain import Download, Headline, in_page_words, plain, with_signs
from balancer.app.units_shown import CHOICES
from balancer.findings import Finding
from balancer.wording import CAUTIONS, Direction, finding_text

_Key = TypeVar("_Key", bound=str)

_FIGURE_WIDTH = 170  # px: two beside each other on a phone


def style() -> None:
    """Write the chosen one of several buttons in the colour of text, and make all buttons large enough.

    Streamlit writes it in the primary colour. On the dark ground no colour can have 4.5:1 there and under the
    white words of the primary button as well; border and ground still show which one is chosen. Hands at a
    bench wear gloves: 44 px is the size that WCAG 2.2 asks for in its success criterion 2.5.5.
    """
    st.html(
        "<style>[data-testid=stButtonGroup] [role=radio][aria-checked=true],"
        "[data-testid=stButtonGroup] [role=radio][aria-checked=true] *{color:inherit!important}"
        "[data-testid=stButtonGroup] button,[data-testid=stButton] button,"
        "[data-testid=stPopover] button,[data-testid=stDownloadButton] button{min-height:2.75rem}"
        "[data-testid=stBaseButton-primary]{padding:.5rem 2rem}"
        "[data-testid=stBaseButton-primary] p{font-size:1.15rem}</style>"
    )


def to_the_top(step: str) -> None:
    """Take the person to the top of the page when a new step begins.

    Streamlit leaves the page where the last button was, which on a phone is below all that is new.
    """
    # sent anew, and so run, only when the step's name changes; nothing of the person's goes into it
    st.html(
        f"<script>/* {step} */document.querySelector('[data-testid=stMain]')?.scrollTo(0, 0)</script>",
        unsafe_allow_javascript=True,
    )


def drawing(svg: str) -> None:
    """Put a picture of `balancer.figures` on the page: the only place where HTML is let through.

    Within Markdown, since Streamlit's HTML element leaves vector pictures out (seen with 1.67).
    """
    st.markdown(f'<div style="max-width:27rem;margin:0 auto">{svg}</div>', unsafe_allow_html=True)


def sentence(text: str) -> None:
    """Write text as it stands."""
    st.markdown(plain(with_signs(text)))


def small(text: str) -> None:
    """Write text as it stands, as a note."""
    st.caption(plain(with_signs(text)))


def points(lines: Sequence[str]) -> None:
    """Write lines as a list."""
    st.markdown("\n".join(f"- {plain(with_signs(line))}" for line in lines))


def box(label: str, key: str, fill: Callable[[], None], *, expanded: bool = False) -> None:
    """Keep what is seldom asked for in a box; it is made only while the box is open.

    A page is drawn anew after each click: what nobody looks at would take a third of the time. What is typed
    into a box outlives its closing only in widgets that persist.
    """
    there = st.expander(label, expanded=expanded, key=f"box_{key}", on_change="rerun")
    if there.open:
        with there:
            fill()


def cautions_again() -> None:
    """Keep the cautions at hand."""
    with st.popover("Cautions", key="cautions"):
        points(CAUTIONS)


def caution(text: str) -> None:
    """Show what matters now, beside the place where it is done."""
    st.warning(plain(text))


def trouble() -> None:
    """Show what went wrong at the last click, or why it changed nothing."""
    if state.problem():
        st.error(plain(in_page_words(state.problem())))
    if state.notice():
        st.info(plain(in_page_words(state.notice())))


def choice(label: str, options: Mapping[_Key, str], key: str, *, quiet: bool = False) -> _Key:
    """Let the person choose one of a few."""
    return st.segmented_control(
        label,
        list(options),
        default=next(iter(options)),
        format_func=options.__getitem__,
        required=True,
        key=key,
        on_change=state.forget_problem,
        persist_state="session",
        label_visibility="collapsed" if quiet else "visible",
    )


def angle_choice() -> None:
    """Let the person choose how angles count, in words and pictures alike."""
    st.segmented_control(
        "Angles count",
        ["against", "with"],
        default=state.direction(),
        format_func=lambda way: "Angles against the rotation" if way == "against" else "with it",
        required=True,
        key=state.DIRECTION,
        on_change=state.keep_direction,
        label_visibility="collapsed",
    )


def vibration_choice() -> None:
    """Let the person choose the unit in which vibration is shown and typed."""
    with st.popover("Units", key="units"):
        st.segmented_control(
            "Vibration is shown and typed in",
            list(CHOICES),
            default=state.vibration_name(),
            format_func=lambda name: CHOICES[name].long,
            required=True,
            key=state.VIBRATION,
            on_change=state.keep_vibration,
        )


def number(  # noqa: PLR0913 - each is a fact of its own, and all but four go by name
    label: str,
    key: str,
    least: float,
    most: float,
    *,
    usual: float | None = None,
    step: float = 1.0,
    form: str = "%.1f",
    note: str = "",
) -> None:
    """Ask for a number; with no usual one the box stays empty until something is typed."""
    st.number_input(
        label,
        least,
        most,
        usual,
        step,
        form,
        key=key,
        help=note or None,
        persist_state="session",
    )


def headlines(figures: Sequence[Headline]) -> None:
    """Show figures large, as many in a row as there is room for."""
    if figures:
        with st.container(horizontal=True):
            for figure in figures:
                # a board names its axes, and they stand in these words
                about = plain(figure.help)
                st.metric(figure.label, figure.value, help=about, border=True, width=_FIGURE_WIDTH)


def findings(found: Sequence[Finding], words: Callable[[Finding, Direction], str] = finding_text) -> None:
    """Show what was noticed, the serious first; `words` may be `finding_line`, which names the severity."""
    order = ("error", "warning", "info")
    for finding in sorted(dict.fromkeys(found), key=lambda one: order.index(one.severity)):
        text = plain(in_page_words(words(finding, state.direction())))
        if finding.severity == "error":
            st.error(text)
        elif finding.severity == "warning":
            st.warning(text)
        else:
            st.caption(text)


def downloads(files: Sequence[Download]) -> None:
    """Offer files to take away."""
    with st.container(horizontal=True):
        for file in files:
            st.download_button(
                file.label, file.text, file.name, file.mime, key=f"download_{file.name}", on_click="ignore"
            )

"""What the page shows in more than one place: cautions, pictures, figures, findings, files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from balancer.app import state, words
from balancer.app.changes import Upload
from balancer.app.keeping import Kept
from balancer.core.tape import USUAL_DENSITIES
from balancer.findings import Finding
from balancer.wording import CAUTIONS, finding_text

_FIGURE_WIDTH = 170  # px: two beside each other on a phone
_FILE_MB = 50


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
    """Put a picture of `balancer.figures` on the page: the only place where HTML is let through."""
    st.markdown(f'<div style="max-width:27rem;margin:0 auto">{svg}</div>', unsafe_allow_html=True)


def sentence(text: str) -> None:
    """Write text as it stands."""
    st.markdown(words.plain(text))


def small(text: str) -> None:
    """Write text as it stands, as a note."""
    st.caption(words.plain(text))


def points(lines: Sequence[str]) -> None:
    """Write lines as a list."""
    st.markdown("\n".join(f"- {words.plain(line)}" for line in lines))


def cautions_again() -> None:
    """Keep the cautions at hand."""
    with st.popover("Cautions", key="cautions"):
        points(CAUTIONS)


def caution(text: str) -> None:
    """Show what matters now, beside the place where it is done."""
    st.warning(words.plain(text))


def trouble() -> None:
    """Show what went wrong at the last click, or why it changed nothing."""
    if state.problem():
        st.error(words.plain(state.problem()))
    if state.notice():
        st.info(words.plain(state.notice()))


def choice(label: str, options: Mapping[str, str], key: str, *, quiet: bool = False) -> str:
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


def tape_choice() -> None:
    """Let the person choose the tape, or say what a weighed strip of it weighs."""
    with st.expander("Your tape"):
        kind = st.selectbox(
            "Kind",
            [*USUAL_DENSITIES, "weighed"],
            index=2,
            format_func=_tape_name,
            key=state.TAPE_KIND,
            persist_state="session",
        )
        number("Width (mm)", state.TAPE_WIDTH, 1.0, 50.0, usual=10.0)
        if kind == "weighed":
            number("Length of the weighed strip (mm)", state.STRIP_LENGTH, 1.0, 5000.0, step=10.0)
            number("Its mass (g)", state.STRIP_MASS, 0.001, 100.0, step=0.01, form="%.3f")
        else:
            st.caption("The mass of listed tapes is a guess. A weighed strip of your own roll is better.")


def _tape_name(kind: str) -> str:
    return "my own: I weighed a strip" if kind == "weighed" else f"{kind} tape"


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


def recording_box(label: str, key: str) -> None:
    """Take a recording in, and say what was understood of it."""
    st.file_uploader(label, key=key, on_change=state.keep_upload, args=(key,), max_upload_size=_FILE_MB)
    found = state.upload(key)
    if isinstance(found, Upload):
        small(found.words)
    elif found is not None:
        st.error(words.plain(found))


def headlines(figures: Sequence[words.Headline]) -> None:
    """Show figures large, as many in a row as there is room for."""
    if figures:
        with st.container(horizontal=True):
            for figure in figures:
                st.metric(figure.label, figure.value, help=figure.help, border=True, width=_FIGURE_WIDTH)


def findings(found: Sequence[Finding]) -> None:
    """Show what was noticed, the serious first."""
    order = ("error", "warning", "info")
    for finding in sorted(dict.fromkeys(found), key=lambda one: order.index(one.severity)):
        text = words.plain(finding_text(finding))
        if finding.severity == "error":
            st.error(text)
        elif finding.severity == "warning":
            st.warning(text)
        else:
            st.caption(text)


def polar(kept: Kept, svg: str | None) -> None:
    """Show the runs as vectors, on the axis that the person chooses."""
    if svg is None:
        small(words.no_polar_text(kept.job))
        return
    drawing(svg)
    small(
        "1x is the shaking at once per turn. A long arrow is hard shaking; where it points says when in the "
        "turn. The nearer to the centre, the better. A shaded ellipse holds the true value 95 times of 100."
    )
    names = words.channels(kept.job)
    if len(names) > 1:
        st.segmented_control(
            "Sensor axis shown",
            range(len(names)),
            default=state.channel(kept.job),
            format_func=lambda n: words.plain(names[n]),
            required=True,
            key=state.CHANNEL,
        )


def downloads(files: Sequence[words.Download]) -> None:
    """Offer files to take away."""
    with st.container(horizontal=True):
        for file in files:
            st.download_button(
                file.label, file.text, file.name, file.mime, key=f"download_{file.name}", on_click="ignore"
            )

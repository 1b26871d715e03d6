"""What the page shows in more than one place: cautions, pictures, figures, findings, a result."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from balancer.app import state, words
from balancer.app.services import Result, RotorFacts
from balancer.core.pieces import Piece
from balancer.core.tape import USUAL_DENSITIES
from balancer.figures.palette import PieceRole
from balancer.findings import Finding
from balancer.procedure.measure import Measurement
from balancer.wording import (
    CAUTIONS,
    correction_text,
    finding_text,
    measurement_lines,
    residual_text,
    tape_text,
)

_FIGURE_WIDTH = 170  # px: two beside each other on a phone


def style() -> None:
    """Write the chosen one of several buttons in the colour of text.

    Streamlit writes it in the primary colour. On the dark ground no colour can have 4.5:1 there and under the
    white words of the primary button as well; border and ground still show which one is chosen.
    """
    st.html("<style>[data-testid=stButtonGroup] [role=radio][aria-checked=true]{color:inherit}</style>")


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


def cautions() -> None:
    """Show the cautions, with the one click that opens the page."""
    with st.container(border=True, width=760):
        st.subheader("Before any propeller turns", anchor=False)
        points(CAUTIONS)
        st.button("I have read them", type="primary", key="read_cautions", on_click=state.read_cautions)


def cautions_again() -> None:
    """Keep the cautions at hand."""
    with st.popover("Cautions", key="cautions"):
        points(CAUTIONS)


def cautions_at_the_rotor() -> None:
    """Show what matters when a hand goes near the rotor, beside the place where it says so."""
    st.warning(" ".join(words.plain(caution) for caution in words.AT_THE_ROTOR))


def problem() -> None:
    """Show what went wrong at the last click."""
    if state.problem():
        st.error(words.plain(state.problem()))


def angle_choice() -> None:
    """Let the person choose how angles count, in words and pictures alike."""
    st.segmented_control(
        "Angles count",
        ["against", "with"],
        default="against",
        format_func=lambda way: "Angles against the rotation" if way == "against" else "with it",
        required=True,
        key=state.DIRECTION,
        on_change=state.turn_typed_angles,
        label_visibility="collapsed",
    )


def tape_choice() -> None:
    """Let the person choose the tape, or say what a weighed strip of it weighs."""
    with st.expander("Your tape"):
        kind = st.selectbox(
            "Kind",
            [*USUAL_DENSITIES, "weighed"],
            index=2,
            format_func=_kind,
            key=state.TAPE_KIND,
            persist_state="session",
        )
        st.number_input("Width (mm)", 1.0, 50.0, 10.0, 1.0, key=state.TAPE_WIDTH, persist_state="session")
        if kind == "weighed":
            st.number_input(
                "Length of the weighed strip (mm)",
                1.0,
                5000.0,
                None,
                10.0,
                key=state.STRIP_LENGTH,
                persist_state="session",
            )
            st.number_input(
                "Its mass (g)",
                0.001,
                100.0,
                None,
                0.01,
                "%.3f",
                key=state.STRIP_MASS,
                persist_state="session",
            )
        else:
            st.caption("The mass of listed tapes is a guess. A weighed strip of your own roll is better.")


def _kind(kind: str) -> str:
    return "my own: I weighed a strip" if kind == "weighed" else f"{kind} tape"


def channel_choice(measured: Measurement) -> None:
    """Let the person choose which sensor axis is shown, when there are several."""
    if len(measured.channels) > 1:
        names = [channel.name for channel in measured.channels]
        st.segmented_control(
            "Sensor axis shown",
            range(len(names)),
            format_func=lambda n: words.plain(names[n]),
            required=True,
            key=state.CHANNEL,
        )


def headlines(figures: Sequence[words.Headline]) -> None:
    """Show figures large, as many in a row as there is room for."""
    with st.container(horizontal=True):
        for figure in figures:
            st.metric(figure.label, figure.value, help=figure.help, border=True, width=_FIGURE_WIDTH)


def findings(found: Sequence[Finding]) -> None:
    """Show what was noticed, the serious first."""
    for finding in sorted(found, key=lambda one: ("error", "warning", "info").index(one.severity)):
        text = words.plain(finding_text(finding))
        if finding.severity == "error":
            st.error(text)
        elif finding.severity == "warning":
            st.warning(text)
        else:
            st.caption(text)


def measurements(measured: Sequence[Measurement], purposes: Sequence[str]) -> None:
    """Show all that was measured, out of the way."""
    with st.expander("All that was measured"):
        for number, one in enumerate(measured):
            small(f"Run {number + 1}: {purposes[number]}")
            st.code("\n".join(measurement_lines(one, state.direction())), language=None, wrap_lines=True)


def result_figures(result: Result) -> None:
    """Show a result's figures large: what to add before the check run, what is left after it."""
    way = state.direction()
    if result.checked:
        headlines(words.residual_headlines(result))
    else:
        headlines((*words.correction_headlines(result, way), *words.residual_headlines(result)))


def verdict(result: Result) -> None:
    """Say whether what is left after the check run is good enough."""
    text = words.plain(residual_text(result.solution.residual))
    if result.good_enough:
        st.success(text)
    else:
        st.info(text)
    if result.solution.residual.permissible is not None:
        small(
            "Permissible is what ISO 21940-11 allows at grade G6.3 for this mass and speed. The standard "
            "does not list model propellers; G6.3 is its grade for fans."
        )


def correction(result: Result) -> None:
    """Say what to add, as tape and as a mass; every candidate when there are several."""
    way, answer = state.direction(), result.solution.answer
    wanted = (answer.next_correction,) if result.checked else (answer.correction, *answer.alternatives)
    for number, (one, pieces) in enumerate(zip(wanted, result.layouts, strict=True), 1):
        if len(wanted) > 1:
            st.markdown(f"**Candidate {number}**")
        points(words.piece_lines(pieces, way) or ["Nothing: no piece of this tape would make it better."])
        exact = correction_text(one, result.solution.radius, way)
        small(f"The exact answer, before cutting to whole millimetres: {exact}.")
    for roll in {one.strip.tape for pieces in result.layouts for one in pieces if one.strip is not None}:
        small(f"Lengths are for {tape_text(roll)}.")


def rotor(
    facts: RotorFacts, pieces: tuple[Piece, ...] = (), *, role: PieceRole = "add", title: str = ""
) -> None:
    """Draw a rotor with tape on it, or bare."""
    drawing(words.rotor_drawing(facts, pieces, state.direction(), role=role, title=title))


def tape_pictures(result: Result) -> None:
    """Draw where the tape goes, for every candidate."""
    for pieces, title in zip(result.layouts, words.layout_titles(result), strict=True):
        rotor(result.rotor, pieces, title=title)


def polar_help() -> None:
    """Explain the polar picture."""
    small(
        "1x is the shaking at once per turn. A long arrow is hard shaking; where it points says when in the "
        "turn. The nearer to the centre, the better."
    )


def polar(result: Result) -> None:
    """Draw the runs as vectors, on the axis that the person chooses."""
    circle = words.polar(result, state.channel(), state.direction())
    if circle is None:
        st.caption("Without a mark there is no angle to the readings, so there is no polar picture.")
    else:
        drawing(circle)
        polar_help()
        channel_choice(result.measured[0])


def downloads(result: Result) -> None:
    """Offer the figures and the pictures as files."""
    with st.container(horizontal=True):
        for file in words.downloads(result, state.channel(), state.direction()):
            st.download_button(
                file.label, file.text, file.name, file.mime, key=f"download_{file.name}", on_click="ignore"
            )

"""The simulated bench as a story in four steps, each with one thing to do."""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from balancer.app import show, state, words
from balancer.app.services import BenchJob
from balancer.procedure.story import PURPOSES
from balancer.wording import tape_text

_PARTS = {"propeller": "Propeller on its motor", "bell": "Bare motor bell"}


def page() -> None:
    """Show the step at which the job stands."""
    job = state.bench_job()
    if job is None:
        _as_is()
        return
    (_trial, _correction, _check)[len(job.runs) - 1](job)


def _head(number: int, title: str) -> None:
    show.to_the_top(f"step {number}")
    st.subheader(f"Step {number} of 4: {title}", anchor=False)
    show.problem()


def _columns() -> tuple[DeltaGenerator, DeltaGenerator, DeltaGenerator]:
    text, rotor, polar = st.columns([5, 4, 4], gap="medium")
    return text, rotor, polar


def _as_is() -> None:
    _head(1, "a part as it came")
    text, picture, _ = _columns()
    with text:
        show.sentence(
            "Nothing spins here: the bench is simulated and its parts are invented. They belong to a six-arm "
            "coastal-survey craft with 12-inch propellers, and each hides an unbalance. You find it as on a "
            "real bench, with an accelerometer and a pick-up that sees a mark once per turn."
        )
        st.segmented_control(
            "Part",
            list(_PARTS),
            default="propeller",
            format_func=_PARTS.__getitem__,
            required=True,
            key=state.PART,
            persist_state="session",
        )
        st.number_input(
            "Which one of them",
            min_value=0,
            max_value=9999,
            value=1,
            key=state.SEED,
            persist_state="session",
            help="Every number is another part: another unbalance, perhaps another way of turning.",
        )
        show.tape_choice()
        st.button("Spin it as it came", type="primary", key="begin", on_click=state.begin)
    with picture:
        show.rotor(state.chosen_rotor())


def _trial(job: BenchJob) -> None:
    _head(2, "a trial piece of tape")
    text, picture, polar = _columns()
    with text:
        shown = job.runs[0].measurement.channels[state.channel()]
        show.sentence(
            f"{words.rotor_text(job.rotor, job.setup.speed)}. It shakes once per turn with "
            f"{words.shake_text(shown, state.direction())}."
        )
        show.sentence(
            "Once per turn is where unbalance shows. But one run cannot tell how the stand answers to it. A "
            "known piece of tape can: put it on, spin again, and see how the shaking changes."
        )
        show.points(words.piece_lines(job.trial, state.direction()))
        if job.setup.stock.tape is not None:
            show.small(f"Lengths are for {tape_text(job.setup.stock.tape)}.")
        show.cautions_at_the_rotor()
        _buttons("Put it on and spin")
        show.findings(job.runs[0].measurement.findings)
    with picture:
        show.rotor(job.rotor, job.trial, role="trial", title="Trial run: where the tape goes")
    with polar:
        show.drawing(words.first_picture(job, state.channel(), state.direction()))
        show.polar_help()
        show.channel_choice(job.runs[0].measurement)
    show.measurements([run.measurement for run in job.runs], PURPOSES)


def _correction(job: BenchJob) -> None:
    _head(3, "the correction")
    result = job.result
    show.result_figures(result)
    text, picture, polar = _columns()
    with text:
        show.sentence("The trial piece did its work: take it off. Then put on:")
        show.correction(result)
        show.cautions_at_the_rotor()
        _buttons("Fit the tape and spin the check run")
        show.findings(result.solution.findings)
    with picture:
        show.tape_pictures(result)
    with polar:
        show.polar(result)
    show.measurements(result.measured, PURPOSES)
    show.downloads(result)


def _check(job: BenchJob) -> None:
    _head(4, "the check run")
    result = job.result
    show.result_figures(result)
    text, picture, polar = _columns()
    with text:
        show.verdict(result)
        show.sentence(words.change_text(result, state.channel()))
        show.sentence("With this tape on:")
        show.points(words.piece_lines(result.layouts[0], state.direction()))
        with st.expander("Show the hidden truth"):
            show.points(words.truth_lines(job, state.direction()))
        st.button("Take another part", type="primary", key="another", on_click=state.start_again)
        show.findings(result.solution.findings)
    with picture:
        show.tape_pictures(result)
    with polar:
        show.polar(result)
    show.measurements(result.measured, PURPOSES)
    show.downloads(result)


def _buttons(next_step: str) -> None:
    with st.container(horizontal=True):
        st.button(next_step, type="primary", key="spin", on_click=state.spin)
        st.button("Start again", key="start_again", on_click=state.start_again)

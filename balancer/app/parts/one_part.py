"""The page of one part: how it stands, what is on it, its trend and story, what to say and take away."""

from __future__ import annotations

import streamlit as st

from balancer.app import show
from balancer.app.parts import forms, service, state, words
from balancer.app.parts.listing import PAGE
from balancer.app.parts.service import PartView
from balancer.app.plain import plain, with_signs
from balancer.app.state import direction
from balancer.report.drawings import Drawing, trend_drawing
from balancer.report.files import SUFFIXES
from balancer.report.sections import unnamed_outcome
from balancer.wording import report

_EVENTS = 8


def page(id: str) -> None:
    """Show the page of a part; an `InputError` if there is none."""
    view = service.part_view(state.store(), id, service.now(), state.months())
    show.to_the_top(f"part {view.part.id}")
    with st.container(horizontal=True, vertical_alignment="center", key="part_head"):
        st.title(plain(words.title(view.part)), anchor=False, width="stretch")
        show.angle_choice()
        st.page_link(PAGE, label="All parts", query_params=state.address(part=None))
    forms.done()
    _standing(view)
    left, right = st.columns(2, gap="large")
    with left:
        _said(view)
        _trend(view)
        _events(view)
    with right:
        _on_it(view)
    _jobs(view)
    _files(view)


def _standing(view: PartView) -> None:
    grave, text = words.verdict(view)
    {None: st.success, "info": st.info, "warning": st.warning, "error": st.error}[grave](plain(text))
    show.headlines(words.headlines(view))
    show.small(words.facts_text(view, direction()))
    if view.part.words.strip():
        show.sentence(view.part.words)


def _said(view: PartView) -> None:
    """Offer what is done with a part."""
    part = view.part
    if part.where.state != "retired":
        if st.button("Balance it", type="primary", key="balance_it"):
            st.switch_page("views/balance.py", query_params=state.begin(part.id))
        missing = words.missing_for_a_job(part)
        if missing:
            show.small(missing)
    forms.happened(part)
    forms.move(part)
    forms.change(part)


def _on_it(view: PartView) -> None:
    st.subheader("Pieces on it now", anchor=False)
    unnamed = unnamed_outcome(view.card)
    if unnamed is not None:
        st.warning(plain(report.PIECES_UNNAMED))
    _drawn(service.on_it(view, direction()))
    pieces = view.part.pieces or (unnamed.pieces if unnamed else ())
    if pieces:
        show.points(report.piece_lines(pieces, direction()))
        show.small(report.convention(direction()))
    else:
        show.small(report.NOTHING_ON)
    forms.bare(view.part)
    photo = service.photo(state.store(), view.part.photo)
    if photo is not None:
        try:
            st.image(photo, caption="Photo", width=320)
        except OSError:  # it begins as a picture, and is none
            show.small("The photo of this part cannot be shown.")


def _drawn(drawing: Drawing) -> None:
    if drawing.svg:
        show.drawing(drawing.svg)
    else:
        show.small(drawing.missing)


def _trend(view: PartView) -> None:
    st.subheader("Trend", anchor=False)
    trend = view.card.trend
    if trend is None or not trend.points:
        show.small("There is no trend yet: nothing is known in g mm.")
    else:
        show.drawing(trend_drawing(view.card, trend).svg)
        show.small(report.trend_lines(trend)[0])
    show.findings(words.story(view))


def _events(view: PartView) -> None:
    events = view.card.events
    if not events:
        return
    st.subheader("What happened", anchor=False)
    show.points([words.event_text(one, direction()) for one in events[:_EVENTS]])
    if len(events) > _EVENTS:
        with st.expander(f"Earlier: {len(events) - _EVENTS} more"):
            show.points([words.event_text(one, direction()) for one in events[_EVENTS:]])


def _jobs(view: PartView) -> None:
    lines = words.job_lines(view)
    if lines:
        st.subheader("Jobs", anchor=False)
        show.points(lines)
    count = view.story.page.run_count
    if count:
        show.box(f"Runs and their recordings ({count})", f"runs_{view.part.id}", lambda: _runs(view))


def _runs(view: PartView) -> None:
    page = view.story.page
    for run in page.runs:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(plain(with_signs(words.run_text(run))), width="stretch")
            if run.recording is not None:
                st.download_button(
                    "Recording",
                    service.recording(state.store(), run.recording.file),
                    words.run_file(view.part, run),
                    "application/octet-stream",
                    key=f"recording_{run.id}",
                    on_click="ignore",
                )
                see = {"recording": run.recording.file}
                st.page_link("views/recordings.py", label="See what is in it", query_params=see)
    if len(page.runs) < page.run_count:
        show.small(f"The latest {len(page.runs)} of {page.run_count} runs are listed.")
    st.page_link("views/recordings.py", label="To the page Recordings")


def _files(view: PartView) -> None:
    st.subheader("To take away", anchor=False)
    with st.container(horizontal=True):
        for suffix in SUFFIXES:
            label, mime = words.FILES[suffix]
            st.download_button(
                label,
                service.part_report(state.store(), view.part.id, suffix, direction()),
                words.report_file(view.part.label, service.now(), suffix),
                mime,
                key=f"report_{suffix}",
                on_click="ignore",
            )

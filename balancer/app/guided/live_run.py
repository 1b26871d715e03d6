"""The bench as it turns, within a step: how it runs in large words, and one button that lets it record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

import streamlit as st

from balancer.app import show
from balancer.app.guided import capture, live_clicks, state
from balancer.app.guided.keeping import Kept
from balancer.app.live.sources import port_choices
from balancer.app.plain import plain
from balancer.errors import BalancerError
from balancer.figures.readout import readout_picture

if TYPE_CHECKING:
    from balancer.app.bench import BenchView

What = Literal["run", "rest"]

_TICK = 0.5  # s between two looks at the bench
_RECORD = {"run": "Record when steady", "rest": "Record it at rest"}


def panel(kept: Kept, what: What = "run", *, primary: bool = True) -> None:
    """Show what the bench does, and let it record.

    Parameters
    ----------
    kept : Kept
        The job.
    what : {"run", "rest"}
        A run, or the sensor alone.
    primary : bool
        Whether its button is the one of the step.
    """
    view = live_clicks.bench().view()
    stage = capture.stage(view, kept.id)
    _failure(view, kept)
    if stage == "idle" or (view.busy and view.simulated and kept.simulated is None):
        _choose_source(view.simulated and view.busy, kept.id, primary=primary)
        return
    unmarked = capture.may_do_without_mark(view, kept)
    _now(kept.id, kept.digest, what, (stage, unmarked))
    if stage == "lost":
        st.error(plain(view.trouble or "The source went away."))
        _button("Pick it up again", "pick_up", live_clicks.pick_up, (), primary=primary)
    elif stage == "waiting":
        _button("Cancel", "cancel", live_clicks.drop_capture, (kept.id,), primary=primary)
    elif stage == "taken":
        show.small("The bench records for another job. It is free again when that is done.")
    else:
        with st.container(horizontal=True):
            work = live_clicks.record_live if what == "run" else live_clicks.record_at_rest
            _button(_RECORD[what], "record", work, (kept.id, kept.digest), primary=primary)
            if what == "run" and unmarked:
                seen = (kept.id, kept.digest)
                _button(
                    "Record without a mark",
                    "record_unmarked",
                    live_clicks.record_unmarked,
                    seen,
                    primary=False,
                )
            if view.busy:
                _button("Stop the bench", "stop_bench", live_clicks.stop_bench, (kept.id,), primary=False)


def on_simulated_bench(kept: Kept) -> bool:
    """Show how the part turns while a run of this job is recorded; say whether one is."""
    view = live_clicks.bench().view()
    stage = capture.stage(view, kept.id)
    if stage == "waiting":
        _now(kept.id, kept.digest, "run", (stage, capture.may_do_without_mark(view, kept)))
        _button("Cancel", "cancel", live_clicks.drop_capture, (kept.id,), primary=True)
        return True
    _failure(view, kept)
    if stage == "taken":
        show.small("The bench records for another job.")
    if stage == "lost" and view.simulated:
        st.error(plain(view.trouble or "The simulated bench ended by itself."))
    return False


def _failure(view: BenchView, kept: Kept) -> None:
    why = capture.failure(view, kept)
    if why:
        st.warning(plain(f"Not added: {why} What was recorded is kept on the page Recordings."))


def _button(label: str, key: str, work: Callable[..., None], seen: tuple[str, ...], *, primary: bool) -> None:
    st.button(label, key=key, type="primary" if primary else "secondary", on_click=work, args=seen)


def _choose_source(invented: bool, job: str, *, primary: bool) -> None:
    from balancer.live.ports import ports  # noqa: PLC0415 - pyserial, needed here only

    if invented:
        show.sentence("The bench turns an invented part now. Stop it to use your own board.")
        _button("Stop the bench", "stop_bench", live_clicks.stop_bench, (job,), primary=primary)
        return
    found = port_choices(ports())
    if found:
        st.selectbox("Board", list(found), format_func=found.__getitem__, key="job_source")
    else:
        show.sentence("No board is plugged in: try another cable, since some carry power only.")
    label = "Start" if found else "Look again"
    _button(label, "start_source", live_clicks.start_source, ("job_source",), primary=primary)
    show.small("Boards on the network and recordings played back are started on the page Live.")


@st.fragment(run_every=_TICK)
def _now(job: str, seen: str, what: What, shown: tuple[capture.Stage, bool]) -> None:
    """Keep the large words up to date; show the page anew when there is something else to click."""
    try:
        kept, view = state.folder().get(job), live_clicks.bench().view()
    except BalancerError:  # it was removed in another tab, or its file is damaged: the page says so
        st.rerun()
    if kept.digest != seen or (capture.stage(view, job), capture.may_do_without_mark(view, kept)) != shown:
        st.rerun()
    words = capture.readout(view, job, at_rest=what == "rest")
    show.drawing(readout_picture((words.speed, words.state), share=words.share, good=words.good))
    warning = "" if what == "rest" else capture.speed_warning(view, kept.worked.facts.known_speed)
    if warning:
        show.caution(warning)
    show.small(capture.beside(view, job, at_rest=what == "rest"))

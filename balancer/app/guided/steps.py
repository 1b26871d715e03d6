"""What a person does at a step: one primary button, and the few ways beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import Literal

import streamlit as st

from balancer.app import show
from balancer.app.guided import boxes, changes, link_show, live_clicks, live_run, on_rotor, state, words
from balancer.app.guided.keeping import Kept
from balancer.app.guided.on_rotor import WHATS, TypedPiece, What, default_where, pieces_to_say, places_for
from balancer.app.plain import plain
from balancer.app.state import direction, vibration
from balancer.core.pieces import Piece
from balancer.procedure.job import Job
from balancer.wording import CAUTIONS, FITTING_CAUTION
from balancer.wording.job import SPINNING_CAUTION

_LEAD = {"lag": "later than the mark (a lag)", "lead": "before the mark (a lead)"}
_SOURCES = {"recording": "A recording", "typed": "A typed reading", "bench": "The bench, live"}


def actions(kept: Kept) -> None:
    """Show what can be done now."""
    _ACTIONS[kept.step.action](kept)


def _button(label: str, key: str, kept: Kept, work: Callable[[Kept], Job], *, primary: bool = True) -> None:
    st.button(
        label,
        key=key,
        type="primary" if primary else "secondary",
        on_click=state.do,
        args=(kept.id, kept.digest, work),
    )


def _acknowledge(kept: Kept) -> None:
    show.points(CAUTIONS)
    _button("I have read them", "acknowledge", kept, changes.acknowledged)


def _bell(kept: Kept) -> None:
    with st.container(horizontal=True):
        _button("The bell is balanced", "bell", kept, partial(changes.bell_said, below="balanced"))
        accept = partial(changes.bell_said, below="accepted")
        _button("Go on without", "accept", kept, accept, primary=False)


def _check(kept: Kept) -> None:
    key = f"rest_{kept.digest}"
    if kept.simulated is None:
        source = show.choice("The recording comes from", _rest_sources(), "rest_source")
        if source == "bench":
            live_run.panel(kept, "rest")
            _button("Skip this check", "skip", kept, changes.check_skipped, primary=False)
            return
        boxes.recording_box("Recording of the sensor alone at rest", key)
    with st.container(horizontal=True):
        if kept.simulated is not None:
            _button("Record it at rest", "check", kept, changes.checked)
        else:
            seen = (kept.id, kept.digest, key)
            st.button("Check it", key="check", type="primary", on_click=state.check_upload, args=seen)
        _button("Skip this check", "skip", kept, changes.check_skipped, primary=False)


def _rest_sources() -> Mapping[str, str]:
    view = live_clicks.bench().view()
    first = "bench" if view.busy and not view.simulated else "recording"
    return {first: _SOURCES[first], "recording": _SOURCES["recording"], "bench": _SOURCES["bench"]}


def _fit(kept: Kept) -> None:
    step = kept.step
    short = words.short_lines(step, direction())
    groups = words.fit_groups(step, direction())
    for number, (head, lines) in enumerate(groups):
        boxes.group(head, short.get(head, ()), lines, key=f"group_{number}")
    label = "Fitted" if step.put_on else "Taken off"
    show.caution(FITTING_CAUTION)
    _button(label, "fit", kept, changes.fitted_as_advised)
    with st.container(key="group_all", gap="xsmall"):
        for head, lines in groups:
            if head in short:
                show.points([f"{head}: {line}" for line in lines])
    for note in words.fit_notes(step, kept.job, direction()):
        show.small(note)
    link_show.carried(kept)
    for number, other in enumerate((one for one in step.placements[1:] if one.total), 1):
        with st.expander(plain(words.alternative_title(other))):
            show.points(words.alternative_lines(other, direction()))
            seen = (kept.id, kept.digest, other)
            st.button("Fitted so", key=f"fit_{number}", on_click=state.fit_other, args=seen)


def _spin(kept: Kept) -> None:
    show.caution(SPINNING_CAUTION)
    add_run(kept)


def add_run(kept: Kept, *, primary: bool = True) -> None:
    """Make or hand in a run with what is on now."""
    kind: Literal["primary", "secondary"] = "primary" if primary else "secondary"
    if kept.simulated is not None:
        _spin_simulated(kept, primary=primary)
        return
    run = len(kept.job.runs) + 1
    source = show.choice("The run comes from", _own_sources(kept.job), f"source_{run}")
    if source == "bench":
        live_run.panel(kept, primary=primary)
        return
    if source == "recording":
        key = f"file_{run}_{kept.digest}"
        boxes.recording_box(f"Recording of run {run}", key)
        seen: tuple[str | int, ...] = (kept.id, kept.digest, key)
        st.button("Add this run", key="add", type=kind, on_click=state.add_upload, args=seen)
        return
    amplitude, phase = st.columns(2)
    unit = vibration()
    with amplitude:
        key = state.amplitude_key(run, unit)
        st.text_input(f"Amplitude at 1x ({unit.word}, peak)", key=key, max_chars=20)
    with phase:
        st.text_input("Phase (°), empty if there is none", key=f"phase_{run}", max_chars=20)
    show.choice("The phase counts", _LEAD, "lead")
    # in the unit that stood at the box when it was typed
    typed = (kept.id, kept.digest, run, unit)
    st.button("Add this run", key="add", type=kind, on_click=state.add_reading, args=typed)
    show.small(
        "The last digit tells how sure a reading is: type 7.0, not 7, if it was read so. Another unit does "
        f"too if all runs have it: it is shown as if it were {unit.word}, and the trial's size is a guess."
    )


def _spin_simulated(kept: Kept, *, primary: bool) -> None:
    """Let the part turn: at once, or as a real one does, with a speed to wait for."""
    if live_run.on_simulated_bench(kept):
        return
    with st.container(horizontal=True):
        _button("Spin" if primary else "Spin once more", "spin", kept, changes.spun, primary=primary)
        seen = (kept.id, kept.digest)
        st.button("Spin it live", key="spin_live", on_click=live_clicks.spin_live, args=seen)


def _own_sources(job: Job) -> Mapping[str, str]:
    """Offer first the bench while it turns, else what the last run came from."""
    view = live_clicks.bench().view()
    first = "recording"
    if view.busy and not view.simulated:
        first = "bench"
    elif job.runs and job.runs[-1].source == "typed":
        first = "typed"
    return {first: _SOURCES[first], **_SOURCES}


def _set_aside(kept: Kept) -> None:
    key = f"proposed_reason_{kept.digest}"
    st.text_input("Why", words.reason_to_set_aside(kept.step), max_chars=80, key=key)
    numbers = kept.step.runs
    st.button(
        plain(f"Set aside run {', '.join(map(str, numbers))}"),
        key="set_aside",
        type="primary",
        on_click=state.set_aside,
        args=(kept.id, kept.digest, numbers, key),
    )


def _end(kept: Kept) -> None:
    if kept.job.fitted:
        st.markdown("**On the part**")
        show.points(words.piece_lines(kept.job.fitted, direction()))
    label = "Take another part" if kept.simulated is not None else "Begin another job"
    st.button(label, type="primary", key="another", on_click=state.another)


_ACTIONS: Mapping[str, Callable[[Kept], None]] = MappingProxyType(
    {
        "acknowledge": _acknowledge,
        "balance-bell": _bell,
        "check-sensor": _check,
        "fit": _fit,
        "spin": _spin,
        "set-aside": _set_aside,
        "done": _end,
        "stop": _end,
    }
)


def really_on(kept: Kept) -> None:
    """Let the person say what is on instead of what was advised, such as another length of tape."""
    # of this state of the job: it is closed once something was said
    show.box("Something else is on", f"else_{kept.digest}", partial(_rows, kept))


def _rows(kept: Kept) -> None:
    advised = pieces_to_say(kept)
    show.sentence("Change the rows to what is really on, all of it. A size of 0 is a piece that is not on.")
    rows = min(max(len(advised), 1) + state.more_rows(kept.digest), state.MOST_PIECES)
    for number in range(rows):
        _row(kept, number, advised[number] if number < len(advised) else None)
    with st.container(horizontal=True):
        seen = (kept.id, kept.digest)
        st.button("This is on", key="fit_typed", on_click=state.fit_typed, args=seen)
        if rows < state.MOST_PIECES:
            st.button("One more row", key="more_rows", on_click=state.ask_for_row, args=(kept.digest,))
        bare = partial(changes.fitted_as_typed, pieces=())
        _button("Nothing is on", "bare", kept, bare, primary=False)


@st.fragment
def _row(kept: Kept, number: int, piece: Piece | None) -> None:
    """Ask for a piece; another kind or place of it shows other boxes, and leaves the page alone."""
    places, seen = kept.job.part.places, kept.digest
    usual = None if piece is None else TypedPiece.of_piece(piece, places, direction())
    whats: list[What] = list(WHATS) if kept.job.stock.tape else [what for what in WHATS if what != "tape"]
    columns = iter(st.columns(5))
    with next(columns):
        what = st.selectbox(
            f"Piece {number + 1}",
            whats,
            index=whats.index(usual.what) if usual is not None else 0,
            format_func=WHATS.__getitem__,
            key=state.piece_key("what", seen, number),
            persist_state="page",
        )
    names = [place.name for place in places_for(what, places)]
    with next(columns):
        st.selectbox(
            f"Where {number + 1}",
            names,
            index=names.index(default_where(what, usual, places)) if names else None,
            key=state.piece_key(f"where_{what}", seen, number),
            persist_state="page",
        )
    asked = state.typed_piece(seen, number).place(places)
    for box in on_rotor.boxes(what, asked, usual, direction()):
        with next(columns):
            key = state.piece_key(box.key, seen, number)
            st.number_input(
                f"{box.label} {number + 1} ({box.unit})",
                box.least,
                box.most,
                box.value,
                box.step,
                box.form,
                key=key,
                placeholder=box.hint or None,
                persist_state="page",
            )

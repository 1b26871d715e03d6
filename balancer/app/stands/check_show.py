"""The checks on the page of stands: of the sensor at rest, of runs that should repeat, of resonances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import streamlit as st

from balancer.app import services, show
from balancer.app import state as common
from balancer.app.plain import Refusal, plain
from balancer.app.recordings import ask
from balancer.app.recordings.service import FILE_MB, Upload, digest_of
from balancer.app.stands import bench_check, state, words, work
from balancer.app.stands.items import MOODS, Item, worst
from balancer.app.stands.sensor_check import verdict
from balancer.app.stands.show import item, table
from balancer.app.stands.work import Check, Given, Outcome
from balancer.app.units_shown import Vibration
from balancer.app.waiting import when_done
from balancer.history import stand_story
from balancer.wording import significant
from balancer.wording.job import SPINNING_CAUTION
from balancer.wording.run_up import SWEEP_CAUTIONS

_SOURCES = {"files": "My files", "bench": "The bench", "example": "Example"}
_ASK: Mapping[Check, str] = MappingProxyType(
    {
        "rest": "A recording of some seconds with nothing running",
        "repeat": "Two or more recordings of the same rotor, nothing touched between them",
        "resonance": "A run-up or coast-down with marks, or taps with nothing turning",
    }
)
_RECORD: Mapping[Check, str] = MappingProxyType(
    {"rest": "Record 5 s at rest", "repeat": "Record one more run"}
)


def sensor() -> None:
    """Show the check of the sensor at rest."""
    st.header("Sensor check", anchor=False)
    show.sentence(
        "Lay everything still, motor unplugged, sensor where it always sits, and record some seconds. That "
        "shows its noise, its scale against gravity, and whether samples come as they should."
    )
    _check("rest", None)


def bench(stands: tuple[stand_story.Listed, ...]) -> None:
    """Show the checks of the stand itself."""
    st.header("Bench check", anchor=False)
    above = st.container()
    show.sentence(
        "Three questions to a stand before its answers are believed. What is not checked here: whether the "
        "axes point where they should, and whether the stand itself bends."
    )
    st.subheader("Do runs repeat?", anchor=False)
    show.sentence(
        "Run the same rotor two or three times without touching anything: what differs is the least that "
        "can be balanced here. Taken off and clamped anew between runs, it shows what your hands add."
    )
    repeat = _check("repeat", None)
    st.subheader("Is a resonance near the speed?", anchor=False)
    st.number_input(
        "Speed to balance at (rpm)",
        100.0,
        60000.0,
        None,
        100.0,
        "%.0f",
        key=state.RPM,
        persist_state="session",
        placeholder="not said",
        width=320,
    )
    with st.popover("Cautions for a run-up", key="stands_cautions"):
        show.points(SWEEP_CAUTIONS)
    resonance = _check("resonance", common.get(state.RPM))
    st.subheader("Does the effect grow with the mass?", anchor=False)
    mass = _proportion(stands)
    told = (("Runs repeat", repeat), ("Resonances", resonance), ("Proportion", mass))
    moods = ((name, MOODS[worst(found)] if found else "not checked yet") for name, found in told)
    above.markdown("\n".join(f"- {name}: **{plain(mood)}**" for name, mood in moods))


def _check(check: Check, rpm: float | None) -> tuple[Item, ...]:
    """Make one check and show what it came to; gives nothing while there is nothing."""
    given = _given(check)
    if given is None:
        return ()
    unit = common.vibration()
    # words about resonances name no acceleration: another unit is no reason to fit them anew
    what = (check, given.key, rpm, None if check == "resonance" else unit)
    found: Outcome | Refusal | None = when_done(
        what, lambda: work.outcome(check, given, rpm, unit), "The check is made.", slow=True
    )
    if found is None:
        return ()
    if isinstance(found, Refusal):
        st.error(plain(found.text))
        return ()
    _outcome(found)
    return found.items


def _outcome(found: Outcome) -> None:
    if found.axes:
        good = worst(found.items) in ("good", "untold")
        (st.success if good else st.warning)(plain(verdict(found.items)))
        unit = common.vibration()
        rows = [("Axis", f"Mean, {unit.word}", "Noise floor, µg/√Hz", f"Largest, {unit.word}")]
        rows += [
            (axis.name, _size(axis.offset, unit), significant(axis.floor_ug, 2), _size(axis.highest, unit))
            for axis in found.axes
        ]
        table(rows)
    for one in found.items:
        item(one)
    picture = found.picture(common.vibration())
    if picture:
        show.drawing(picture)


def _size(value: float, unit: Vibration) -> str:
    """Write what may be near 0 with as many decimals as gravity needs."""
    return f"{unit.factor * value:.2f}" if unit.factor == 1.0 else f"{unit.factor * value:.3f}"


def _given(check: Check) -> Given | None:
    """Let the person say what is to be checked."""
    source = show.choice("From", _SOURCES, f"{state.SOURCE}_{check}", quiet=True)
    if source == "example":
        show.small("Made on the simulated bench with an invented build: nothing turned for it.")
        return work.of_example(check)
    if source == "bench":
        return _from_bench(check)
    files = st.file_uploader(
        _ASK[check],
        accept_multiple_files=check == "repeat",
        max_upload_size=FILE_MB,
        key=f"stands_files_{check}",
    )
    several = files if isinstance(files, list) else [files] if files else []
    if check == "repeat" and len(several) == 1:
        show.small("One more recording is needed: drop a second file beside the first.")
        return None
    return _understood(check, [Upload(file.name, file.getvalue()) for file in several])


def _understood(check: Check, files: Sequence[Upload]) -> Given | None:
    """Read files, asking what they leave open."""
    read = [ask.read(digest_of(file), file, None, prefix=f"stands_{check}") for file in files]
    recordings = []
    for _, reading in read:
        if isinstance(reading.outcome, Refusal):
            (st.info if reading.questions else st.error)(plain(reading.outcome.text))
            return None
        recordings.append(reading.outcome)
    return Given(" ".join(key for key, _ in read), lambda: recordings) if read else None


def _from_bench(check: Check) -> Given | None:
    """Use the source that is running, or a recording that it has left."""
    source = services.bench(common.home())
    if check in _RECORD and source.view().busy:
        return _captured(check)
    if check in _RECORD:
        show.small("No source is running: start one on the page Live, or take a recording of the bench.")
    kept = source.recordings()
    if not kept:
        show.sentence("The bench has kept no recording yet.")
        return None
    names = {file.path: f"{file.started:%Y-%m-%d %H:%M}, {file.name}" for file in kept}
    if check != "repeat":
        chosen = st.selectbox(
            "Recording of the bench", list(names), format_func=names.__getitem__, key=f"stands_kept_{check}"
        )
        return work.of_paths([chosen])
    several = st.multiselect(
        "Recordings of the bench, two or more",
        list(names),
        format_func=names.__getitem__,
        key=f"stands_kept_{check}",
    )
    return work.of_paths(several) if len(several) > 1 else None


def _captured(check: Check) -> Given | None:
    kept = state.captured(check)
    if check == "repeat":
        show.caution(SPINNING_CAUTION)
    _recorder(check, len(kept))
    if kept:
        with st.container(horizontal=True, vertical_alignment="center"):
            show.small(f"Recorded so far: {len(kept)}.")
            st.button("Begin anew", key=f"stands_anew_{check}", on_click=state.forget_captures, args=(check,))
    if check == "rest":
        return work.of_pieces(kept[-1:]) if kept else None
    return work.of_pieces(kept) if len(kept) > 1 else None


@st.fragment(run_every=1.0)
def _recorder(check: Check, known: int) -> None:
    """Record from the running source; the page comes back when a piece is there."""
    view = services.bench(common.home()).view()
    wish = view.capture
    mine = wish is not None and wish.wish.owner == state.wish_of(check).owner
    if len(state.captured(check)) != known:
        st.rerun()
    if wish is not None and mine and wish.pending:
        doing = "Waiting until it is steady." if wish.state == "waiting" else "Recording."
        st.progress(wish.share, f"{doing} {plain(wish.trouble)}".strip())
        st.button("Stop waiting", key=f"stands_drop_{check}", on_click=state.drop_capture)
        return
    if wish is not None and mine and wish.state == "failed":
        st.error(plain(wish.trouble))
    st.button(
        _RECORD[check], key=f"stands_record_{check}", type="primary", on_click=state.capture, args=(check,)
    )


def _proportion(stands: tuple[stand_story.Listed, ...]) -> tuple[Item, ...]:
    show.sentence("This is told by jobs in the history with masses of different size on the same rotor.")
    shown: list[Item] = []
    for one in stands:
        told = [
            bench_check.proportion(words.job_text(job), found)
            for job, found in stand_story.proportions(state.store(), one.stand.id)
        ]
        st.markdown(f"**{plain(one.stand.name)}**")
        for outcome in told:
            item(outcome)
        if not told:
            show.small("No job tells it: a trial mass and a correction of another size do.")
        shown += told
    if not stands:
        show.small("There is no stand in the history yet.")
    return tuple(shown)

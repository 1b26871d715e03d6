"""A run of the job from the bench as it turns: recorded by itself once the speed is steady.

What was recorded is added in the bench's own thread, so it is in the job even if every page was closed.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from balancer.app.guided import back, changes
from balancer.app.guided.changes import Upload
from balancer.app.guided.keeping import JobFolder, Kept
from balancer.app.guided.run_files import RunFile
from balancer.app.live.sources import simulated_source
from balancer.errors import InputError
from balancer.procedure.facts import off_speed
from balancer.procedure.job import Job
from balancer.units import rpm_from_rad_s
from balancer.wording import capital

if TYPE_CHECKING:  # the first page need not wait for what only a turning bench needs
    from balancer.app.bench import Bench, BenchView, Capture, Wish

Stage = Literal["idle", "turning", "lost", "waiting", "taken"]
"""What a page offers: idle: nothing turns; turning: a run can be recorded; waiting: one is being recorded;
taken: the bench records for somebody else."""

USUAL_HOLD = 3.0  # s for which a speed must be steady, unless a wish says otherwise
_REST = 4.0  # s of the sensor at rest
_REST_HOLD = 0.5  # s for which its noise must have kept its level
_AT_REST = "sensor at rest"
_SILENT = 3600.0  # s of age that are no age any more
_TURN = threading.Lock()  # looking at the bench and acting on what was seen: one tab after the other


def pending(view: BenchView) -> Capture | None:
    """Give what the bench is recording or about to record for somebody; None when it is free."""
    capture = view.capture
    return capture if capture is not None and capture.pending else None


def stage(view: BenchView, job: str) -> Stage:
    """Say what a job can do with the bench now."""
    busy = pending(view)
    if busy is not None:
        return "waiting" if busy.wish.owner == job else "taken"
    if view.state == "lost":
        return "lost"
    return "turning" if view.busy else "idle"


def failure(view: BenchView, kept: Kept) -> str:
    """Say why what was recorded last for this step is not in the job; empty where nothing failed."""
    capture = view.capture
    if capture is None or capture.state != "failed" or capture.wish.owner != kept.id:
        return ""
    # one from before the runs that are there by now is no news
    return capture.trouble if capture.wish.label in (_label(kept), _AT_REST) else ""


def spin_live(bench: Bench, folder: JobFolder, kept: Kept) -> None:
    """Turn the part on the simulated bench with what is on it now, and record a run when it is steady.

    Raises
    ------
    InputError
        If a real source is in use, or something else is being recorded.
    """
    if kept.simulated is None:
        raise InputError("this part is not on the simulated bench", todo="record from your own source")
    part = kept.simulated
    with _TURN:
        view = bench.view()
        _free(view, kept.id)
        if view.busy and not view.simulated:
            raise InputError(f"the bench is in use by {view.source}", todo="stop it first")
        if view.busy:  # begun anew: only so is it sure which masses it turns with
            bench.stop()
        bench.start(simulated_source(part.kind, part.number), masses=kept.job.masses)
        # the rotor has to stand for what comes next; it cannot be stopped from within the bench's own thread
        rest = threading.Thread(target=_let_rest, args=(bench, bench.view().started), daemon=True).start
        _capture(bench, folder, kept, _wish(kept), changes.captured, rest)


def _let_rest(bench: Bench, started: datetime | None) -> None:
    """Stop the bench, unless somebody has started it anew."""
    with _TURN:
        if bench.view().started == started:
            bench.stop()


def record(bench: Bench, folder: JobFolder, kept: Kept, *, marks: bool = True) -> None:
    """Record a run from the source in use, when the speed is steady.

    Without marks the bench cannot see that the rotor turns: it then waits for a steady vibration, and the
    person has to have brought the rotor up to speed.

    Raises
    ------
    InputError
        If nothing is in use, it is no source for this job, or something else is being recorded.
    """
    with _TURN:
        _own_source(bench.view(), kept)
        _capture(bench, folder, kept, _wish(kept, marks=marks), changes.captured)


def record_at_rest(bench: Bench, folder: JobFolder, kept: Kept) -> None:
    """Record the sensor alone from the source in use, and check it; refuses as `record` does."""
    wish = _new_wish(kept.id, _AT_REST, hold=_REST_HOLD, marks=False, seconds=_REST)
    with _TURN:
        _own_source(bench.view(), kept)
        _capture(bench, folder, kept, wish, changes.checked)


def drop(bench: Bench, job: str) -> None:
    """Give up what is being recorded for a job; for another one's an `InputError`."""
    with _TURN:
        _free(bench.view(), job)
        bench.drop_capture()


def stop(bench: Bench, job: str) -> None:
    """Let the bench rest, unless it records for somebody else."""
    with _TURN:
        _free(bench.view(), job)
        bench.stop()


def speed_warning(view: BenchView, wanted: float | None) -> str:
    """Say that the rotor turns at another speed than the runs of the job; empty when it does not.

    Parameters
    ----------
    view : BenchView
        How the bench stands.
    wanted : float or None
        Speed of the job in rad/s; None where any will do.
    """
    if wanted is None or view.now is None or not off_speed(view.now.speed, wanted):
        return ""
    way = "slower" if view.now.speed > wanted else "faster"
    return (
        f"The runs of this job are at {rpm_from_rad_s(wanted):.0f} rpm: turn {way}. "
        "A run at another speed is not added."
    )


@dataclass(frozen=True)
class Readout:
    """What is read from two metres away.

    Parameters
    ----------
    speed : str
        Speed with its unit, or why there is none.
    state : str
        Steady or not and for how long, or how much is recorded.
    share : float or None
        Of what is to be recorded; None when nothing is.
    good : bool
        Whether all is as it should be.
    """

    speed: str
    state: str
    share: float | None = None
    good: bool = False


def readout(view: BenchView, job: str, *, at_rest: bool = False) -> Readout:
    """Say in a few large words how the rotor turns and how far the recording is.

    Parameters
    ----------
    view : BenchView
        How the bench stands.
    job : str
        For whom it is said.
    at_rest : bool
        Whether the sensor alone is recorded, nothing turning.
    """
    capture = pending(view)
    mine = capture if capture is not None and capture.wish.owner == job else None
    hold = USUAL_HOLD if mine is None else mine.wish.hold
    speed = _speed(view, at_rest=at_rest)
    if mine is not None and mine.state == "recording":
        return Readout(speed, f"{100 * mine.share:.0f} % recorded", mine.share, good=True)
    if view.state == "starting":
        return Readout("starting", "wait")
    if view.now is None:
        return Readout(speed, "waiting" if mine else "", 0.0 if mine else None, good=at_rest)
    if not view.steady:
        held = f"steady {math.floor(view.still_for)} of {hold:.0f} s" if view.still_for >= 1 else "not steady"
        return Readout(speed, held, 0.0 if mine else None)
    return Readout(speed, f"steady {view.still_for:.0f} s", 0.0 if mine else None, good=True)


def _speed(view: BenchView, *, at_rest: bool) -> str:
    if view.now is not None:
        return f"{rpm_from_rad_s(view.now.speed):.0f} rpm"
    if at_rest:
        return "at rest"
    return "no mark seen" if view.marks == 0 else "stands still"


def beside(view: BenchView, job: str, *, at_rest: bool = False) -> str:
    """Say in small words what stands beside the large ones: what is waited for, and how old it is."""
    capture = pending(view)
    waits = ""
    if capture is not None and capture.wish.owner == job:
        begins = "" if capture.state == "recording" else "It records by itself once the speed is steady. "
        waits = capture.trouble or f"{begins}This page may be closed meanwhile."
    elif view.marks == 0 and view.samples and not at_rest:
        waits = (
            "Without a mark only the size of the shaking is measured, not its angle, and nothing here shows "
            "whether the rotor turns: bring it up to speed first."
        )
    lost = f" {view.lost} samples were lost." if view.lost else ""
    age = f"heard {view.age:.1f} s ago." if view.age < _SILENT else "nothing heard yet."
    source = f"From {view.source}: " if view.source and not view.simulated else ""
    heard = f"{source}{age}"
    return f"{waits} {capital(heard)}{lost}".strip()


def _wish(kept: Kept, *, marks: bool = True) -> Wish:
    return _new_wish(kept.id, _label(kept), marks=marks and kept.worked.facts.with_phase)


def may_do_without_mark(view: BenchView, kept: Kept) -> bool:
    """Say whether a run without a mark is to be offered: before the first run, while none is seen."""
    return not kept.worked.facts.counted and view.samples > 0 and view.marks == 0


def _label(kept: Kept) -> str:
    return f"run {len(kept.job.runs) + 1}"


def _new_wish(*what: str, **how: float) -> Wish:
    from balancer.app.bench import Wish  # noqa: PLC0415 - see above

    return Wish(*what, **how)  # type: ignore[arg-type]


def _capture(
    bench: Bench,
    folder: JobFolder,
    seen: Kept,
    wish: Wish,
    work: Callable[[Kept, Upload], Job],
    after: Callable[[], object] = lambda: None,
) -> None:
    """Let the bench record, and add to the job what it gives, in its own thread.

    What then goes wrong is told by the bench, and the recording stays with it: also when the job was changed
    meanwhile, for then it is not known what was on the rotor.
    """

    def add(_: str, data: bytes) -> None:
        name = f"live {wish.label}.stream"
        try:
            upload = Upload.of(name, data)
            file = RunFile(name, data)
            back.change(folder, seen.id, seen.digest, lambda kept: work(kept, upload), recording=file)
        finally:
            after()

    bench.capture(wish, add)


def _free(view: BenchView, job: str) -> None:
    busy = pending(view)
    if busy is not None and busy.wish.owner != job:
        raise InputError(
            f"the bench is recording {busy.wish.label} of another job",
            todo="wait until it is done, or cancel it there",
        )


def _own_source(view: BenchView, kept: Kept) -> None:
    _free(view, kept.id)
    if not view.busy:
        raise InputError("nothing is connected", todo="start the source and press again")
    if view.simulated:
        raise InputError(
            "the bench turns an invented part, not this one", todo="stop it and start your own source"
        )

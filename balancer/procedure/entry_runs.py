"""From a run as a file states it to a run for solving: its recording measured, or its reading taken."""

from __future__ import annotations

from collections.abc import Callable

from balancer.core.runs import Run
from balancer.errors import BalancerError
from balancer.findings import Finding
from balancer.procedure.measure import Measurement, measure, run_of
from balancer.procedure.toml_text import RunEntry
from balancer.recording.files import read
from balancer.recording.hints import NOTHING, Hints

SAME_SPEED = 0.02
"""Share by which runs may differ in speed before it is said."""


def run_of_entry(
    entry: RunEntry,
    *,
    file: str,
    speed: float | None = None,
    hints: Hints = NOTHING,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Run, list[Finding]]:
    """Make a run of an entry.

    Parameters
    ----------
    entry : RunEntry
        As the file states it.
    file : str
        Name of that file, for messages.
    speed : float, optional
        In rad/s, as the file states it.
    hints : Hints, optional
        What the recordings do not say themselves.
    progress : callable, optional
        Is told the name of the recording before it is read.

    Returns
    -------
    run : Run
        With phase if the recording had marks.
    findings : list of Finding
        What was noticed, with the name of the recording.

    Raises
    ------
    InputError
        With file and line, if the recording cannot be used.
    """
    if entry.recording is None:
        assert entry.reading is not None
        noticed = [Finding.of("reading_uncertainty_assumed", "info")] if entry.assumed_sd else []
        return Run((entry.reading,), entry.masses, entry.purpose, speed), noticed
    progress(entry.recording.name)
    try:
        measured = measure(read(entry.recording, hints, entry.marks), near=speed)
    except BalancerError as error:
        raise type(error)(str(error).removesuffix("."), file=file, line=entry.line) from None
    noticed = [*measured.findings, *_announced(measured, speed)]
    about = [finding.about(entry.recording.name) for finding in noticed]
    return run_of(measured, entry.masses, entry.purpose), about


def _announced(measured: Measurement, speed: float | None) -> list[Finding]:
    """Compare the measured speed with the one that the file states."""
    off = 0.0 if speed is None else abs(measured.speed - speed) / speed
    return [Finding.of("speed_not_as_stated", "warning", off_percent=100 * off)] if off > SAME_SPEED else []

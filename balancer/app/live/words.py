"""What the page says of the bench: how it stands, what was noticed, where the recording is."""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from balancer.app.live.sources import size_text, source_text
from balancer.app.plain import Headline

if TYPE_CHECKING:
    from balancer.app.bench import BenchView

SILENT = 2.0
"""Seconds without samples after which there is no data."""

_A_MOMENT = 3.0  # s until marks must have come
_A_WHILE = 8.0  # s until samples must have come: a board repeats its header every 5 s
_TOLERATED = (
    0.002  # of the samples: fewer lost ones change nothing that is measured (common practice, no source)
)

Severity = Literal["error", "warning", "info"]

_STATES = {
    "off": "no source yet",
    "starting": "being started",
    "running": "running",
    "lost": "lost",
    "stopped": "stopped",
}


def state_text(view: BenchView) -> str:
    """Say which source it is and how it stands."""
    if view.state == "off":
        return "No source is started yet."
    about = f" The board says: {view.hello}." if view.hello else ""
    return f"{source_text(view.source)}: {_STATES[view.state]}.{about}"


def figures(view: BenchView) -> tuple[Headline, ...]:
    """Give the numbers of the stream."""
    return (
        Headline("Length (s)", f"{view.seconds:.0f}", "What has come, on the board's clock."),
        Headline("Samples", f"{view.samples:,}", "Of each axis, in the recording."),
        Headline("Lost", f"{view.lost:,}", "Samples known to be missing."),
        Headline("Gaps", f"{view.gaps:,}", "Places where samples are missing."),
        Headline("Rate (Hz)", f"{view.rate:.1f}" if view.rate else "–", "Samples a second, measured."),
        Headline("Age (s)", age_text(view), "Since samples last came."),
    )


def age_text(view: BenchView) -> str:
    """Write how old the newest sample is."""
    if not math.isfinite(view.age):
        return "–"
    return f"{view.age:.1f}" if view.age < SILENT else f"no data, {view.age:.0f}"


def noticed(view: BenchView) -> list[tuple[Severity, str]]:
    """Say what stands out, the serious first."""
    found: list[tuple[Severity, str]] = []
    if view.trouble and view.state not in ("off", "lost"):
        found.append(("warning", view.trouble))
    if view.state == "running" and math.isfinite(view.age) and view.age >= SILENT:
        text = f"Nothing has come for {view.age:.0f} s: is the board running, and is its cable in?"
        found.append(("warning", text))
    if view.state == "running" and not view.samples and _running_for(view) > _A_WHILE:
        text = (
            "Nothing that can be read has come yet: is it the right port, and does the board send its "
            "header? Stop, unplug the board, plug it in and start again."
        )
        found.append(("warning", text))
    if view.lost > _TOLERATED * view.samples:
        found.append(
            (
                "warning",
                f"{view.lost:,} samples are missing in {view.gaps:,} gaps: use another cable or port, or a "
                "lower sample rate, if this goes on.",
            )
        )
    if view.state == "running" and not view.marks and view.seconds > _A_MOMENT:
        found.append(
            (
                "info",
                "No marks come, so speed, 1x and orders are unknown: the spectrum goes by frequency. See "
                "that the pick-up looks at the mark while the rotor turns.",
            )
        )
    return found


def _running_for(view: BenchView) -> float:
    """Give for how many seconds of this computer's clock it has been in use; 0 while that is not known."""
    return 0.0 if view.started is None else (datetime.now().astimezone() - view.started).total_seconds()


def kept_text(name: str, seconds: float, size: int) -> str:
    """Say where the recording is that was made last."""
    return f"The recording is kept: {name}, {seconds:.0f} s, {size_text(size)}."


def standing(view: BenchView) -> str:
    """Give what decides which buttons the page has: it runs anew when this changes."""
    return f"{view.state} {view.file} {view.hello and 1}"

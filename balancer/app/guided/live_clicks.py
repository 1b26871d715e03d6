"""What clicks do with the bench as it turns: start it, let it record for a job, stop it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from balancer.app import services
from balancer.app.guided import capture, state
from balancer.app.guided.keeping import Kept
from balancer.app.state import get, home, told

if TYPE_CHECKING:
    from balancer.app.bench import Bench


def bench() -> Bench:
    """Give the bench, the same for all tabs."""
    return services.bench(home())


@told
def spin_live(id: str, seen: str) -> None:
    """Turn the part on the simulated bench, and record a run when it is steady."""
    capture.spin_live(bench(), state.folder(), _as_seen(id, seen))


@told
def record_live(id: str, seen: str) -> None:
    """Record a run from the source in use when it is steady."""
    capture.record(bench(), state.folder(), _as_seen(id, seen))


@told
def record_unmarked(id: str, seen: str) -> None:
    """Record a run without a mark when the vibration is steady."""
    capture.record(bench(), state.folder(), _as_seen(id, seen), marks=False)


@told
def record_at_rest(id: str, seen: str) -> None:
    """Record the sensor at rest from the source in use, and check it."""
    capture.record_at_rest(bench(), state.folder(), _as_seen(id, seen))


@told
def drop_capture(id: str) -> None:
    """Give up the recording that was asked for."""
    capture.drop(bench(), id)


@told
def start_source(key: str) -> None:
    """Start the source that is chosen in a box; with none in it, the page looks again what is plugged in."""
    source = get(key)
    if source:
        bench().start(source)


@told
def stop_bench(id: str) -> None:
    """Let the bench rest."""
    capture.stop(bench(), id)


@told
def pick_up() -> None:
    """Take the source up again that was lost."""
    bench().pick_up()


def _as_seen(id: str, seen: str) -> Kept:
    found = state.folder().get(id)
    if found.digest != seen:
        raise services.MovedError
    return found

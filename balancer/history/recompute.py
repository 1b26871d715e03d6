"""The stored recordings measured again, and what comes out otherwise than it is kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from balancer.core.runs import Amplitude, Reading
from balancer.errors import BalancerError
from balancer.history.records.run import RecordingRef, RunRecord
from balancer.history.run_rows import run_values
from balancer.history.store import Store
from balancer.procedure.measure import measure, run_of
from balancer.recording.files import read_bytes
from balancer.recording.model import Recording

ROUNDING = 1e-9
"""Share of a reading by which it may differ: a computer with another processor rounds otherwise."""

_AT_ONCE = 200


@dataclass(frozen=True)
class Changed:
    """A reading that comes out otherwise.

    Parameters
    ----------
    channel : str
        Its name.
    kept, found : UncertainComplex or Amplitude
        As it is kept, and as it comes out now.
    """

    channel: str
    kept: Reading
    found: Reading

    @property
    def share(self) -> float:
        """By how much it differs, as a share of what is kept."""
        size = abs(self.kept.value)
        return self.distance / size if size else float(self.distance > 0)

    @property
    def distance(self) -> float:
        """By how much it differs, in its unit."""
        if isinstance(self.kept, Amplitude) or isinstance(self.found, Amplitude):
            return abs(abs(self.kept.value) - abs(self.found.value))
        return abs(self.kept.value - self.found.value)


@dataclass(frozen=True)
class Recomputed:
    """What measuring a run again came to.

    Parameters
    ----------
    run : RunRecord
        The run as it is kept.
    problem : BalancerError or None
        Why it could not be measured again.
    other_samples : bool
        Whether another recording is read from the same file now.
    changed : tuple of Changed
        The readings that differ beyond rounding.
    """

    run: RunRecord
    problem: BalancerError | None = None
    other_samples: bool = False
    changed: tuple[Changed, ...] = ()

    @property
    def same(self) -> bool:
        """Whether all came out as it is kept."""
        return self.problem is None and not self.other_samples and not self.changed


def recompute(store: Store, runs: Iterable[str] | None = None) -> Iterator[Recomputed]:
    """Measure stored recordings again; what is kept stays as it is.

    Parameters
    ----------
    store : Store
        The history.
    runs : iterable of str, optional
        Ids of the runs; all that have a recording by default.

    Yields
    ------
    Recomputed
        For each run with a recording, one after the other: it takes a while.
    """
    ids = _all(store) if runs is None else list(runs)
    for start in range(0, len(ids), _AT_ONCE):
        some = ids[start : start + _AT_ONCE]
        marks = ", ".join("?" * len(some))
        for run in run_values(store, store.rows(f"SELECT * FROM runs WHERE id IN ({marks})", some)):
            if run.recording is not None:
                yield _again(store, run, run.recording)


def _all(store: Store) -> list[str]:
    return [row["id"] for row in store.rows("SELECT id FROM runs WHERE file IS NOT NULL ORDER BY at, id")]


def _again(store: Store, run: RunRecord, kept: RecordingRef) -> Recomputed:
    try:
        recording = read_again(store, kept)
        found = run_of(measure(recording, near=kept.near), run.item.run.masses, run.item.run.purpose)
    except BalancerError as error:
        return Recomputed(run, error)
    names = [channel.name for channel in recording.channels]
    if names != [channel.name for channel in run.channels]:
        return Recomputed(run, other_samples=True)
    pairs = zip(names, run.item.run.readings, found.readings, strict=True)
    changed = tuple(Changed(*one) for one in pairs if _differs(one[1], one[2]))
    return Recomputed(run, None, recording.digest != kept.digest, changed)


def read_again(store: Store, kept: RecordingRef) -> Recording:
    """Read a stored recording in the same way as when it was measured."""
    marks = (kept.marks_name, store.files.read(kept.marks)) if kept.marks else None
    return read_bytes(store.files.read(kept.file), kept.name, kept.hints, marks)


def _numbers(reading: Reading) -> tuple[float, ...]:
    if isinstance(reading, Amplitude):
        return (reading.value, reading.sd)
    c = reading.covariance
    return (reading.value.real, reading.value.imag, c.re, c.im, c.cross)


def _differs(kept: Reading, found: Reading) -> bool:
    old, new = _numbers(kept), _numbers(found)
    if len(old) != len(new):
        return True
    if isinstance(kept, Amplitude):
        scales = [kept.value, kept.sd]
    else:
        scales = [kept.amplitude] * 2 + [kept.covariance.re + kept.covariance.im] * 3
    return any(abs(a - b) > ROUNDING * scale for a, b, scale in zip(old, new, scales, strict=True))

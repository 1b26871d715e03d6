"""The work behind the checks, done beside the page: files read, checked and put in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Literal

from balancer.app.guided.trainer import SimulatedPart
from balancer.app.plain import Refusal, in_page_words
from balancer.app.recordings.examples import RUN_UP, example_stream
from balancer.app.recordings.service import Upload, digest_of
from balancer.app.recordings.shown_unit import sweep_drawn
from balancer.app.stands.bench_check import repeatability, resonances
from balancer.app.stands.items import Item
from balancer.app.stands.sensor_check import AtRest, Axis, at_rest
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.errors import InputError
from balancer.procedure.run_up import RunUp
from balancer.recording.files import read_bytes
from balancer.recording.model import Recording
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller

Check = Literal["rest", "repeat", "resonance"]

_EXAMPLE_SPEEDS = (0.0, 0.002, -0.001)  # shares off the speed of the example
_RUN = 6.0  # s


@dataclass(frozen=True)
class Outcome:
    """What a check came to.

    Parameters
    ----------
    items : tuple of Item
        Each check.
    axes : tuple of Axis
        Figures of each axis, of a sensor at rest.
    sweep : RunUp or None
        For a picture of it.
    """

    items: tuple[Item, ...]
    axes: tuple[Axis, ...] = ()
    sweep: RunUp | None = None

    def picture(self, unit: Vibration = IN_M_S2) -> str:
        """Draw the sweep; empty when there is none."""
        return "" if self.sweep is None else sweep_drawn(self.sweep, unit)


@dataclass(frozen=True)
class Given:
    """What is to be checked.

    Parameters
    ----------
    key : str
        Tells it from everything else that may be checked.
    read : callable
        Gives the recordings, or raises `InputError`.
    """

    key: str
    read: Callable[[], Sequence[Recording]]


def of_pieces(files: Sequence[Upload]) -> Given:
    """Check what was cut out of the stream."""
    key = " ".join(map(digest_of, files))
    return Given(key, lambda: [read_bytes(file.data, file.name) for file in files])


def of_paths(paths: Sequence[Path]) -> Given:
    """Check recordings that the bench has kept."""
    key = " ".join(f"{path} {path.stat().st_size}" for path in paths if path.exists())
    return Given(key, lambda: [_from_disk(path) for path in paths])


def of_example(check: Check) -> Given:
    """Check what the simulated bench makes, so that a check can be seen with nothing plugged in."""
    return Given(f"example {check}", partial(_example, check))


def _from_disk(path: Path) -> Recording:
    try:
        return read_bytes(path.read_bytes(), path.name)
    except OSError:
        raise InputError(f"{path.name} is not there any more", todo="choose another one") from None


def _example(check: Check) -> Sequence[Recording]:
    if check == "resonance":
        name, data = example_stream(RUN_UP)
        return [read_bytes(data, name)]
    if check == "rest":
        return [SimulatedPart().at_rest()]
    bench = coastal_propeller(1)
    # hands on a throttle do not meet the same speed twice
    speeds = (COASTAL_SPEED * (1 + off) for off in _EXAMPLE_SPEEDS)
    made = [bench.record(speed=speed, duration=_RUN, seed=seed) for seed, speed in enumerate(speeds, 1)]
    return [replace(one, source=f"example, run {number}") for number, one in enumerate(made, 1)]


def outcome(
    check: Check, given: Given, rpm: float | None = None, unit: Vibration = IN_M_S2
) -> Outcome | Refusal:
    """Make a check; takes seconds.

    Parameters
    ----------
    check : {"rest", "repeat", "resonance"}
        Which one.
    given : Given
        What is checked.
    rpm : float, optional
        The speed to balance at, for resonances.
    unit : Vibration
        In which accelerations are told.

    Returns
    -------
    Outcome or Refusal
        What it came to, or why it cannot be made.
    """
    try:
        recordings = given.read()
        if check == "repeat":
            return Outcome(repeatability(recordings, unit))
        if check == "rest":
            found: AtRest = at_rest(recordings[0], unit)
            return Outcome(found.items, found.axes)
        items, sweep = resonances(recordings[0], rpm)
        return Outcome(items, sweep=sweep)
    except InputError as error:
        return Refusal(in_page_words(str(error)))

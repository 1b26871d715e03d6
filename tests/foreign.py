"""A signal of our own written in the dialects of phones, loggers and spreadsheets, their defects imitated."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from balancer.recording.hints import NOTHING, Hints

Floats = npt.NDArray[np.float64]

G = 9.80665  # m/s^2 (CGPM 1901)
ONCE_HZ = 41.7
LAG = 0.8
AMPLITUDE = (3.0, 1.0, 0.5)
GRAVITY = (0.2, -9.79, 0.4)


@dataclass(frozen=True)
class Signal:
    """A steady 1x of known amplitude at the true sample times, with gravity and a little noise."""

    times: Floats
    samples: Floats  # m/s^2, shape (3, n)
    mark: Floats  # 0 or 1
    marks: Floats  # s

    @classmethod
    def at(cls, times: Floats, *, noise: float = 0.05, seed: int = 1) -> Signal:
        angle = 2 * np.pi * ONCE_HZ * times
        rng = np.random.default_rng(seed)
        samples = np.array([a * np.cos(angle - LAG) + g for a, g in zip(AMPLITUDE, GRAVITY, strict=True)])
        samples += noise * rng.standard_normal(samples.shape)
        marks = np.arange(1, int(ONCE_HZ * times[-1])) / ONCE_HZ
        return cls(times, samples, (np.mod(angle / (2 * np.pi), 1) < 0.15).astype(float), marks)


def even(rate: float = 400.0, count: int = 2000) -> Signal:
    return Signal.at(np.arange(count) / rate)


def write(
    columns: Sequence[tuple[str, Sequence[str]]],
    *,
    delimiter: str = ",",
    end: str = "\n",
    before: Sequence[str] = (),
    trailing: str = "",
    quote: bool = False,
    title_prefix: str = "",
) -> str:
    quoted = (lambda text: f'"{text}"') if quote else str
    out = io.StringIO()
    for line in before:
        out.write(line + end)
    out.write(title_prefix + delimiter.join(quoted(title) for title, _ in columns) + trailing + end)
    for row in zip(*(cells for _, cells in columns), strict=True):
        out.write(delimiter.join(row) + trailing + end)
    return out.getvalue()


def numbers(values: Floats, form: str = "{:.5f}", comma: bool = False) -> list[str]:
    cells = [form.format(value) for value in values.tolist()]
    return [cell.replace(".", ",") for cell in cells] if comma else cells


def table(
    signal: Signal,
    time: tuple[str, list[str]],
    unit: str = "(m/s^2)",
    *,
    factor: float = 1.0,
    comma: bool = False,
    names: Sequence[str] = ("x", "y", "z"),
    mark: str = "",
    **how: object,
) -> str:
    columns = [time]
    columns += [
        (f"{name} {unit}".strip(), numbers(row / factor, comma=comma))
        for name, row in zip(names, signal.samples, strict=True)
    ]
    if mark:
        columns.append((mark, [f"{value:.0f}" for value in signal.mark]))
    return write(columns, **how)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """A file, what is said beside it, and what must be understood."""

    name: str
    make: Callable[[], bytes]
    rate: float = 400.0
    unit: str = "m/s^2"
    stamps: str = "even"
    findings: frozenset[str] = frozenset()
    hints: Hints = NOTHING
    names: tuple[str, ...] = ("x", "y", "z")
    marks: bool = False
    lost: int = 0
    gravity: bool = True
    rows: int = 2000
    form: tuple[str, ...] = ()
    extra: dict[str, object] = field(default_factory=dict)


def bursty(true: Floats, seed: int = 3) -> Floats:
    """Stamps of arrival: samples are handed over in bursts of ten or so, each with a delay of its own."""
    rng = np.random.default_rng(seed)
    stamps, place = np.empty_like(true), 0
    while place < true.size:
        size = int(rng.integers(6, 16))
        block = slice(place, min(place + size, true.size))
        arrived = true[block][-1] + 0.002 + rng.exponential(0.006)
        stamps[block] = arrived + 1e-5 * np.arange(true[block].size)
        place += size
    return np.maximum.accumulate(stamps)


def scattered(true: Floats, sd: float, seed: int = 4) -> Floats:
    """Stamps of arrival, one by one, each late by its own delay, the order kept."""
    rng = np.random.default_rng(seed)
    late = np.abs(rng.normal(0.0, sd, true.size))
    return np.maximum.accumulate(true + late) + 1e-7 * np.arange(true.size)

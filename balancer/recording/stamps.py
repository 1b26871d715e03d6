"""Time stamps of a foreign file judged: kept, or replaced by a uniform rate fitted to them.

A logger stamps a sample when it is taken, or when it arrives at a phone or a computer, perhaps rounded. The
first kind is kept, however uneven; stamps of arrival cost up to all of the 1x amplitude and are replaced by
the straight line through stamp against number, on which their scatter averages out.

Which kind they are is decided by evidence:

1. Steps that are whole multiples of one period, but for less than 1 % of it: even, kept.
2. Scatter about the line no wider than the stamps are rounded: rounded, the line is used.
3. Stamps that do not rise cannot be instants of sampling: arrival.
4. Otherwise the signal decides: its strongest line is narrow, and so highest, on the times at which the
   samples were truly taken. Where both serve it equally well, or no line stands out, the stamps are kept, the
   doubt is told, and marks from another file are refused; `Hints.stamps` settles it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.fft import next_fast_len, rfft
from scipy.ndimage import minimum_filter1d, uniform_filter1d

from balancer.errors import InputError
from balancer.findings import Finding
from balancer.recording.model import Gap

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Kind = Literal["even", "rounded", "sensor", "arrival", "unclear"]

FEWEST = 16
"""Fewer stamps than these are not judged: they have to rise."""

_BLOCK = 512  # samples over which the mean period is taken, longer than a usual burst of arrivals
_WINDOW = 512  # samples in which the least delay of an arrival shows
_EVEN = 0.01  # of the period: less scatter changes no amplitude by a tenth of a percent
_SLIGHT = 0.1  # of the period: scatter that may stay in doubt, it costs a percent at a fifth of the rate
_FARTHEST = 1e9  # periods: days at any rate
_COMPARED = 1 << 15  # samples on which the two times are compared
_LINE = 50  # times the median: the highest of some thousand bins of white noise reaches 20
_FINE = 16  # places in a period on which samples are put for that


@dataclass(frozen=True, eq=False)
class Judged:
    """Times to work with.

    Parameters
    ----------
    order : array of int, shape (n,)
        Rows of the file in the order of time, repeated ones left out.
    times : array, shape (n,)
        In s, strictly rising.
    kind : {"even", "rounded", "sensor", "arrival", "unclear"}
        What the stamps are; ``sensor`` and ``unclear`` are uneven ones that were kept, for good or in doubt.
    rate : float
        Fitted, in Hz.
    jitter : float
        Standard deviation in s of the stamps about the fitted line, slow drift left out.
    gaps : tuple of Gap
        Where samples are missing.
    segment_starts : tuple of int
        Indices behind gaps over which the time is not known to a fraction of a period.
    findings : tuple of Finding
        What was noticed.
    """

    order: Integers
    times: Floats
    kind: Kind
    rate: float
    jitter: float
    gaps: tuple[Gap, ...]
    segment_starts: tuple[int, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class _Line:
    """Stamps against their numbers: samples that are missing take numbers, too."""

    numbers: Integers
    times: Floats
    drift: Floats  # of the clock about the line; empty when there is none
    period: float
    scatter: Floats
    clear: bool

    @property
    def jitter(self) -> float:
        return float(np.std(self.scatter))


def judge_stamps(stamps: Floats, samples: Floats, said: str | None = None, *, start: float = 0.0) -> Judged:
    """Find the times at which the samples were taken.

    Parameters
    ----------
    stamps : array, shape (n,)
        In s, in the order of the file.
    samples : array, shape (channels, n)
        The samples: they are the evidence where the stamps alone do not tell.
    said : {"sensor", "arrival"}, optional
        What a person says the stamps are.
    start : float
        What the first stamp was before it was made 0, in s: digits behind its precision mean nothing.

    Returns
    -------
    Judged
        Times, and what is known of them.

    Raises
    ------
    InputError
        If the stamps do not rise although they are said, or shown by the signal, to be instants of sampling.
    """
    order, findings = _tidy(stamps, samples)
    if order.size < stamps.size or findings:
        stamps, samples = stamps[order], samples[:, order]
    if stamps.size < FEWEST:
        rate = float(1 / np.median(np.diff(stamps)))
        return Judged(order, stamps, "even", rate, 0.0, (), (), tuple(findings))
    if stamps[-1] <= stamps[0]:
        raise InputError(
            "the time does not rise from the first row to the last", todo="check the time column"
        )
    rounding = _rounding(stamps, start)
    line = _fit(stamps, rounding)
    kind, told = _decide(line, stamps, samples, said, rounding)
    fitted = kind in {"rounded", "arrival"}
    times = line.times if fitted else stamps
    if kind == "rounded" and line.drift.size and np.max(np.abs(line.scatter + line.drift)) > 0.75 * rounding:
        times = times + line.drift  # more than rounding: the clock's own
    gaps = _gaps(line, times)
    broken = np.flatnonzero(np.diff(line.numbers) > 1) + 1
    starts = tuple(broken.tolist()) if kind == "arrival" and not line.clear else ()
    told += _losses(gaps, times.size)
    return Judged(order, times, kind, 1 / line.period, line.jitter, gaps, starts, (*findings, *told))


def _tidy(stamps: Floats, samples: Floats) -> tuple[Integers, list[Finding]]:
    """Take out rows that came twice, and put rows in order where that makes their steps regular."""
    order = np.arange(stamps.size)
    findings: list[Finding] = []
    steps = np.diff(stamps)
    if np.all(steps > 0):
        return order, findings
    backwards = np.count_nonzero(steps < 0)
    by_time = np.argsort(stamps, kind="stable") if backwards else order
    twice = _repeated(stamps[by_time], samples[:, by_time])
    kept = by_time[~twice]
    left = np.diff(stamps[kept])
    # rows of the same time that differ: then time does not tell rows apart, and equal ones may be two samples
    ambiguous = np.count_nonzero(left <= 0) > np.count_nonzero(twice) / 4
    if ambiguous or (backwards and not _regular(left, _typical(stamps[kept]))):
        return order, findings
    if np.any(np.diff(kept) < 0):
        findings.append(Finding.of("rows_out_of_order", "info", count=int(backwards)))
    if twice.any():
        findings.append(Finding.of("rows_repeated", "info", count=int(twice.sum())))
    return kept, findings


def _repeated(stamps: Floats, samples: Floats) -> npt.NDArray[np.bool_]:
    same = np.zeros(stamps.size, dtype=bool)
    same[1:] = (np.diff(stamps) == 0) & np.all(samples[:, 1:] == samples[:, :-1], axis=0)
    return same


def _typical(stamps: Floats) -> float:
    """Give the period: the median over blocks, which neither bursts in a block nor rare gaps disturb."""
    block = max(min(_BLOCK, stamps.size // 8), 1)
    starts = np.arange(0, stamps.size - block, max(block // 8, 1))
    period = float(np.median(stamps[starts + block] - stamps[starts]) / block)
    return period if period > 0 else float((stamps[-1] - stamps[0]) / (stamps.size - 1))


def _regular(steps: Floats, period: float) -> bool:
    counts = np.rint(steps / period)
    return bool(np.all(counts >= 1) and np.mean(np.abs(steps / period - counts) > 0.3) < 0.03)


def _fit(stamps: Floats, rounding: float) -> _Line:
    steps, period = np.diff(stamps), _typical(stamps)
    clear = _regular(steps, period)
    if not clear:
        # a gap among most steps of one length makes the block's mean too long: the median step is right then
        middle = float(np.median(steps))
        if period / 3 < middle < period and _regular(steps, middle):
            clear, period = True, middle
    if np.ptp(stamps) > _FARTHEST * period:
        raise InputError("a time stamp lies far from all others", todo="correct or delete its row")
    skipped = np.rint(steps / period).astype(np.int64) - 1 if clear else _pauses(stamps, steps, period)
    if skipped.any() and rounding > 0.4 * period:
        # rounded to about a period, a clock a little off makes long steps too: no loss is needed for them
        whole = _line(stamps, np.zeros_like(skipped), clear)
        if _coarse(whole, rounding):
            return whole
    return _line(stamps, skipped, clear)


def _line(stamps: Floats, skipped: Integers, clear: bool) -> _Line:
    numbers = np.concatenate(([0], np.cumsum(skipped + 1)))
    centred = numbers - numbers.mean()
    slope = float(centred @ stamps / (centred @ centred))
    times = slope * centred + stamps.mean()
    scatter = stamps - times
    drift = np.zeros(0)
    if np.ptp(scatter) > _EVEN * slope:  # else there is nothing for a drift to hide
        drift = uniform_filter1d(scatter, min(4 * _WINDOW, stamps.size // 4))
        scatter = scatter - drift
    return _Line(numbers, times, drift, slope, scatter, clear)


def _pauses(stamps: Floats, steps: Floats, period: float) -> Integers:
    """Count samples missing behind long steps: after a gap stamps stay late, after a stall they catch up."""
    late = stamps - period * np.arange(stamps.size)
    window = int(min(_WINDOW, stamps.size // 2))
    half = window // 2
    least = minimum_filter1d(late, window, mode="nearest")
    long = steps[steps > 3 * period]
    # between bursts pauses are usual; what is missing in one of them cannot be told from its length
    usual = float(np.median(long)) if long.size > stamps.size / 100 else 0.0
    at = np.flatnonzero(steps > max(6 * period, 3 * usual))
    ahead = least[np.minimum(at + 1 + half, stamps.size - 1)]
    behind = least[np.maximum(at - half, 0)]
    skipped = np.zeros(steps.size, dtype=np.int64)
    later = ahead - behind
    # a step that is shorter than that lies near a gap, but is none
    delay = float(np.median(late - least))
    real = (later > 0.6 * steps[at]) & (later < 1.5 * steps[at]) & (later > max(4 * period, 4 * delay))
    skipped[at[real]] = np.rint(later[real] / period).astype(np.int64)
    return skipped


def _decide(
    line: _Line, stamps: Floats, samples: Floats, said: str | None, step: float
) -> tuple[Kind, list[Finding]]:
    rising = bool(np.all(np.diff(stamps) > 0))
    if said == "sensor" and not rising:
        raise InputError(
            "the time does not rise throughout, so it cannot be when the samples were taken",
            todo="sort the rows, or say --stamps arrival",
        )
    if said is not None:
        return ("arrival", [_arrival(line)]) if said == "arrival" else ("sensor", [])
    if _coarse(line, step):
        rounded = Finding.of("stamps_rounded", "info", resolution_us=step * 1e6, rate_hz=1 / line.period)
        return "rounded", [rounded]
    if rising and line.jitter < _EVEN * line.period:
        return "even", []
    return _decide_by_signal(line, rising, _gain_of_line(line, stamps, samples))


def _decide_by_signal(line: _Line, rising: bool, gain: float | None) -> tuple[Kind, list[Finding]]:
    if (gain or 0) > 0 or (not rising and not gain):
        return "arrival", [_arrival(line)]
    if not rising:
        raise InputError(
            "the time does not rise throughout, but the signal fits it better than any uniform rate",
            todo="sort the rows by time, let the logger write finer times, or say --stamps arrival",
        )
    jitter, rate = line.jitter * 1e6, 1 / line.period
    if gain is None and line.jitter > _SLIGHT * line.period:
        return "unclear", [Finding.of("stamps_unclear", "warning", jitter_us=jitter, rate_hz=rate)]
    kind: Kind = "sensor" if gain else "unclear"
    return kind, [Finding.of("stamps_uneven", "info", jitter_us=jitter, rate_hz=rate)]


def _arrival(line: _Line) -> Finding:
    jitter, rate = line.jitter * 1e6, 1 / line.period
    return Finding.of("stamps_of_arrival", "warning", jitter_us=jitter, rate_hz=rate)


def _coarse(line: _Line, step: float) -> bool:
    """Tell whether rounding explains the scatter, and there is enough of it to matter."""
    if step < 0.02 * line.period:
        return False
    # rounding spreads evenly over one step, the line lies in its middle; a little for the fit and the drift
    inside = np.mean(np.abs(line.scatter) <= 0.6 * step)
    return bool(inside > 0.999 and np.max(np.abs(line.scatter)) < step and line.jitter > 0.05 * step)


def _rounding(stamps: Floats, start: float) -> float:
    """Give the power of ten in s, 0.1 us or more, of which all stamps are multiples; 0 when there is none."""
    some = stamps[: 1 << 14] - stamps[0]
    slack = 4 * np.finfo(float).eps * max(float(np.abs(some).max()), abs(start), 1.0)
    for power in range(0, -8, -1):
        step = 10.0**power
        if np.all(np.abs(some - step * np.rint(some / step)) <= slack + 1e-6 * step):
            return step
    return 0.0


def _gain_of_line(line: _Line, stamps: Floats, samples: Floats) -> float | None:
    """Compare the height of the strongest line on the fitted times and on the stamps.

    Gives the logarithm of the ratio of their powers, 0 when it is within its noise, None when no line stands
    out on either.
    """
    part = slice(0, min(_COMPARED, stamps.size))
    rows = samples[:, part] - samples[:, part].mean(axis=1, keepdims=True)
    on_line, floor = _height(line.times[part], rows, line.period)
    on_stamps, other_floor = _height(stamps[part], rows, line.period)
    # samples at uneven times spread some of the line over all frequencies: only the heights can be compared
    best = max(on_line, on_stamps) / max(min(floor, other_floor), np.finfo(float).tiny)
    if max(on_line / floor if floor else 0, on_stamps / other_floor if other_floor else 0) < _LINE:
        return None
    gain = float(np.log(on_line / on_stamps))
    return gain if abs(gain) > max(0.02, 6 / np.sqrt(best)) else 0.0


def _height(times: Floats, rows: Floats, period: float) -> tuple[float, float]:
    """Give the highest and the median power above 5 Hz and below 0.45 of the rate, samples at `times`."""
    fine = period / _FINE
    place = np.rint((times - times.min()) / fine).astype(np.int64)
    length = next_fast_len(int(place.max()) + 1, real=True)
    power = np.zeros(length // 2 + 1)
    for row in rows:
        power += np.abs(rfft(np.bincount(place, weights=row, minlength=length))) ** 2
    resolution = 1 / (length * fine)
    wide = max(int(0.5 / resolution), 1)  # a wandering speed spreads its line alike on both
    power = uniform_filter1d(power, wide)
    inside = power[max(int(5 / resolution), 2) : int(0.45 / period / resolution)]
    return (float(inside.max()), float(np.median(inside))) if inside.size > 8 else (0.0, 0.0)


def _gaps(line: _Line, times: Floats) -> tuple[Gap, ...]:
    skipped = np.diff(line.numbers) - 1
    return tuple(
        Gap(float(times[i]), float(times[i + 1]), int(skipped[i]), "silent") for i in np.flatnonzero(skipped)
    )


def _losses(gaps: tuple[Gap, ...], kept: int) -> list[Finding]:
    lost = sum(gap.lost for gap in gaps)
    if not lost:
        return []
    percent = 100 * lost / (kept + lost)
    return [
        Finding.of(
            "samples_lost", "info" if percent < 1 else "warning", lost=lost, gaps=len(gaps), percent=percent
        )
    ]

"""Order vectors one after another: block by block through a recording, at steady speed or in a sweep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from balancer.core.shaft import Stretch
from balancer.errors import InputError
from balancer.procedure.measure import angle_parts
from balancer.recording.model import Recording

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Ints = npt.NDArray[np.int64]

FEWEST_TURNS = 4
"""Turns in the shortest block: orders beside the one asked for are looked at for their noise."""

_LONGEST = 0.1  # s
_CHANGE = 0.01  # of the speed over one block: a quarter of the half-power width at a damping ratio of 0.02
_OVER = 8  # turns over which the speed is taken to choose a block
_BESIDE = (2, 3)  # bins beside the order whose residual counts as its noise
_SMOOTH = 5  # blocks over which that noise is averaged
_BELOW_NYQUIST = 0.45


@dataclass(frozen=True, eq=False)
class Track:
    """Order vectors against time and speed.

    Blocks do not overlap. Between two of them time may be missing, where samples or marks are.

    Parameters
    ----------
    source : str
        Name of the recording.
    channels : tuple of str
        Their names.
    unit : str
        Unit of the first channel, and of `vectors`.
    orders : tuple of int
        Multiples of the shaft speed.
    starts, ends : array, shape (blocks,)
        Times in s at which each block begins and ends.
    turns : array of int, shape (blocks,)
        Whole revolutions in each.
    accelerations : array, shape (blocks,)
        Of the shaft, in rad/s^2.
    vectors : array of complex, shape (channels, orders, blocks)
        Amplitude exp(j lag), peak: the mean over the block, also when it changes linearly meanwhile.
    sd : array, shape (channels, blocks)
        Standard uncertainty of a component of the first order's vector, from the noise beside that order.
    """

    source: str
    channels: tuple[str, ...]
    unit: str
    orders: tuple[int, ...]
    starts: Floats
    ends: Floats
    turns: Ints
    accelerations: Floats
    vectors: Complexes
    sd: Floats

    @property
    def times(self) -> Floats:
        """Middle of each block in s, shape (blocks,)."""
        return (self.starts + self.ends) / 2

    @property
    def speeds(self) -> Floats:
        """Mean shaft speed over each block in rad/s, shape (blocks,)."""
        return 2 * np.pi * self.turns / (self.ends - self.starts)

    @property
    def once(self) -> Complexes:
        """The vectors of the first order, shape (channels, blocks)."""
        return np.asarray(self.vectors[:, 0])


def track(recording: Recording, *, turns: int | None = None, orders: Sequence[int] = (1,)) -> Track:
    """Follow order vectors through a recording.

    Each block is fitted by itself, with a constant and a drift of the signal, and with vectors that change
    linearly over the block: a sweep then does not leak from one component into the other.

    Parameters
    ----------
    recording : Recording
        With marks.
    turns : int, optional
        Whole revolutions in a block, 4 or more. Left out, as many as take 0.1 s and see the speed change by
        1 %, but at least 4.
    orders : sequence of int, optional
        Multiples of the shaft speed, each 1 or more.

    Returns
    -------
    Track
        One vector for each channel, order and block.

    Raises
    ------
    InputError
        If there are no marks, too few turns, or too few samples a turn for the orders.
    """
    if recording.marks is None:
        raise InputError(
            "the recording holds no marks, so there is no phase to follow",
            todo="record with the pick-up",
            file=recording.source or None,
        )
    if turns is not None and turns < FEWEST_TURNS:
        raise InputError(f"a block of {turns} turns is too short", todo=f"use {FEWEST_TURNS} or more")
    try:
        stretches = [s for _, found in angle_parts(recording, recording.marks) for s in found]
        return _tracked(recording, stretches, turns, tuple(sorted(set(orders))))
    except InputError as error:
        raise error.at(recording.source or None) from None


def _tracked(
    recording: Recording, stretches: Sequence[Stretch], turns: int | None, orders: tuple[int, ...]
) -> Track:
    parts = [part for s in stretches if (part := _follow(recording, s, turns, orders)) is not None]
    if not parts:
        raise InputError(
            f"no block of {turns or FEWEST_TURNS} whole revolutions could be followed",
            todo="record for some seconds, with at least three samples a turn for every order",
        )
    starts, ends, counts, accelerations = (np.concatenate([p[i] for p in parts]) for i in range(4))
    vectors, variance = (np.concatenate([p[i] for p in parts], axis=-1) for i in (4, 5))
    return Track(
        source=recording.source,
        channels=tuple(channel.name for channel in recording.channels),
        unit=recording.channels[0].unit,
        orders=orders,
        starts=starts,
        ends=ends,
        turns=counts.astype(np.int64),
        accelerations=accelerations,
        vectors=vectors,
        sd=np.sqrt(variance),
    )


def _follow(
    recording: Recording, stretch: Stretch, turns: int | None, orders: tuple[int, ...]
) -> tuple[npt.NDArray[np.generic], ...] | None:
    """Cut one stretch into blocks and fit each."""
    times = recording.times[stretch.start : stretch.stop]
    samples = recording.samples[:, stretch.start : stretch.stop]
    whole = int(np.floor(stretch.turns[-1] - stretch.turns[0] + 1e-9))
    passing = np.interp(stretch.turns[0] + np.arange(whole + 1), stretch.turns, times)
    edges = _edges(passing, turns)
    if edges.size < 2:
        return None
    begins = np.searchsorted(stretch.turns, stretch.turns[0] + edges - 1e-9)
    fitted, kept = [], []
    for k in range(edges.size - 1):
        part = slice(int(begins[k]), int(begins[k + 1]))
        count = int(edges[k + 1] - edges[k])
        block = _fit(stretch.turns[part], samples[:, part], count, orders)
        if block is not None:
            fitted.append(block)
            kept.append(k)
    if not fitted:
        return None
    at = passing[edges]
    counts, middle = np.diff(edges), (at[1:] + at[:-1]) / 2
    speeds = 2 * np.pi * counts / np.diff(at)
    accelerations = np.gradient(speeds, middle) if speeds.size > 1 else np.zeros(1)
    noise = uniform_filter1d(np.stack([v for _, v in fitted], axis=-1), _SMOOTH, axis=-1, mode="nearest")
    return (
        at[:-1][kept],
        at[1:][kept],
        counts[kept],
        accelerations[kept],
        np.stack([v for v, _ in fitted], axis=-1),
        noise,
    )


def _edges(passing: Floats, turns: int | None) -> Ints:
    """Choose where blocks begin and end, in turns: whole ones, of `turns` or as the sweep allows."""
    whole = passing.size - 1
    if turns is not None:
        return np.arange(0, whole + 1, turns)
    over = min(_OVER, whole)
    if over < FEWEST_TURNS:
        return np.zeros(0, dtype=np.int64)
    speed = over / (passing[over:] - passing[:-over])  # turns a second, from each turn on
    rate = np.abs(np.gradient(speed, passing[: speed.size])) if speed.size > 1 else np.zeros(1)
    allowed = np.minimum(_LONGEST * speed, _CHANGE * speed**2 / np.maximum(rate, 1e-9))
    wanted = np.maximum(allowed.astype(np.int64), FEWEST_TURNS)
    edges = [0]
    while (reached := edges[-1] + int(wanted[min(edges[-1], wanted.size - 1)])) <= whole:
        edges.append(reached)
    return np.array(edges, dtype=np.int64)


def _fit(
    turned: Floats, samples: Floats, count: int, orders: tuple[int, ...]
) -> tuple[Complexes, Floats] | None:
    """Fit one block of `count` turns; None when there are too few samples (orders above Nyquist, a gap).

    Returns
    -------
    vectors : array of complex, shape (channels, orders)
        Their mean over the block.
    variance : array, shape (channels,)
        Of a component of the first of them.
    """
    if turned.size == 0:
        return None
    turned = turned - np.floor(turned[0])  # whole turns away: the mark stays the zero
    rate = turned.size / count  # samples a turn
    fitted = [k for k in sorted({*orders, 1, 2, 3}) if k in orders or k < _BELOW_NYQUIST * rate]
    columns = 2 + 2 * len(fitted) + 2 * len(orders)
    if orders[-1] > _BELOW_NYQUIST * rate or turned.size < columns + 2 * len(_BESIDE) * 2:
        return None
    if turned[-1] - turned[0] < count - 0.5 or np.max(np.diff(turned)) > 0.5:
        return None  # half a turn or more is missing: what is left does not tell the orders apart
    drift = 2 * (turned - turned[0]) / count - 1  # -1 to 1
    waves = {k: np.exp(2j * np.pi * k * turned) for k in fitted}
    rows = [np.ones_like(turned), drift]
    for k in fitted:
        rows += [waves[k].real, waves[k].imag]
    for k in orders:
        rows += [drift * waves[k].real, drift * waves[k].imag]
    basis = np.array(rows)
    solution = np.linalg.lstsq(basis.T, samples.T, rcond=None)[0]
    vectors = np.array([solution[2 + 2 * i] + 1j * solution[3 + 2 * i] for i in map(fitted.index, orders)]).T
    residual = samples - (basis.T @ solution).T
    beside = orders[0] + np.array([sign * m / count for m in _BESIDE for sign in (-1, 1)])
    left = 2 / turned.size * residual @ np.exp(2j * np.pi * np.outer(turned, beside))
    return vectors, np.mean(np.abs(left) ** 2, axis=1) / 2

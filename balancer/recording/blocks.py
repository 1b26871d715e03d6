"""Decoded records as arrays: what the lines of a text stream and the packets of a binary one both become."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

OVERRUN, CLIPPED, POLLED, FAULT = 1, 2, 4, 8
"""Flags of a packet: the sensor lost samples before it, some are at full scale, its stamp was polled, the
sensor is at fault."""


def _none() -> Integers:
    return np.zeros(0, np.int64)


@dataclass(frozen=True, eq=False)
class Block:
    """The records found in some lines (or packets), in their order; lines count from 0.

    Parameters
    ----------
    index : array of int64, shape (n,)
        Of the samples, as sent (it rolls over).
    tick : array of int64, shape (s,)
        Stamps, as sent (they roll over).
    counts : array of float64, shape (axes, n)
        The samples' values.
    sample_lines : array of int64, shape (n,)
        Where they stood.
    mark_index, mark_tick, mark_lines : array of int64, shape (m,)
        The same of the marks.
    status : array of int64, shape (k, 6)
        Tick, sample index, mark index, overruns, records lost, marks lost.
    status_lines : array of int64, shape (k,)
        Where these stood.
    messages : tuple of (int, str)
        Lines and words of the messages for a person.
    others : tuple of (int, bytes)
        Records of unknown letters, without their check.
    comments : tuple of (int, bytes)
        Lines that begin with ``#``.
    lines : int
        Number of lines.
    damaged : array of int64
        The lines that had to be dropped.
    decimals : bool
        Whether some line holds a decimal point: then `counts` may be no whole numbers.
    stamped : array of int64, shape (s,), optional
        The samples to which the stamps belong; None when every sample has its own.
    counter_bits : int
        Width of the mark index and of the counters in `status`.
    sequence, sequence_lines : array of int64, shape (p,)
        Sequence numbers (0 to 255) of the sound packets, and where these stood; empty for text.
    flags, flag_lines : array of int64
        Flags of the packets of samples that carry any, and where these stood; see `OVERRUN` and the others.
    """

    index: Integers
    tick: Integers
    counts: Floats
    sample_lines: Integers
    mark_index: Integers
    mark_tick: Integers
    mark_lines: Integers
    status: Integers
    status_lines: Integers
    messages: tuple[tuple[int, str], ...]
    others: tuple[tuple[int, bytes], ...]
    comments: tuple[tuple[int, bytes], ...]
    lines: int
    damaged: Integers
    decimals: bool
    stamped: Integers | None = None
    counter_bits: int = 32
    sequence: Integers = field(default_factory=_none)
    sequence_lines: Integers = field(default_factory=_none)
    flags: Integers = field(default_factory=_none)
    flag_lines: Integers = field(default_factory=_none)


_LINE_ARRAYS = ("sample_lines", "mark_lines", "status_lines", "sequence_lines", "damaged", "flag_lines")
_PLAIN_ARRAYS = ("index", "tick", "mark_index", "mark_tick", "status", "sequence", "flags")
_LISTS = ("messages", "others", "comments")


def join_blocks(blocks: list[Block]) -> Block:
    """Join the blocks of consecutive chunks.

    Parameters
    ----------
    blocks : list of Block
        One or more, of one form; the list is emptied, so that the memory is not held twice.

    Returns
    -------
    Block
        All records, with lines counted on from the first block.
    """
    firsts = np.cumsum([0, *(block.lines for block in blocks)])
    joined: dict[str, object] = {
        "lines": int(firsts[-1]),
        "decimals": any(b.decimals for b in blocks),
        "counter_bits": blocks[0].counter_bits,
    }
    for name in _LISTS:
        pairs = (
            (int(first) + line, what)
            for first, block in zip(firsts, blocks, strict=False)
            for line, what in getattr(block, name)
        )
        joined[name] = tuple(pairs)
    for name in _LINE_ARRAYS:
        parts = [first + getattr(block, name) for first, block in zip(firsts, blocks, strict=False)]
        joined[name] = np.concatenate(parts)
    for name in _PLAIN_ARRAYS:
        joined[name] = np.concatenate([getattr(block, name) for block in blocks])
    joined["stamped"] = _joined_stamped(blocks)
    joined["counts"] = np.concatenate([block.counts for block in blocks], axis=1)
    blocks.clear()
    return Block(**joined)  # type: ignore[arg-type]


def _joined_stamped(blocks: list[Block]) -> Integers | None:
    sizes = np.cumsum([0, *(block.index.size for block in blocks)])
    parts = [
        first + block.stamped
        for first, block in zip(sizes, blocks, strict=False)
        if block.stamped is not None
    ]
    return np.concatenate(parts) if parts else None


def lines_between(block: Block, first: int, stop: int) -> Block:
    """Give the records of the lines ``first <= line < stop``, with the line numbers kept."""

    def span(lines: Integers) -> slice:
        return slice(*np.searchsorted(lines, (first, stop)))

    marks, status = span(block.mark_lines), span(block.status_lines)
    sequence, flags = span(block.sequence_lines), span(block.flag_lines)
    return replace(
        _samples_between(block, span(block.sample_lines)),
        mark_index=block.mark_index[marks],
        mark_tick=block.mark_tick[marks],
        mark_lines=block.mark_lines[marks],
        status=block.status[status],
        status_lines=block.status_lines[status],
        messages=tuple((line, what) for line, what in block.messages if first <= line < stop),
        others=tuple((line, what) for line, what in block.others if first <= line < stop),
        comments=tuple((line, what) for line, what in block.comments if first <= line < stop),
        damaged=block.damaged[span(block.damaged)],
        sequence=block.sequence[sequence],
        sequence_lines=block.sequence_lines[sequence],
        flags=block.flags[flags],
        flag_lines=block.flag_lines[flags],
    )


def _samples_between(block: Block, samples: slice) -> Block:
    stamps, stamped = samples, block.stamped
    if stamped is not None:
        stamps = slice(*np.searchsorted(stamped, (samples.start, samples.stop)))
        stamped = stamped[stamps] - samples.start
    return replace(
        block,
        index=block.index[samples],
        tick=block.tick[stamps],
        counts=block.counts[:, samples],
        sample_lines=block.sample_lines[samples],
        stamped=stamped,
    )


def samples_kept(block: Block, kept: Flags) -> Block:
    """Leave out samples, and their stamps with them.

    Parameters
    ----------
    block : Block
        The records.
    kept : array of bool, shape (n,)
        Which samples stay.

    Returns
    -------
    Block
        The same records without the others.
    """
    tick, stamped = block.tick, block.stamped
    if stamped is None:
        tick = tick[kept]
    else:
        stays = kept[stamped]
        tick, stamped = tick[stays], (np.cumsum(kept) - 1)[stamped[stays]]
    return replace(
        block,
        index=block.index[kept],
        tick=tick,
        counts=block.counts[:, kept],
        sample_lines=block.sample_lines[kept],
        stamped=stamped,
    )

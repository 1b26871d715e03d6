"""The stream decoder: bytes in, blocks of arrays out; it knows no port, and it is fed in any cut.

Records are those of `recording.lines` and `recording.packets`, as for files. What differs is that nothing can
be put right any more once it was given out: a line that comes late is dropped and counted, where the reader
of a file puts it in its place.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import astuple, dataclass

import numpy as np
import numpy.typing as npt

from balancer.errors import InputError
from balancer.live.framing import Framer
from balancer.live.segment import DecodedBlock, LiveSegment
from balancer.recording.blocks import Block, join_blocks, lines_between, samples_kept
from balancer.recording.clock import nearest_turn
from balancer.recording.hello import VERSION_LINE, Hello, hello_line, parse_hello
from balancer.recording.lines import Layout, parse_lines
from balancer.recording.packets import HelloPieces, hello_packets, open_packet, parse_packets
from balancer.recording.segments import (
    FAR,
    INDEX_BITS,
    LATE_LINES,
    packets_missing,
)

Integers = npt.NDArray[np.int64]

_COMMENT = re.compile(rb"^#[^\n]*\n", re.MULTILINE)
_EARLY_BYTES = 1 << 20
_MOST_HELD = 4096  # records without a sample among them
_HELD_PACKETS = 4


@dataclass(frozen=True)
class Totals:
    """What a decoder has seen so far.

    Parameters
    ----------
    samples, marks : int
        Given out.
    gaps, lost : int
        Gaps found, and samples known to be missing in them.
    damaged : int
        Records dropped because their check failed or they were no records.
    late : int
        Samples dropped because they came late or twice.
    segments : int
        Runs of the device's counters.
    """

    samples: int
    marks: int
    gaps: int
    lost: int
    damaged: int
    late: int
    segments: int

    def since(self, before: Totals) -> Totals:
        """Give what was added since."""
        return Totals(*(new - old for new, old in zip(astuple(self), astuple(before), strict=True)))


class StreamDecoder:
    """Decodes a stream, version 1, in either form.

    Attributes
    ----------
    hello : Hello or None
        What the device says of itself; None until it has.
    counted : Counter of str
        How often what was noticed, with the keys of `recording.stream_findings` and ``records``,
        ``damaged``, ``samples``, ``marks``, ``gaps``, ``lost``.
    message : str
        The last message for a person.

    Examples
    --------
    >>> decoder = StreamDecoder()
    >>> blocks = decoder.feed(b"no stream at all")
    >>> blocks, decoder.form
    ([], '')
    """

    def __init__(self) -> None:
        self.hello: Hello | None = None
        self.counted: Counter[str] = Counter()
        self.message = ""
        self._framer = Framer()
        self._early: list[bytes] = []
        self._pieces, self._parsed_pieces = HelloPieces(), HelloPieces()
        self._waiting: list[bytes] = []
        self._announced: Hello | None = None
        self._differing: Hello | None = None
        self._held: Block | None = None
        self._segment: LiveSegment | None = None
        self._segments = 0
        self._last_rate = 0.0
        self._last_sequence: int | None = None
        self._newest_sequence = -1  # of the packets that came, sorted out or not
        self._out: list[DecodedBlock] = []

    @property
    def form(self) -> str:
        """``text``, ``binary``, or empty while nothing sound has come."""
        return self._framer.form

    @property
    def rate(self) -> float:
        """Measured sample rate in Hz on the device's clock, 0 while it is unknown."""
        return self._segment.rate if self._segment else self._last_rate

    @property
    def unfinished(self) -> int:
        """Bytes at the end of what came that are the beginning of a record."""
        return len(self._framer.unfinished)

    @property
    def totals(self) -> Totals:
        """The main counts."""
        c = self.counted
        return Totals(
            samples=c["samples"],
            marks=c["marks"],
            gaps=c["gaps"],
            lost=c["lost"],
            damaged=c["damaged"] + self._framer.overlong,
            late=c["late"],
            segments=self._segments,
        )

    def header(self) -> bytes:
        """Give what a file must begin with that is to begin now, in mid-stream.

        Returns
        -------
        bytes
            The hello in the form of the stream, and the beginning of the record that is on its way; empty
            before a hello came.
        """
        if self.hello is None:
            return b""
        if self.form == "text":
            return f"{VERSION_LINE}\n{hello_line(self.hello)}\n".encode() + self._framer.unfinished
        line = hello_line(self.hello)
        packets = hello_packets(line, self._newest_sequence + 1 - len(hello_packets(line, 0)))
        return b"".join(packets) + self._framer.unfinished

    def feed(self, data: bytes) -> list[DecodedBlock]:
        """Take what came.

        Parameters
        ----------
        data : bytes
            Any piece of the stream.

        Returns
        -------
        list of DecodedBlock
            The samples and marks that are complete now, in order.
        """
        records = self._framer.add(data)
        if records and self.form == "text":
            self._take_lines(records[0])
        elif records:
            self._take_packets(records)
        out, self._out = self._out, []
        return out

    def finish(self) -> list[DecodedBlock]:
        """Give what was held back; nothing more will come."""
        self._parse_binary(self._waiting)
        self._flush_held()
        self._close_segment()
        out, self._out = self._out, []
        return out

    def _take_lines(self, whole: bytes) -> None:
        start = 0
        for comment in _COMMENT.finditer(whole):
            self._parse_text(whole[start : comment.start()])
            start = comment.end()
            if b"{" in comment[0]:
                self._take_hello(comment[0].strip().decode("utf-8", "replace"))
        self._parse_text(whole[start:])

    def _parse_text(self, lines: bytes) -> None:
        if not lines:
            return
        if self.hello is None:
            self._keep_early([line + b"\n" for line in lines.split(b"\n")[:-1]])
            return
        self._take(parse_lines(lines, Layout(len(self.hello.axes), self.hello.check)))

    def _take_packets(self, packets: list[bytes]) -> None:
        waiting, self._waiting = self._waiting, []
        begun = bool(waiting)
        for packet in packets:
            body = open_packet(packet)
            if body is not None:
                self._newest_sequence = body[1]
            if body is not None and body[:1] == b"H":
                if body[2:3] == b"{":
                    # the sequence numbers begin anew with the hello, so it goes with what follows
                    self._parse_binary(waiting)
                    waiting, begun = [], True
                line = self._pieces.add(body[2:])
                if line is not None:
                    begun = False
                    self._take_hello(line)
            waiting.append(packet)
        if begun and len(waiting) <= _HELD_PACKETS:
            self._waiting = waiting
        else:
            self._parse_binary(waiting)

    def _parse_binary(self, packets: list[bytes]) -> None:
        if not packets:
            return
        if self.hello is None:
            self._keep_early(packets)
            return
        opened = [open_packet(packet) for packet in packets]
        self._take(parse_packets(opened, len(self.hello.axes), self._parsed_pieces))

    def _keep_early(self, records: list[bytes]) -> None:
        """Keep what comes before the hello, record by record and not for ever."""
        for record in records:
            self._early.append(record)
            self.counted["early_bytes"] += len(record)
            if self.counted["early_bytes"] > _EARLY_BYTES:
                self.counted["before_hello"] += len(self._early)
                self.counted["early_bytes"] = 0
                self._early.clear()

    def _take_hello(self, line: str) -> None:
        try:
            hello = parse_hello(line)
        except InputError:
            self.counted["headers_damaged"] += 1
            return
        if self.hello is None:
            self.hello = hello
            early, self._early = self._early, []
            if self.form == "text":
                self._parse_text(b"".join(early))
            else:
                self._parse_binary(early)
        elif hello == self.hello:
            self._announced = self._differing = None
        elif hello.sid != self.hello.sid:
            self._announce(hello)
        else:
            self._take_differing(hello)

    def _announce(self, hello: Hello) -> None:
        """Begin anew at once where the records change, else wait for a sample: the line may be damaged."""
        assert self.hello is not None
        self._flush_held()
        if (hello.axes, hello.check) == (self.hello.axes, self.hello.check):
            self._announced = hello
        else:
            self._begin(hello)

    def _take_differing(self, hello: Hello) -> None:
        """Believe a hello that differs under the same `sid` when it comes twice: a setting was changed."""
        self.counted["headers_differ"] += 1
        if self._differing == hello:
            self._begin(hello)
        else:
            self._differing = hello

    def _begin(self, hello: Hello) -> None:
        """Let a new run of the counters begin."""
        self._flush_held()
        self._close_segment()
        self._last_sequence = None
        self.hello, self._announced, self._differing = hello, None, None

    def _flush_held(self) -> None:
        """Let what was held count with what came before."""
        if self._held is not None:
            held, self._held = self._held, None
            self._sort_out(held, last=True)

    def _close_segment(self) -> None:
        if self._segment is not None:
            self._give(self._segment.close())
            self._last_rate = self._segment.rate
            self._segment = None

    def _take(self, block: Block) -> None:
        """Count records, then sort them out."""
        self.counted["records"] += block.lines
        self.counted["damaged"] += block.damaged.size
        self.counted["messages"] += len(block.messages)
        if block.messages:
            self.message = block.messages[-1][1][:200]
        if self._held is not None:
            block, self._held = join_blocks([self._held, block]), None
        self._sort_out(block)

    def _sort_out(self, block: Block, last: bool = False) -> None:
        """Find the samples whose index is odd: a gap, a restart, or a number that stands alone."""
        while True:
            if self._announced is not None and block.index.size:
                self._decide(block)
            ahead = self._ahead(block.index)
            odd = np.flatnonzero((ahead < -LATE_LINES) | (ahead > LATE_LINES))
            if not odd.size:
                self._accept_but_hold(block, int(block.sample_lines[-1:].sum()) + 1, ahead, last)
                return
            first = int(odd[0])
            line = int(block.sample_lines[first])
            if first + 1 == block.index.size and not last:
                self._accept_but_hold(block, self._first_line_of_restart(block, first), ahead, last)
                return
            block = self._cut_at_odd(block, first, line, ahead)

    def _accept_but_hold(self, block: Block, stop: int, ahead: Integers, last: bool) -> None:
        """Accept records up to a line; what follows waits for the next sample, to which it may belong."""
        if last:
            self._accept(block, ahead)
            return
        if not block.index.size:
            stop = 0
        rest = lines_between(block, stop, block.lines)
        if rest.index.size or 0 < rest.mark_index.size + len(rest.status) + rest.sequence.size < _MOST_HELD:
            self._held = rest
        self._accept(lines_between(block, 0, stop), ahead)

    def _cut_at_odd(self, block: Block, first: int, line: int, ahead: Integers) -> Block:
        """Accept what comes before the sample `first`, decide what it is, and give the rest."""
        step = int(ahead[first])
        follows = block.index[first + 1 : first + 2] - block.index[first : first + 1] + step
        alone = bool(0 < nearest_turn(follows, INDEX_BITS) <= LATE_LINES) if follows.size else False
        if alone:
            self.counted["implausible"] += 1
            kept = np.ones(block.index.size, bool)
            kept[first] = False
            return samples_kept(block, kept)
        if 0 < step < FAR:
            self._accept(lines_between(block, 0, line + 1), ahead)
            return lines_between(block, line + 1, block.lines)
        line = self._first_line_of_restart(block, first)
        self._accept(lines_between(block, 0, line), ahead)
        assert self.hello is not None
        self._begin(self.hello)
        return lines_between(block, line, block.lines)

    def _first_line_of_restart(self, block: Block, first: int) -> int:
        """Find where the run of sample `first` begins: at a mark before it that counts anew, or with it."""
        after = int(block.sample_lines[first - 1]) if first else -1
        earlier, stop = np.searchsorted(block.mark_lines, (after, block.sample_lines[first]))
        before = block.mark_index[earlier - 1 : earlier].tolist()
        if not before and self._segment is not None and self._segment.last_mark is not None:
            before = [self._segment.last_mark]
        numbers = np.array(before + block.mark_index[earlier:stop].tolist(), np.int64)
        fell = np.flatnonzero(np.diff(numbers) <= 0) + 1 - len(before)
        return int(block.mark_lines[earlier + fell[0]] if fell.size else block.sample_lines[first])

    def _decide(self, block: Block) -> None:
        """Tell by the next sample whether the device began anew or only the hello was damaged."""
        hello, self._announced = self._announced, None
        assert hello is not None
        if 0 < self._ahead(block.index[:1])[0] <= LATE_LINES and self._segment is not None:
            self.counted["headers_damaged"] += 1
        else:
            self._begin(hello)

    def _ahead(self, index: Integers) -> Integers:
        """By how much each index is ahead of the highest before it; the very first is ahead by 1."""
        if not index.size:
            return index
        before = index[0] - 1 if self._segment is None else self._segment.last_index
        steps = nearest_turn(np.diff(index, prepend=before), INDEX_BITS)
        run = np.cumsum(steps)
        return run - np.maximum.accumulate(np.concatenate(([0], run[:-1])))

    def _accept(self, block: Block, ahead: Integers) -> None:
        """Take records of which each sample is new, late or repeated."""
        self._count_packets(block)
        fresh = ahead[: block.index.size] > 0
        if not fresh.all():
            self.counted["late"] += int(fresh.size - fresh.sum())
            block = samples_kept(block, fresh)
        if self._segment is None:
            if not block.index.size:
                return
            assert self.hello is not None
            self.counted["restarts"] = self._segments
            self._segments += 1
            self._segment = LiveSegment(self._segments - 1, self.hello, int(block.index[0]), self.counted)
        self._give(self._segment.add(block))

    def _count_packets(self, block: Block) -> None:
        if block.sequence.size:
            before = [] if self._last_sequence is None else [self._last_sequence]
            missing = packets_missing(np.concatenate((np.array(before, np.int64), block.sequence)))
            self.counted["packets_missing"] += int(missing.sum())
            self._last_sequence = int(block.sequence[-1])

    def _give(self, block: DecodedBlock | None) -> None:
        if block is not None:
            self._out.append(block)

"""The live decoder against reading the same bytes as a file, and against every kind of damage."""

import binascii
import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.live.decoder import StreamDecoder
from balancer.live.framing import LONGEST_RECORD
from balancer.recording.files import read_bytes
from balancer.recording.stream_writer import make_stream_packets, make_stream_text
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from tests.firmware.decode import unstuff
from tests.packets import Board, row, run
from tests.streams import VERSION, checked, hello, samples, stream


class Live:
    """All that a decoder gave for some bytes in some cut."""

    def __init__(self, data, cuts=()):
        self.decoder = StreamDecoder()
        edges = [0, *sorted(cuts), len(data)]
        self.blocks = []
        for start, stop in pairwise(edges):
            self.blocks += self.decoder.feed(data[start:stop])
        self.blocks += self.decoder.finish()
        self.gaps = [gap for block in self.blocks for gap in block.gaps]
        self.segments = sorted({block.segment for block in self.blocks})

    def all(self, name, segment=None):
        parts = [getattr(b, name) for b in self.blocks if segment in (None, b.segment)]
        return np.concatenate(parts, axis=-1) if parts else np.zeros(0)

    def same_as(self, other):
        return (
            all(np.array_equal(self.all(name), other.all(name)) for name in ("times", "samples", "marks"))
            and self.gaps == other.gaps
            and +self.decoder.counted == +other.decoder.counted
            and self.decoder.totals == other.decoder.totals
        )


def jittered(form, seed=1, jitter=30, blocks=400):
    """A board whose sensor runs 3 % fast and whose stamps jitter, with losses, late marks and a restart."""
    rng = np.random.default_rng(seed)
    period = 970.0
    parts = []
    for sid in (17, 18):
        board, lines = Board(sid=sid).say_hello(), [VERSION, hello(sid=sid)]
        for block in range(blocks):
            n0 = 16 * block
            if rng.random() < 0.02:
                board.seq += 1
                continue
            rows = [row(n) for n in range(n0, n0 + 16)]
            ticks = [round(5000 + (n0 + k) * period + rng.normal(0, jitter)) for k in range(16)]
            board.samples(n0, ticks[-1], rows)
            lines += [checked(f"a,{n0 + k},{ticks[k]},{','.join(map(str, rows[k]))}") for k in range(16)]
            if block % 2:
                board.mark(block // 2, ticks[-1] + 100)
                lines.append(checked(f"m,{block // 2},{ticks[-1] + 100}"))
            if block % 60 == 59:
                board.status(ticks[-1], n0 + 15, block // 2)
                lines.append(checked(f"s,{ticks[-1]},{n0 + 15},{block // 2},0,0,0"))
        parts.append(board.data if form == "binary" else ("\n".join(lines) + "\n").encode())
    return b"".join(parts)


STREAMS = {form: jittered(form, blocks=60) for form in ("binary", "text")}
WHOLE = {form: Live(data) for form, data in STREAMS.items()}


@pytest.mark.parametrize("form", ["binary", "text"])
@settings(max_examples=25)
@given(data=st.data())
def test_any_cut_gives_the_same(form, data):
    stream_bytes = STREAMS[form]
    cuts = data.draw(st.lists(st.integers(0, len(stream_bytes)), max_size=200))
    assert Live(stream_bytes, cuts).same_as(WHOLE[form])


@pytest.mark.parametrize("form", ["binary", "text"])
def test_byte_by_byte_gives_the_same(form):
    data = STREAMS[form][: 1 << 14]
    assert Live(data, range(len(data))).same_as(Live(data))


@pytest.mark.parametrize("form", ["binary", "text"])
def test_live_and_file_agree(form):
    data = jittered(form)
    rng = np.random.default_rng(4)
    live, file = Live(data, rng.integers(0, len(data), 500)), read_bytes(data, "x")
    assert live.segments == [0, 1]
    assert np.array_equal(live.all("samples"), file.samples)
    cut = file.segment_starts[0]
    for segment, part in ((0, slice(0, cut)), (1, slice(cut, None))):
        times = file.times[part] - file.times[part][0]
        # jitter of 30 us (1 sd); a first line through a quarter of a second is extrapolated as far
        # again, where least squares theory gives 2.4 (text 0.6) times the jitter for one standard deviation
        off = np.abs(live.all("times", segment) - times)
        assert off.max() < 200e-6
        assert off[-3000:].max() < 30e-6
    assert live.decoder.rate == pytest.approx(1e6 / 970, rel=2e-5)
    lost = sum(gap.lost for gap in file.gaps if gap.reason != "restart")
    assert live.decoder.totals.lost == lost > 0
    assert live.all("marks").size == file.marks.size


@pytest.mark.parametrize("make", [make_stream_packets, make_stream_text])
def test_a_simulated_run_comes_through_whole(make):
    run_ = coastal_propeller(1).record(speed=COASTAL_SPEED, duration=3.0, seed=5)
    live = Live(make(run_), range(0, 40_000, 777)) if make is make_stream_packets else Live(make(run_))
    assert np.array_equal(live.all("samples"), run_.samples)
    assert live.all("times") == pytest.approx(run_.times - run_.times[0], abs=1e-6)
    assert live.all("marks") == pytest.approx(run_.marks - run_.times[0], abs=2e-6)
    assert [gap.lost for gap in live.gaps] == [gap.lost for gap in run_.gaps]


def test_times_given_out_never_change_and_always_rise():
    data = jittered("text", jitter=200, blocks=300)
    decoder, given_out = StreamDecoder(), []
    for start in range(0, len(data), 1000):
        for block in decoder.feed(data[start : start + 1000]):
            if block.segment == 0:
                given_out.append(block.times)
    assert np.all(np.diff(np.concatenate(given_out)) > 0)


def test_garbage_in_front_and_between_is_passed_over():
    lines = [checked(record) for record in samples(1000)]
    body = stream(samples(0)) + "\n".join(lines[:400]).encode() + b"\n"
    noise = bytes(np.random.default_rng(1).integers(0, 256, 3000, dtype=np.uint8))
    data = noise + b"\n" + body + noise.replace(b"\n", b"") + b"\n" + "\n".join(lines[400:]).encode() + b"\n"
    live = Live(data)
    assert live.all("samples").shape == (3, 1000)
    assert live.decoder.totals.damaged >= 1


def test_a_record_that_never_ends_is_dropped_and_counted():
    head = stream(samples(300))
    data = head + b"a" * (3 * LONGEST_RECORD) + b"\n" + stream(samples(300, first=300)).split(b"\n", 2)[2]
    for cuts in ((), range(0, len(data), 100)):
        live = Live(data, cuts)
        assert live.all("times").size == 600
        assert live.decoder.totals.damaged == 1


@pytest.mark.parametrize("told", ["sid", "index"])
def test_a_restart_in_mid_stream_begins_a_new_segment(told):
    head = [VERSION, hello(sid=18)] if told == "sid" else []
    again = [*head, checked("m,0,70"), *(checked(record) for record in samples(500, start=90))]
    data = stream([*samples(500), "m,3,480000"]) + ("\n".join(again) + "\n").encode()
    for cuts in ((), range(0, len(data), 13)):
        live = Live(data, cuts)
        assert live.segments == [0, 1]
        assert live.all("times", 1)[0] == 0
        assert live.all("marks", 1) == pytest.approx([(70 - 90) / 1e6], abs=1e-9)
        assert live.decoder.counted["restarts"] == 1
        assert live.gaps == []


def test_a_damaged_hello_is_no_restart():
    records = samples(600)
    data = stream([*records[:300], VERSION, hello(sid=77), *records[300:], VERSION, hello()])
    live = Live(data)
    assert live.segments == [0]
    assert live.decoder.counted["headers_damaged"] == 1


def test_late_and_repeated_lines_are_dropped_and_counted():
    records = samples(600)
    order = [*records[:300], records[301], records[300], records[301], *records[302:]]
    live = Live(stream(order))
    assert live.all("times").size == 599
    assert live.decoder.totals.late == 2
    assert [gap.lost for gap in live.gaps] == [1]


def test_a_lone_impossible_index_in_an_unprotected_stream():
    records = samples(600)
    records.insert(300, "a,91234,5000,1,2,3")
    for cuts in ((), range(0, 9000, 7)):
        live = Live(stream(records, check="none"), cuts)
        assert live.all("times").size == 600
        assert live.decoder.counted["implausible"] == 1
        assert live.segments == [0]


def test_index_and_clock_roll_over():
    start = 2**32 - 900_000
    live = Live(stream(samples(4000, first=2**32 - 1000, start=start - 1000 * (2**32 - 1000))))
    assert live.all("times") == pytest.approx(np.arange(4000) / 1000, abs=1e-6)
    assert live.gaps == []


@pytest.mark.parametrize("bits", [16, 24])
def test_a_narrow_clock_rolls_over_many_times(bits):
    lines = []
    for n in range(3000):
        lines.append(f"a,{n},{(1000 * n + 65_000) % 2**bits},1,2,3")
        if n % 20 == 0:
            lines.append(f"m,{n // 20},{(1000 * n + 65_300) % 2**bits}")
    live = Live(stream(lines, tick_bits=bits), range(0, 80_000, 501))
    assert live.all("times") == pytest.approx(np.arange(3000) / 1000, abs=1e-6)
    assert live.all("marks") == pytest.approx(np.arange(150) * 0.02 + 300e-6, abs=1e-6)


@pytest.mark.parametrize("lost", [1, 7])
@pytest.mark.parametrize("form", ["binary", "text"])
def test_a_silent_loss_is_found_by_time_against_index(lost, form):
    if form == "binary":
        board = run(Board().say_hello(), 100)
        data = run(board, 100, first=1600, start=5000 + 1000 * lost).data
    else:
        data = stream([*samples(1600), *samples(1600, first=1600, start=5000 + 1000 * lost)])
    for cuts in ((), range(0, len(data), 97)):
        live = Live(data, cuts)
        assert [(gap.lost, gap.reason) for gap in live.gaps] == [(lost, "silent")]
        assert live.all("times")[1600:] == pytest.approx((np.arange(1600, 3200) + lost) / 1000, abs=2e-6)


def test_a_single_stamp_that_is_off_changes_nothing():
    records = samples(1500)
    records[900] = records[900].replace("a,900,905000", "a,900,965000")
    live = Live(stream(records))
    assert live.all("times") == pytest.approx(np.arange(1500) / 1000, abs=2e-6)
    assert live.decoder.counted["stamps_off"] == 1
    assert live.gaps == []


def test_overrun_flag_sequence_and_status_each_make_a_gap():
    board = run(Board().say_hello(), 40)
    board.samples(640, 5000 + 1000 * 655, [row(n) for n in range(640, 656)], flags=1)
    run(board, 40, first=656)
    board.seq += 1
    run(board, 40, first=1296).status(0, 1900, 0, 0).send("Z", b"")
    run(board, 40, first=1936)
    board.status(0, 2570, 0, 4)
    live = Live(run(board, 10, first=2576).data)
    assert [gap.reason for gap in live.gaps] == ["overrun", "packet", "status"]


def test_a_setting_that_changes_without_a_new_sid_is_believed_when_said_twice():
    changed = hello(scale=2.0)
    one = stream(samples(400))
    two = "\n".join([VERSION, changed, *(checked(r) for r in samples(400, first=400)), VERSION, changed])
    three = "\n" + "\n".join(checked(r) for r in samples(400, first=800)) + "\n"
    live = Live(one + two.encode() + three.encode())
    assert live.decoder.counted["headers_differ"] == 2
    assert live.all("samples", 1)[0, 0] == (800 % 50) * 2.0


def test_a_header_for_a_file_that_begins_in_mid_stream():
    for form in ("binary", "text"):
        data = jittered(form, blocks=120)
        data = data[: len(data) // 2]
        decoder = StreamDecoder()
        half = len(data) // 2
        decoder.feed(data[:half])
        kept = read_bytes(decoder.header() + data[half:], "half")
        whole = read_bytes(data, "whole")
        assert np.array_equal(kept.samples, whole.samples[:, -kept.samples.shape[1] :])
        assert not {"packets_damaged", "lines_damaged"} & {f.code for f in kept.findings}


def damaged(rng, data, kind):
    """Bytes with about one event in 2000."""
    out = bytearray(data)
    for place in sorted(rng.integers(0, len(data), max(len(data) // 2000, 1)).tolist(), reverse=True):
        if kind == "flip":
            out[place] ^= 1 << int(rng.integers(8))
        elif kind == "drop":
            del out[place : place + int(rng.integers(1, 80))]
        elif kind == "double":
            out[place:place] = out[place : place + int(rng.integers(1, 80))]
        else:
            out[place:place] = bytes(rng.integers(0, 256, 40, dtype=np.uint8))
    return bytes(out)


@pytest.mark.parametrize("kind", ["flip", "drop", "double", "noise"])
@pytest.mark.parametrize("form", ["binary", "text"])
def test_no_wrong_sample_is_accepted_and_the_counts_add_up(form, kind):
    data = jittered(form, seed=8, blocks=150)
    true = {tuple(0.5 * v for v in row(n)) for n in range(16 * 150)}
    for seed in range(3):
        hurt = damaged(np.random.default_rng(seed), data, kind)
        live = Live(hurt, range(0, len(hurt), 333))
        totals, counted = live.decoder.totals, live.decoder.counted
        assert {tuple(column) for column in live.all("samples").T.tolist()} <= true
        assert totals.damaged > 0
        unseen = counted["records"] - counted["damaged"] - sound_records(hurt, form)
        # a check with a damaged digit that still means the same number may pass: its line is sound
        assert 0 <= unseen <= (2 if form == "text" and kind == "flip" else 0)


def sound_records(data, form):
    """Records that pass their check, counted apart from the package."""
    if form == "text":
        lines = [line for line in data.split(b"\n")[:-1] if line and not line.startswith(b"#")]
        return sum(
            bool(re.fullmatch(rb"[ams](,-?\d+)+\*[0-9A-Fa-f]{4}", line))
            and f"{binascii.crc_hqx(line[:-5], 0xFFFF):04X}".encode() == line[-4:].upper()
            for line in lines
        ) + sum(line == b"" for line in data.split(b"\n")[:-1])
    bodies = [unstuff(packet) for packet in data.split(b"\0")[:-1] if packet]
    return sum(body is not None and len(body) >= 4 and binascii.crc_hqx(body, 0xFFFF) == 0 for body in bodies)


@settings(max_examples=150)
@given(
    st.lists(
        st.one_of(
            st.binary(max_size=300),
            st.sampled_from(
                [
                    b"\n",
                    b"\0",
                    stream(samples(5)),
                    Board().say_hello().data,
                    run(Board(), 3).data,
                    b"# {}\n",
                    b"a,1,2,3*0000\n",
                    (VERSION + "\n" + hello(axes=["x"], check="none") + "\n").encode(),
                    b"a,5,6,7\n",
                    b"m,1,2\n",
                    b"s,1,2,3,4,5,6\n",
                ]
            ),
        ),
        max_size=12,
    ),
    st.integers(1, 40),
)
def test_whatever_comes_nothing_is_raised(pieces, size):
    data = b"".join(pieces)
    live = Live(data, range(0, len(data), size))
    assert live.decoder.totals.samples == live.all("times").size
    assert live.decoder.totals.damaged <= live.decoder.counted["records"] + len(data)

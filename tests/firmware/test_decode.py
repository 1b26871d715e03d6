"""The plain decoder itself, on the examples of stream_format.md and on recorded bytes: needs no emulator.

Outside: the check value 29B1 of this CRC is in every catalogue of CRCs (from memory); the rows of COBS follow
the rule of Cheshire and Baker (1999), worked by hand.
"""

import binascii
import json
import re
from pathlib import Path

import numpy as np
import pytest

from tests.firmware.analyse import last_indices, measure
from tests.firmware.decode import Segment, Stream, decode, take_line, take_packet, unstuff

ROOT = Path(__file__).parents[2]
DATA = ROOT / "tests" / "data" / "firmware"
FORMAT = (ROOT / "firmware_notes" / "stream_format.md").read_text(encoding="utf-8")
TRUTH = json.loads((DATA / "truth.json").read_text(encoding="utf-8"))


def examples(kind):
    return "".join(re.findall(rf"```{kind}\n(.*?)```", FORMAT, flags=re.DOTALL)).splitlines()


def begun_stream():
    return Stream([Segment({"sid": 1, "axes": ["x", "y", "z"]})])


def test_check_value():
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1


@pytest.mark.parametrize(
    ("stuffed", "plain"),
    [
        ("0101", "00"),
        ("010101", "0000"),
        ("0211", "11"),
        ("03112201", "112200"),
        ("0311220233", "11220033"),
        ("ff" + "07" * 254, "07" * 254),
        ("ff" + "07" * 254 + "0208", "07" * 254 + "08"),
    ],
)
def test_unstuffing(stuffed, plain):
    assert unstuff(bytes.fromhex(stuffed)).hex() == plain


def test_text_examples_of_the_format():
    stream = begun_stream()
    for line in examples("text"):
        take_line(stream, line.encode())
    segment = stream.only
    assert stream.bad == 0
    assert segment.blocks == [(0, 1000, 0, [(-36, 64, 256)]), (1, 2250, 0, [(-74, 58, 250)])]
    assert segment.marks == [(0, 1210)]
    assert segment.status == [(2044289, 1584, 100, 0, 0, 0)]
    assert segment.messages == ["no samples come"]


def test_binary_examples_of_the_format():
    stream = begun_stream()
    for line in examples("hex"):
        packet = bytes.fromhex(line)
        assert packet.endswith(b"\0")
        assert packet.count(0) == 1
        take_packet(stream, packet[:-1])
    segment = stream.only
    assert (stream.bad, stream.seq_gaps) == (0, 0)
    assert segment.marks == [(3, 123456)]
    assert segment.blocks == [(32, 150000, 0, [(-36, 64, 256), (-74, 58, 250)])]
    assert segment.status == [(2044289, 1584, 100, 0, 0, 0)]


@pytest.mark.parametrize("name", ["binary_3200.stream", "text_800.stream.csv", "roll_over.stream"])
def test_recorded_bytes(name):
    sent, truth = (DATA / name).read_bytes(), TRUTH[name]
    stream = decode(sent)
    measured = measure(stream.only)
    assert (stream.bad, stream.seq_gaps, len(sent)) == (0, 0, truth["bytes"])
    assert measured.rate == pytest.approx(2e6 / truth["sample_ticks"], rel=1e-6)
    assert measured.speed == pytest.approx(6000, rel=1e-4)
    assert abs(measured.vectors[0]) == pytest.approx(0.5, rel=0.003)
    assert np.degrees(np.angle(measured.vectors[0])) == pytest.approx(30, abs=0.3)


def test_recorded_losses():
    stream = decode((DATA / "line_too_slow.stream").read_bytes())
    segment = stream.only
    assert stream.bad == 0
    assert segment.missing_at_status[0] == segment.status[0][4] > 100
    assert np.diff(last_indices(segment)).max() > 16


def test_one_flipped_bit_is_never_taken_for_a_record():
    sent = bytearray((DATA / "binary_3200.stream").read_bytes())
    good = {block[:2]: block for block in decode(bytes(sent)).only.blocks}
    for at in range(2000, len(sent), 997):
        sent[at] ^= 1 << at % 8
    damaged = decode(bytes(sent))
    blocks = damaged.only.blocks
    assert damaged.bad >= 30
    assert 0 < len(blocks) < len(good)
    assert all(good.get(block[:2]) == block for block in blocks)

"""Damage on the wire: what is read afterwards is a part of what was sent, and nothing else.

The kinds of damage are those of ../shared/bench_findings.md (common practice, no source): flipped bits, bytes
dropped, doubled and put in, and stretches lost.
"""

import numpy as np
import pytest

from balancer.recording.lines import Layout, parse_lines
from tests.streams import checked, samples


def flip_bits(data, rng):
    for place in rng.integers(0, len(data), 40):
        data[place] ^= 1 << rng.integers(0, 8)


def drop_bytes(data, rng):
    for place in sorted(rng.integers(0, len(data) - 1, 40), reverse=True):
        del data[place]


def double_bytes(data, rng):
    for place in sorted(rng.integers(0, len(data), 40), reverse=True):
        data.insert(place, data[place])


def put_in_noise(data, rng):
    for place in sorted(rng.integers(0, len(data), 20), reverse=True):
        data[place:place] = rng.bytes(32)


def lose_stretches(data, rng):
    for place in sorted(rng.integers(0, len(data) - 64, 20), reverse=True):
        del data[place : place + 64]


DAMAGE = [flip_bits, drop_bytes, double_bytes, put_in_noise, lose_stretches]


def sent_records():
    records = []
    for k, record in enumerate(samples(3000, first=70_000)):
        records.append(record)
        if k % 20 == 7:
            records.append(f"m,{k // 20},{70_000_000 + k * 1000}")
    return records


def parse(data, check):
    # the wire may end anywhere
    return parse_lines(bytes(data[: data.rfind(b"\n") + 1]), Layout(3, check))


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("seed", range(6))
def test_nothing_wrong_is_accepted(damage, seed):
    rng = np.random.default_rng(seed)
    records = sent_records()
    data = bytearray("".join(checked(record) + "\n" for record in records).encode())
    damage(data, rng)
    block = parse(data, "crc16")
    sent = {tuple(map(float, record[2:].split(","))) for record in records if record[0] == "a"}
    marks = {tuple(map(int, record[2:].split(","))) for record in records if record[0] == "m"}
    got = set(zip(block.index, block.tick, *block.counts, strict=True))
    assert got <= sent
    assert set(zip(block.mark_index.tolist(), block.mark_tick.tolist(), strict=True)) <= marks
    assert 0 < block.damaged.size < 200
    # at most three lines are lost in each of up to 40 places
    assert len(got) >= len(sent) - 120
    assert block.others == ()
    assert block.messages == ()


def test_a_single_flipped_bit_is_always_seen():
    line = checked("a,1234,5678,-12,345,6") + "\n"
    whole = parse(bytearray(line.encode()), "crc16")
    for bit in range(8 * len(line)):
        data = bytearray((line * 3).encode())
        data[len(line) + bit // 8] ^= 1 << bit % 8
        block = parse(data, "crc16")
        assert set(block.tick.tolist()) == {5678}
        assert np.array_equal(np.unique(block.counts, axis=1), whole.counts)
        # the middle line is gone, unless the bit made a small letter of a capital one in its check
        assert block.index.size in (1, 2, 3)


def test_random_bytes_are_no_records():
    rng = np.random.default_rng(11)
    for _ in range(20):
        block = parse(bytearray(rng.bytes(5000) + b"\n"), "crc16")
        assert (block.index.size, block.mark_index.size, block.status.size, block.others) == (0, 0, 0, ())

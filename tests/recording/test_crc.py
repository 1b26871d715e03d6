"""Line checks against `binascii.crc_hqx` of the standard library and the catalogue value of "123456789".

Source of 0x29B1: the catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740 (polynomial 0x1021,
initial value 0xFFFF, not reflected), read second hand; the standard library is asked here as well.
"""

import binascii

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.recording.crc import crc16_of_rows, hex_of_tail, line_check, xor_of_rows


def rows_of(lines):
    words = max(-(-len(line) // 8) for line in lines)
    padded = b"".join(line.rjust(8 * words, b"\0") for line in lines)
    lengths = np.array([len(line) for line in lines])
    return np.frombuffer(padded, np.uint64).reshape(len(lines), words).copy(), lengths


def test_check_value():
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1
    assert line_check("crc16", b"123456789") == "*29B1"
    assert crc16_of_rows(*rows_of([b"123456789"])) == [0x29B1]


@given(st.lists(st.binary(min_size=1, max_size=80), min_size=1, max_size=20))
def test_many_lines_at_once(lines):
    rows, lengths = rows_of(lines)
    assert crc16_of_rows(rows, lengths).tolist() == [binascii.crc_hqx(line, 0xFFFF) for line in lines]


@given(st.lists(st.binary(min_size=1, max_size=40), min_size=1, max_size=20))
def test_exclusive_or(lines):
    wanted = []
    for line in lines:
        value = 0
        for byte in line:
            value ^= byte
        wanted.append(value)
    assert xor_of_rows(rows_of(lines)[0]).tolist() == wanted
    assert [int(line_check("xor", line)[1:], 16) for line in lines] == wanted


@pytest.mark.parametrize("form", ["*{:04X}\n..", "*{:04x}\n..", "*{:04X}\r\n."])
def test_every_check_is_read(form):
    tails = np.frombuffer(b"".join(form.format(value).encode() for value in range(65536)), np.uint64)
    star, said = hex_of_tail(tails, 4)
    assert star.all()
    assert np.array_equal(said, np.arange(65536))


def test_two_digits_are_read():
    tails = np.frombuffer(b"".join(b"*%02X\na,1," % value for value in range(256)), np.uint64)
    star, said = hex_of_tail(tails, 2)
    assert star.all()
    assert np.array_equal(said, np.arange(256))


def test_a_missing_star_is_seen():
    star, _ = hex_of_tail(np.frombuffer(b"+29B1\n..", np.uint64), 4)
    assert not star[0]

"""Line checks: the CRC-16 and the exclusive or behind the star, for one line and for thousands at once.

CRC-16: polynomial 0x1021, initial value 0xFFFF, not reflected, which is `binascii.crc_hqx(line, 0xFFFF)`;
its value over "123456789" is 0x29B1.
"""

from __future__ import annotations

import binascii
from functools import cache

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint64]
Shorts = npt.NDArray[np.uint16]
Integers = npt.NDArray[np.int64]

DIGITS = {"crc16": 4, "xor": 2, "none": 0}
"""Hexadecimal digits behind the star, by the name of the check."""

_LOW_NIBBLES, _ONES = np.uint32(0x0F0F0F0F), np.uint32(0x01010101)


def line_check(check: str, line: bytes) -> str:
    """Give what a line carries after its last character, the star included.

    Parameters
    ----------
    check : {"crc16", "xor", "none"}
        Kind of check.
    line : bytes
        The line up to the star.

    Returns
    -------
    str
        A star and hexadecimal digits, or nothing.

    Examples
    --------
    >>> line_check("crc16", b"123456789"), line_check("xor", b"m,1,2"), line_check("none", b"m,1,2")
    ('*29B1', '*6E', '')
    """
    if check == "crc16":
        return f"*{binascii.crc_hqx(line, 0xFFFF):04X}"
    if check == "xor":
        return f"*{int(np.bitwise_xor.reduce(np.frombuffer(line, np.uint8))):02X}"
    return ""


def crc16_of_rows(rows: Words, lengths: Integers) -> Shorts:
    """Work out the CRC-16 of many lines.

    Parameters
    ----------
    rows : array of uint64, shape (lines, words), C-contiguous
        The characters of each line, right-aligned, little-endian, zeros before its first.
    lengths : array of int64, shape (lines,)
        Characters in each line.

    Returns
    -------
    array of uint16, shape (lines,)
        The CRC of each line.
    """
    pairs = rows.view("<u2")
    # Zeros in front leave a CRC that starts from zero unchanged; what starting from 0xFFFF adds depends on
    # the length alone, because the CRC is linear.
    table, start = _two_byte_table(), (pairs.shape[1] * 2 - int(lengths.max(initial=0))) // 2
    state, place = np.zeros(len(rows), np.uint16), np.empty(len(rows), np.intp)
    for column in range(start, pairs.shape[1]):
        np.bitwise_xor(state, pairs[:, column], out=state)
        np.copyto(place, state)
        table.take(place, out=state, mode="clip")  # every place is inside; "clip" only spares a copy
    state ^= _initial_value_table(pairs.shape[1] * 2).take(lengths)
    return state.byteswap()


def xor_of_rows(rows: Words) -> Shorts:
    """Work out the exclusive or over the characters of many lines.

    Parameters
    ----------
    rows : array of uint64, shape (lines, words)
        As for `crc16_of_rows`.

    Returns
    -------
    array of uint16, shape (lines,)
        The check of each line, 0 to 255.
    """
    folded = rows[:, 0].copy()
    for column in range(1, rows.shape[1]):
        folded ^= rows[:, column]
    for bits in (32, 16, 8):
        folded ^= folded >> np.uint64(bits)
    return (folded & np.uint64(0xFF)).astype(np.uint16)


def hex_of_tail(tail: Words, digits: int) -> tuple[npt.NDArray[np.bool_], Shorts]:
    """Read the star and the hexadecimal digits behind it.

    Parameters
    ----------
    tail : array of uint64, shape (lines,)
        The eight characters from the star on, little-endian.
    digits : {2, 4}
        How many digits to read.

    Returns
    -------
    star : array of bool, shape (lines,)
        Whether the first character is a star.
    value : array of uint16, shape (lines,)
        The number that the digits spell; other characters give a number that means nothing.
    """
    star: npt.NDArray[np.bool_] = (tail & np.uint64(0xFF)) == ord("*")
    characters = (tail >> np.uint64(8)).astype(np.uint32)
    # a letter has bit 6 set, and its low four bits are 9 less than its value
    nibbles = (characters & _LOW_NIBBLES) + ((characters >> np.uint32(6)) & _ONES) * np.uint32(9)
    pairs = nibbles << np.uint32(4) | nibbles >> np.uint32(8)
    if digits == 2:
        return star, (pairs & np.uint32(0xFF)).astype(np.uint16)
    return star, (pairs << np.uint32(8) | pairs >> np.uint32(16) & np.uint32(0xFF)).astype(np.uint16)


@cache
def _two_byte_table() -> Shorts:
    """Give the state after two more characters by (state xor characters), all in little-endian byte order."""
    single = np.array([binascii.crc_hqx(bytes([byte]), 0) for byte in range(256)], np.uint32)
    state = np.arange(65536, dtype=np.uint32)
    for _ in range(2):
        state = (state << 8 & 0xFFFF) ^ single[state >> 8]
    swapped = np.arange(65536, dtype=np.uint16).byteswap()
    return state.astype(np.uint16).byteswap()[swapped]


@cache
def _initial_value_table(longest: int) -> Shorts:
    """Give the CRC of so many zeros from the initial value 0xFFFF, in little-endian byte order."""
    values = [binascii.crc_hqx(bytes(length), 0xFFFF) for length in range(longest + 1)]
    return np.array(values, np.uint16).byteswap()

"""Numbers out of text, for thousands of lines at once: eight characters make one 64-bit word.

Fields are read from the right end of each line leftwards. Words are little-endian, so the character nearest
to a field's end is the highest byte. numpy has no loop over characters, so each step below is one operation
on the words of all lines; they work in place, because on these short arrays new memory costs as much as the
arithmetic.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]
Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

MOST_DIGITS = 15
"""Decimals of more digits are left to `float`: up to here ``integer / 10**places`` is rounded once."""


# arrays of no dimension: a numpy scalar would be converted again at each use
def _word(value: int) -> Words:
    return np.array(value, np.uint64)


def _in_each_byte(value: int) -> Words:
    return _word(value * 0x0101010101010101)


_ONE, _EIGHT, _SIXTEEN, _THIRTY_TWO = (_word(v) for v in (1, 8, 16, 32))
_SIX, _WORD_BITS, _SIGN_BIT, _LOW_BYTE = (_word(v) for v in (6, 64, 1 << 63, 0xFF))
_BITS_IN_WORD, _WORD_SHIFT, _NINE_BYTES = np.array(63), np.array(6), np.array(72)
_COMMAS, _ZEROS = _in_each_byte(ord(",")), _in_each_byte(ord("0"))
_DOT_FROM_COMMA = _in_each_byte(ord(",") ^ ord("."))
_LOW_7_BITS, _HIGH_BITS = _in_each_byte(0x7F), _in_each_byte(0x80)
_SIX_IN_EACH, _HIGH_NIBBLES = _in_each_byte(0x06), _in_each_byte(0xF0)
_MINUS = _word(ord("-") ^ ord("0"))
_NO_DIGIT_AT_END = _word(0x10 << 56)
_COMMA, _DOT = _word(ord(",") ^ ord("0")), _word(ord(".") ^ ord("0"))
_FLOAT_EXPONENT, _EXPONENT_BIAS, _WHOLE_BYTES = _word(52), _word(1023 - 7), _word(0x78)
_PAIRS, _PAIR_LANES = _word(1 + (10 << 8)), _word(0x00FF00FF00FF00FF)
_FOURS, _FOUR_LANES = _word(1 + (100 << 16)), _word(0x0000FFFF0000FFFF)
_EIGHTS = _word(1 + (10000 << 32))
_POWERS = 10 ** np.arange(17, dtype=np.int64)


class Scratch:
    """Working memory of `Fields`, one word a line for each purpose, to be used again and again.

    Parameters
    ----------
    memory : array of uint64, shape (6, lines)
        Anything.

    Attributes
    ----------
    lines : int
        For how many lines it is enough.
    """

    def __init__(self, memory: Words) -> None:
        self._memory = memory
        self.lines = memory.shape[1]
        self.window, self.skip, self.digits, self.minus, self.spare, place = memory
        self.place: Integers = place.view(np.int64)

    @classmethod
    def of(cls, lines: int) -> Scratch:
        """Make some for so many lines."""
        return cls(np.empty((6, lines), np.uint64))

    def first(self, lines: int) -> Scratch:
        """Give the same memory for fewer lines."""
        return Scratch(self._memory[:, :lines])


class Fields:
    """A cursor in each of many lines that takes comma-separated numbers off their right ends.

    Parameters
    ----------
    text : array of uint8, shape (n,)
        The characters; n a multiple of 8. A cursor must not be driven to the first eight characters, nor
        into the last eight.
    ends : array of int64, shape (lines,)
        Where the fields of each line end: the place after the last character.
    scratch : Scratch
        Working memory for as many lines or more.
    """

    def __init__(self, text: Bytes, ends: Integers, scratch: Scratch) -> None:
        self._windows = (ends - 8) * 8  # where the eight characters before the cursor begin, in bits
        self._text = text
        self._words = text.view(np.uint64)
        self._next_words = self._words[1:]
        self._scratch = scratch.first(ends.size)
        self._bad = np.zeros(ends.size, np.uint64)

    def well_formed(self, begins: Integers) -> npt.NDArray[np.bool_]:
        """Tell which lines held nothing but what was taken.

        Parameters
        ----------
        begins : array of int64, shape (lines,)
            Where the first field of each line begins.

        Returns
        -------
        array of bool, shape (lines,)
            True where every field was a number of the kind asked for and all were taken.
        """
        sound: npt.NDArray[np.bool_] = (self._bad & _HIGH_NIBBLES) == 0
        # the comma before the first field was taken as well
        sound &= self._windows + 72 == begins * 8
        return sound

    def take_integer(self, out: Integers) -> None:
        """Take an unsigned integer of up to 16 digits.

        Parameters
        ----------
        out : array of int64, shape (lines,)
            Receives the numbers.
        """
        self._find_digits()
        self._refuse_empty()
        self._value_into(out)
        if self._move_on():
            self._take_upper_digits(out)

    def take_number(self, out: Floats, decimals: bool = False) -> None:
        """Take a number with an optional minus sign.

        Parameters
        ----------
        out : array of float64, shape (lines,)
            Receives the numbers.
        decimals : bool
            Whether decimal points can occur at all; without them this is several times faster.
        """
        if decimals:
            self._take_decimal(out)
            return
        self._find_digits()
        self._refuse_empty()
        minus = self._split_off_minus()
        self._value_into(out)
        np.bitwise_and(minus, _SIGN_BIT, out=minus)
        np.bitwise_or(out.view(np.uint64), minus, out=out.view(np.uint64))
        if self._move_on():
            # no comma among the last eight characters: leave these lines to the slow and thorough reader
            self._bad |= np.where(self._scratch.skip == 0, _HIGH_NIBBLES, 0)

    def _find_digits(self, dots: bool = False) -> None:
        """Put what follows the last comma into `digits`, first character lowest; `skip` bits stand before."""
        s = self._scratch
        self._load_window()
        np.bitwise_xor(s.window, _COMMAS, out=s.spare)
        if dots:
            np.bitwise_and(s.spare, ~_DOT_FROM_COMMA, out=s.spare)
        # a byte that is zero (a comma) keeps its high bit clear
        np.add(s.spare, _LOW_7_BITS, out=s.spare)
        np.bitwise_and(s.spare, _HIGH_BITS, out=s.spare)
        np.bitwise_xor(s.spare, _HIGH_BITS, out=s.spare)
        # the exponent of a float is the place of its highest bit; bit 0 stands for "no comma"
        np.right_shift(s.spare, _SIX, out=s.spare)
        np.bitwise_or(s.spare, _ONE, out=s.spare)
        np.copyto(s.skip.view(np.float64), s.spare.view(np.int64))
        np.right_shift(s.skip, _FLOAT_EXPONENT, out=s.skip)
        np.subtract(s.skip, _EXPONENT_BIAS, out=s.skip)
        np.bitwise_and(s.skip, _WHOLE_BYTES, out=s.skip)
        np.bitwise_xor(s.window, _ZEROS, out=s.window)
        np.right_shift(s.window, s.skip, out=s.digits)

    def _load_window(self) -> None:
        """Load the eight characters before the cursor: they lie in two neighbouring words of the text."""
        s, shift = self._scratch, self._scratch.skip
        np.bitwise_and(self._windows, _BITS_IN_WORD, out=shift.view(np.int64))
        np.right_shift(self._windows, _WORD_SHIFT, out=s.place)
        self._words.take(s.place, out=s.window, mode="clip")
        np.right_shift(s.window, shift, out=s.window)
        np.subtract(_WORD_BITS, shift, out=shift)
        self._next_words.take(s.place, out=s.spare, mode="clip")
        np.left_shift(s.spare, shift, out=s.spare)
        np.bitwise_or(s.window, s.spare, out=s.window)

    def _refuse_empty(self) -> None:
        """Note the lines whose last character is a comma, a minus or a point and no digit."""
        s = self._scratch
        np.bitwise_and(s.window, _NO_DIGIT_AT_END, out=s.spare)
        np.bitwise_or(self._bad, s.spare, out=self._bad)

    def _split_off_minus(self) -> Words:
        """Turn a minus sign before the digits into a zero; give all ones where there was one, else zero."""
        s = self._scratch
        minus: Words = s.minus
        np.bitwise_and(s.digits, _LOW_BYTE, out=minus)
        np.bitwise_xor(minus, _MINUS, out=minus)
        np.add(minus, _LOW_BYTE, out=minus)
        np.right_shift(minus, _EIGHT, out=minus)
        np.subtract(minus, _ONE, out=minus)
        np.bitwise_and(minus, _MINUS, out=s.spare)
        np.subtract(s.digits, s.spare, out=s.digits)
        return minus

    def _value_into(self, out: Integers | Floats) -> None:
        """Work out the value of `digits`, and note the lines in which something else stood there."""
        s = self._scratch
        x = np.left_shift(s.digits, s.skip, out=s.digits)
        np.add(x, _SIX_IN_EACH, out=s.spare)
        np.bitwise_or(s.spare, x, out=s.spare)
        np.bitwise_or(self._bad, s.spare, out=self._bad)
        # two digits, four digits, eight digits: each lane takes its left neighbour times its weight
        np.multiply(x, _PAIRS, out=x)
        np.right_shift(x, _EIGHT, out=x)
        np.bitwise_and(x, _PAIR_LANES, out=x)
        np.multiply(x, _FOURS, out=x)
        np.right_shift(x, _SIXTEEN, out=x)
        np.bitwise_and(x, _FOUR_LANES, out=x)
        np.multiply(x, _EIGHTS, out=x)
        np.right_shift(x, _THIRTY_TWO, out=x)
        np.copyto(out, x.view(np.int64))

    def _move_on(self) -> bool:
        """Move over the digits and the comma before them, if it is there; tell whether some field goes on."""
        s = self._scratch
        np.subtract(s.skip.view(np.int64), _NINE_BYTES, out=s.place)
        np.add(self._windows, s.place, out=self._windows)
        goes_on = bool(np.count_nonzero(s.skip) < s.skip.size)
        if goes_on:
            self._windows += np.where(s.skip == 0, 8, 0)
        return goes_on

    def _take_upper_digits(self, out: Integers) -> None:
        """Take the ninth to sixteenth digit where a field has them."""
        if self._take_same_upper_digits(out):
            return
        s = self._scratch
        done, windows = s.skip != 0, self._windows.copy()
        self._find_digits()
        s.skip[done] = 64  # nothing is taken there
        upper = np.empty_like(out)
        self._value_into(upper)
        np.multiply(upper, _POWERS[8], out=upper)
        np.add(out, upper, out=out)
        if self._move_on():
            self._bad |= np.where(s.skip == 0, _HIGH_NIBBLES, 0)
        np.copyto(self._windows, windows, where=done)

    def _take_same_upper_digits(self, out: Integers) -> bool:
        """Take them if all lines have the same, as a clock has for a long time: comparing is faster."""
        if self._scratch.skip.any():
            return False
        last = (self._windows >> 3) + 7
        first_line = bytes(self._text[last[0] - 8 : last[0] + 1])
        comma, upper = first_line.rfind(b","), first_line[first_line.rfind(b",") + 1 :]
        if comma < 0 or not all(48 <= digit <= 57 for digit in upper):
            return False
        for character in reversed(first_line[comma:]):
            if not (self._text.take(last) == character).all():
                return False
            last -= 1
        out += int(upper or b"0") * _POWERS[8]
        self._windows -= 8 * (len(upper) + 1)
        return True

    def _take_decimal(self, out: Floats) -> None:
        """Take a number part by part: up to eight digits each, and the decimal point between them."""
        s = self._scratch
        total, taken, places = (np.zeros(out.size, np.int64) for _ in range(3))
        minus, more = np.zeros(out.size, np.uint64), np.ones(out.size, bool)
        part = np.empty(out.size, np.int64)
        for turn in range(4):
            self._find_digits(dots=True)
            ending = np.where(s.skip == 0, 0, (s.window >> (s.skip - _EIGHT)) & _LOW_BYTE)
            if turn == 0:
                self._refuse_empty()
            dot, last = more & (ending == _DOT), more & (ending == _COMMA)
            sign = self._split_off_minus()
            minus |= np.where(last, sign, 0)
            self._bad |= np.where(more & ~last, sign, 0) | np.where(dot & (places > 0), _HIGH_NIBBLES, 0)
            s.digits *= more
            self._value_into(part)
            total += part * _POWERS[np.minimum(taken, MOST_DIGITS)]
            length = np.where(more, 8 - (s.skip.view(np.int64) >> 3), 0)
            taken += length
            places[dot] = taken[dot]
            self._windows -= 8 * (length + (dot | last))
            more &= ~last
            if not more.any():
                break
        self._bad |= np.where(more | (taken > MOST_DIGITS), _HIGH_NIBBLES, 0)
        np.divide(total, _POWERS[np.minimum(places, MOST_DIGITS)], out=out)
        np.bitwise_or(out.view(np.uint64), minus & _SIGN_BIT, out=out.view(np.uint64))

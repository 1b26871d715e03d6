"""The line decoder against Python's own reading of the same records."""

import binascii

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.recording.blocks import join_blocks
from balancer.recording.lines import Layout, parse_lines
from tests.streams import checked, samples

CHECKS = ("crc16", "xor", "none")
ticks = st.integers(0, 2**48)
counts = st.one_of(
    st.integers(-(10**9), 10**9).map(str),
    st.integers(-99, 99).map(str),
    st.floats(-1e7, 1e7).map(lambda value: f"{value:.6f}"),
    st.floats(-1, 1).map(lambda value: f"{value:.3f}"),
    st.floats(-1e300, 1e300).map(repr),
)
records = st.lists(st.tuples(ticks, ticks, st.lists(counts, min_size=3, max_size=3)), min_size=1, max_size=40)


def parse(lines, check="crc16", axes=3, end="\n"):
    return parse_lines("".join(line + end for line in lines).encode(), Layout(axes, check))


@given(records, st.sampled_from(CHECKS), st.sampled_from(["\n", "\r\n"]))
def test_numbers_are_those_that_python_reads(rows, check, end):
    block = parse([checked(f"a,{n},{t},{','.join(v)}", check) for n, t, v in rows], check, end=end)
    assert block.damaged.size == 0
    assert block.index.tolist() == [n for n, _, _ in rows]
    assert block.tick.tolist() == [t for _, t, _ in rows]
    assert block.counts.T.tolist() == [[float(value) for value in v] for _, _, v in rows]


@given(st.lists(st.tuples(ticks, st.integers(-40000, 40000)), min_size=1, max_size=60))
def test_whole_counts_of_every_width(rows):
    lines = [checked(f"a,{t % 2**32},{t},{x},{-x},{x // 7}") for t, x in rows]
    block = parse(lines)
    assert block.tick.tolist() == [t for t, _ in rows]
    assert block.counts.T.tolist() == [[x, -x, x // 7] for _, x in rows]
    assert not block.decimals


@pytest.mark.parametrize("digits", range(1, 19))
def test_ticks_of_every_length(digits):
    tick = int("123456789123456789"[:digits])
    block = parse([checked(f"a,{k},{tick + k},1,2,3") for k in range(5)])
    assert block.tick.tolist() == [tick + k for k in range(5)]


def test_upper_digits_of_a_clock_change_within_the_lines():
    start = 10**8 * 42 - 50
    block = parse([checked(line) for line in samples(100, start=start, period=1)])
    assert block.tick.tolist() == [start % 2**32 + k for k in range(100)]
    small = parse([checked(line) for line in samples(100, start=10**8 - 50, period=1)])
    assert small.tick.tolist() == [10**8 - 50 + k for k in range(100)]


@pytest.mark.parametrize(
    "values",
    [
        "1e3,-2E-2,+5",
        " 5,6,7".replace(" ", "+"),
        "00012,-0,-000.50",
        "12345678901234567890,0,0",
        ".5,5.,-.25",
    ],
)
def test_rare_forms_of_numbers(values):
    block = parse([checked(f"a,1,2,{values}"), checked("a,2,3,1,2,3")])
    assert block.counts[:, 0].tolist() == [float(value) for value in values.split(",")]


@pytest.mark.parametrize(
    "record",
    [
        "a,1,2,3,4",
        "a,1,2,3,4,5,6",
        "a,1,2,3,4,",
        "a,1,2,,4,5",
        "a,,2,3,4,5",
        "a,1,2,3,4,-",
        "a,1,2,3,4,--5",
        "a,1,2,3,4-5,6",
        "a,1,2,3,4,5-",
        "a,1,2,3,4,1.2.3",
        "a,1,2,3,4,.",
        "a,1,2,nan,4,5",
        "a,1,2,inf,4,5",
        "a,1,2,1e999,4,5",
        "a,1,2,/3,4,5",
        "a,1,2, 3,4,5",
        "a,-1,2,3,4,5",
        "a,1,2.5,3,4,5",
        "a,1,+2,3,4,5",
        "a,1,2,3,4,5:",
        "a,1,2,3,4,0x5",
        "a,12345678901234567890,2,3,4,5",
        "a 1,2,3,4,5,6",
        "a",
        "a,",
        "aa,1,2,3,4,5",
        "m,1",
        "m,1,2,3",
        "m,1,-2",
        "m,1,2.5",
        "s,1,2,3,4,5",
        "s,1,2,3,4,5,6,7",
        "1,2,3",
        "?,1,2",
        "xyz,1,2",
    ],
)
@pytest.mark.parametrize("check", CHECKS)
@pytest.mark.parametrize("beside", ["a,1,2,3,4,5", "a,1,2,3.5,4,5"])
def test_what_is_no_record_is_damaged_although_its_check_fits(record, check, beside):
    block = parse([checked(line, check) for line in (beside, record, "m,7,8", beside)], check)
    assert block.damaged.tolist() == [1]
    assert block.index.tolist() == [1, 1]
    assert (block.sample_lines.tolist(), block.mark_lines.tolist()) == ([0, 3], [2])


@pytest.mark.parametrize("check", ["crc16", "xor"])
@pytest.mark.parametrize("spoil", [lambda s: s[:-1], lambda s: s + "0", lambda s: s.replace("*", "")])
def test_a_spoilt_check(check, spoil):
    good = checked("a,1,2,3,4,5", check)
    block = parse([good, spoil(good), "a,1,2,3,4,5", "*", "**", good], check)
    assert block.damaged.tolist() == [1, 2, 3, 4]
    assert block.index.size == 2


def test_lower_case_checks_are_read():
    line = "a,1,2,3,4,5"
    block = parse(
        [f"{line}*{binascii.crc_hqx(line.encode(), 0xFFFF):04x}", "T,1*" + checked("T,1")[-4:].lower()]
    )
    assert block.index.tolist() == [1]
    assert block.others == ((1, b"T,1"),)


def test_marks_status_messages_and_the_rest():
    lines = [
        "# a comment, with a point.",
        checked("m,4294967295,77"),
        checked("s,1,2,3,4,5,6"),
        checked("e,sensor is warm, 41 C"),
        checked("T,23.5"),
        "",
        checked("a,1,2,3,4,5"),
    ]
    block = parse(lines)
    assert block.comments == ((0, b"# a comment, with a point."),)
    assert (block.mark_index.tolist(), block.mark_tick.tolist()) == ([4294967295], [77])
    assert block.status.tolist() == [[1, 2, 3, 4, 5, 6]]
    assert block.messages == ((3, "sensor is warm, 41 C"),)
    assert block.others == ((4, b"T,23.5"),)
    assert (block.sample_lines.tolist(), block.lines, block.damaged.size) == ([6], 7, 0)


def test_very_long_lines_are_damaged_and_do_no_harm():
    long = "a,1,2," + "0" * 3000 + "5,6,7"
    block = parse([checked(long), "a," + "1" * 100_000, checked("a,2,3,4,5,6")])
    assert block.index.tolist() == [2]
    assert block.damaged.tolist() == [0, 1]


@pytest.mark.parametrize("axes", [1, 2, 6, 12])
def test_other_numbers_of_axes(axes):
    values = [k - 3 for k in range(axes)]
    line = checked(f"a,5,6,{','.join(map(str, values))}")
    assert parse([line] * 3, axes=axes).counts.T.tolist() == [values] * 3


def test_blocks_are_joined_as_if_they_had_been_one():
    lines = [checked(line) for line in samples(50)] + [checked("m,1,5"), "rubbish", checked("e,hello")]
    whole = parse(lines)
    parts = join_blocks([parse(lines[:20]), parse(lines[20:51]), parse(lines[51:])])
    assert np.array_equal(parts.counts, whole.counts)
    for name in ("index", "tick", "sample_lines", "mark_lines", "damaged"):
        assert getattr(parts, name).tolist() == getattr(whole, name).tolist()
    assert (parts.lines, parts.messages) == (whole.lines, whole.messages)


def test_nothing_gives_nothing():
    block = parse_lines(b"", Layout(3, "crc16"))
    assert (block.lines, block.index.size, block.counts.shape) == (0, 0, (3, 0))

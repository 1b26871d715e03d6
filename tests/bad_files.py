"""Recording files that cannot be used: (name, content or None for no file, words of the refusal).

For the reader and for the command line. Every refusal names the file; those of `WITH_LINE` name a line too.
"""

from __future__ import annotations

from tests.streams import VERSION, checked, hello, samples, stream


def _headed(*lines: str) -> bytes:
    return ("\n".join(lines) + "\n").encode()


def _hello(**changes: object) -> bytes:
    return stream(samples(20), header=[VERSION, hello(**changes)])


def _table(*rows: str, header: str = "time_s,x_g,y_g") -> bytes:
    return ("\n".join((header, *rows)) + "\n").encode()


_GOOD_ROWS = ("0.000,0.1,0.2", "0.001,0.2,0.3", "0.002,0.3,0.1")

WITHOUT_LINE: list[tuple[str, bytes | None, str]] = [
    ("missing.stream.csv", None, "there is no such file"),
    ("empty.stream.csv", b"", "the file is empty"),
    ("blank.csv", b"\n \r\n\n", "the file is empty"),
    ("picture.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\1\0", "binary data that is not understood"),
    ("zeros.stream.csv", bytes(4000), "binary data that is not understood"),
    (
        "axes_change.stream.csv",
        stream(samples(20)) + stream(samples(20), header=[hello(sid=18, axes=["x", "y"])]),
        "axes or marks_per_rev change",
    ),
]

WITH_LINE: list[tuple[str, bytes, str]] = [
    # not a recording
    ("letter.txt", b"Dear reader\nthis is a letter\n", "the format of the file is not understood"),
    ("program.csv", b"int main(void) {\n  return 0;\n}\n", "names a single column"),
    # the header of a stream
    ("no_header.stream.csv", _headed(*map(checked, samples(20))), "the header lines are missing"),
    ("version_2.stream.csv", stream(samples(20), header=["# balancer stream 2", hello()]), "version 2"),
    ("version_x.stream.csv", stream(samples(20), header=["# balancer stream 1.5", hello()]), "version 1.5"),
    ("no_hello.stream.csv", stream(samples(20), header=[VERSION]), "with the JSON object is missing"),
    (
        "no_json.stream.csv",
        stream(samples(20), header=[VERSION, "# hello"]),
        "with the JSON object is missing",
    ),
    ("broken_json.stream.csv", stream(samples(20), header=[VERSION, hello()[:-9]]), "is not valid JSON"),
    ("single_quotes.stream.csv", stream(samples(20), header=[VERSION, "# {'sid': 1}"]), "is not valid JSON"),
    ("deep_json.stream.csv", stream(samples(20), header=[VERSION, "# {" + "[" * 99999]), "is not valid JSON"),
    ("no_text.stream.csv", stream([]).replace(b"test board", b"\xff\xfe"), "is not UTF-8"),
    ("missing_keys.stream.csv", _hello(scale=..., tick_hz=..., check=...), "lacks scale, tick_hz, check"),
    ("scale_0.stream.csv", _hello(scale=0), "scale must be a number other than 0, not 0"),
    ("scale_text.stream.csv", _hello(scale="0.04"), "scale must be a number"),
    ("scale_nan.stream.csv", _hello(scale=float("nan")), "scale must be a number"),
    ("scale_true.stream.csv", _hello(scale=True), "scale must be a number"),
    ("no_axes.stream.csv", _hello(axes=[]), "axes must be a list of different names"),
    ("axes_text.stream.csv", _hello(axes="xyz"), "axes must be a list"),
    ("same_axes.stream.csv", _hello(axes=["x", "x", "z"]), "axes must be a list of different names"),
    ("unit.stream.csv", _hello(unit="ft/s^2"), "unit must be"),
    ("check.stream.csv", _hello(check="crc8"), "check must be"),
    ("tick_hz.stream.csv", _hello(tick_hz=-1), "tick_hz must be a number above 0"),
    ("tick_bits.stream.csv", _hello(tick_bits=3.5), "tick_bits must be a whole number"),
    ("marks_per_rev.stream.csv", _hello(marks_per_rev=0), "marks_per_rev must be a whole number"),
    ("many_wrong.stream.csv", _hello(sid="a", rate_hz=None, mark_edge="up"), "sid must be a whole number"),
    # the records of a stream
    ("header_only.stream.csv", stream([]), "fewer than two samples follow the header"),
    ("one_sample.stream.csv", stream(samples(1)), "fewer than two samples follow the header"),
    ("only_marks.stream.csv", stream(["m,0,5000", "m,1,9000"]), "fewer than two samples follow the header"),
    ("wrong_axes.stream.csv", _hello(axes=["x", "y"]), "20 lines are damaged"),
    ("wrong_check.stream.csv", _hello(check="xor"), "20 lines are damaged"),
    ("words.stream.csv", stream(["a,0,5,x,y,z", "a,1,6,1,nan,2", "a,2,7,1,inf,2"]), "3 lines are damaged"),
    # the header of a table
    ("numbers.csv", _table(*_GOOD_ROWS[1:], header=_GOOD_ROWS[0]), "numbers begin without a header line"),
    ("only_comments.csv", b"# a comment, and\n# another, one\n", "there is no header line"),
    ("no_time.csv", _table(*_GOOD_ROWS, header="a_g,b_g,c_g"), "names no time column"),
    ("two_times.csv", _table(*_GOOD_ROWS, header="time_s,t_ms,x_g"), "are both times"),
    ("time_unit.csv", _table(*_GOOD_ROWS, header="time,x_g,y_g"), "'time' names no unit"),
    ("no_unit.csv", _table(*_GOOD_ROWS, header="time_s,x,y_g"), "'x' names no unit"),
    (
        "no_acceleration.csv",
        _table(*_GOOD_ROWS, header="time_s,light_lx,sound_db"),
        "no column is an acceleration",
    ),
    ("same_names.csv", _table(*_GOOD_ROWS, header="time_s,x_g,x_mg"), "2 columns are named 'x'"),
    ("two_marks.csv", _table("0,1,0,0", "1,2,1,1", header="time_s,x_g,mark,tach"), "are both marks"),
    # the rows of a table
    ("header_only.csv", _table(), "fewer than two rows"),
    ("one_row.csv", _table(_GOOD_ROWS[0]), "fewer than two rows"),
    (
        "not_a_number.csv",
        _table(*_GOOD_ROWS[:2], "0.002,nan,0.1"),
        "in column 'x_g', 'nan' is not a finite number",
    ),
    (
        "infinite.csv",
        _table(*_GOOD_ROWS[:2], "0.002,0.1,-inf"),
        "in column 'y_g', '-inf' is not a finite number",
    ),
    ("text.csv", _table(*_GOOD_ROWS[:2], "0.002,soft,0.1"), "'soft' is not a finite number"),
    ("empty_cell.csv", _table(*_GOOD_ROWS[:2], "0.002,,0.1"), "in column 'x_g', the cell is empty"),
    ("decimal_signs.csv", b"time_s;x_g\n0;1\n0,5;2\n1.0;3\n", "write the decimal sign alike"),
    ("commas_for_all.csv", b"time_s,x_g\n0,000,1,25\n0,001,2,50\n", "and, it seems, in the numbers too"),
    ("ragged.csv", _table(*_GOOD_ROWS[:2], "0.002,0.3"), "this row has 2 cells"),
    ("long_row.csv", _table(*_GOOD_ROWS[:2], "0.002,0.3,0.1,7"), "this row has 4 cells"),
    ("same_time.csv", _table(*_GOOD_ROWS[:2], "0.001,0.3,0.1"), "the time does not rise"),
    ("falling_time.csv", _table(*_GOOD_ROWS[:2], "0.0005,0.3,0.1"), "the time does not rise"),
]

BAD_FILES: list[tuple[str, bytes | None, str]] = [*WITHOUT_LINE, *WITH_LINE]

"""Tables as phones, loggers, spreadsheets and boards write them: what each must be taken for.

All files are made here from one signal of our own (tests/foreign.py), whose rate, amplitude and marks are
known in closed form; so the expected figures come from how it was made, not from the reader.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.recording.files import read_bytes
from balancer.recording.hints import Hints
from tests.foreign import (
    AMPLITUDE,
    GRAVITY,
    LAG,
    ONCE_HZ,
    Case,
    G,
    Signal,
    bursty,
    even,
    numbers,
    scattered,
    table,
    write,
)
from tests.streams import samples, stream

SIGNAL = even()
T = SIGNAL.times
EPOCH = 1_777_889_472.25  # 2026-05-04 10:11:12.25 UTC


def seconds(title="time_s", form="{:.4f}", comma=False):
    return title, numbers(T, form, comma)


def iso(form, zone=UTC, start=EPOCH, cut=0):
    base = datetime.fromtimestamp(start, zone)
    return [(base + timedelta(seconds=float(t))).strftime(form)[: cut or None] for t in T]


def plain(*args, encoding="utf-8", **keywords):
    return lambda: table(SIGNAL, *args, **keywords).encode(encoding)


def stalled():
    """100 samples missing in one place, three single ones elsewhere."""
    keep = np.ones(T.size, dtype=bool)
    keep[700:800] = False
    keep[[150, 151, 1500]] = False
    part = Signal(T[keep], SIGNAL.samples[:, keep], SIGNAL.mark[keep], SIGNAL.marks)
    return table(part, ("time_s", numbers(part.times, "{:.4f}")), mark="mark").encode()


def repeated_rows():
    lines = table(SIGNAL, seconds()).split("\n")
    return "\n".join([*lines[:500], *lines[480:500], *lines[500:900], lines[899], *lines[900:]]).encode()


def swapped_rows():
    lines = table(SIGNAL, seconds()).split("\n")
    lines[300], lines[301] = lines[301], lines[300]
    return "\n".join(lines).encode()


def rounded(rate, form, scale):
    signal = even(rate, 6000)
    return table(signal, ("time_ms", numbers(np.floor(signal.times * scale + 1e-9), form))).encode()


def arrival(stamps, mark=""):
    return lambda: table(SIGNAL, ("time_s", numbers(stamps, "{:.7f}")), mark=mark).encode()


POLLED = np.cumsum(0.0025 * np.random.default_rng(8).uniform(0.4, 1.6, 4000))
POLLED_HZ = (POLLED.size - 1) / (POLLED[-1] - POLLED[0])


def polled():
    """A board that reads when it comes to it, and stamps that moment: uneven and honest."""
    signal = Signal.at(POLLED)
    return table(signal, ("time_us", numbers(signal.times * 1e6, "{:.0f}"))).encode()


def unit_line():
    lines = table(SIGNAL, ("Time", numbers(T, "{:.4f}", True)), "", comma=True, delimiter=";").split("\n")
    return "\n".join([lines[0], "s;m/s²;m/s²;m/s²", *lines[1:]]).encode()


def labelled():
    columns = [seconds(), ("label", ["run, first"] * T.size)]
    columns += [(f"{n} [g]", numbers(row / G)) for n, row in zip("xyz", SIGNAL.samples, strict=True)]
    columns[1] = ("label", ['"run, first"'] * T.size)
    return write(columns).encode()


def phone():
    """A count since 1970 in ns, seconds elapsed, and the axes backwards, as a phone's app may write them."""
    stamps = [f"{1_777_889_472_250_000_000 + round(t * 1e9)}" for t in T]
    columns = [("time", stamps), ("seconds_elapsed", numbers(T, "{:.7f}"))]
    columns += [(f"{n} (m/s²)", numbers(SIGNAL.samples["xyz".index(n)])) for n in "zyx"]
    return write(columns).encode()


def with_size():
    columns = [seconds("Time (s)")]
    columns += [
        (f"Acceleration {n} (m/s^2)", numbers(row)) for n, row in zip("xyz", SIGNAL.samples, strict=True)
    ]
    size = np.linalg.norm(SIGNAL.samples, axis=0)
    return write([*columns, ("Absolute acceleration (m/s^2)", numbers(size))], quote=True).encode()


def linear():
    flat = Signal(T, SIGNAL.samples - np.array(GRAVITY)[:, np.newaxis], SIGNAL.mark, SIGNAL.marks)
    return table(
        flat, seconds(), "(m/s²)", names=("Linear Acceleration x", "lin acc y", "lin_acc_z")
    ).encode()


def over_midnight():
    clock = iso("%H:%M:%S.%f", start=1_777_939_197.75)  # 23:59:57.75 UTC
    return table(SIGNAL, ("Time", clock), "[g]", factor=G).encode()


CASES = [
    Case("comma, seconds", plain(seconds())),
    Case("semicolons", plain(seconds(), delimiter=";")),
    Case("tabs", plain(seconds(), delimiter="\t"), form=("tabs",)),
    Case("bars", plain(seconds(), delimiter="|"), form=("bars",)),
    Case(
        "spaces",
        plain(seconds(), "[g]", factor=G, names=("ax", "ay", "az"), delimiter="  ", quote=True),
        unit="g",
        names=("ax", "ay", "az"),
        form=("spaces",),
    ),
    Case("comma and space", plain(seconds(), "[mg]", factor=G / 1000, delimiter=", "), unit="mg"),
    Case(
        "decimal commas",
        plain(seconds("t [s]", comma=True), comma=True, delimiter=";"),
        form=("semicolons", "decimal commas"),
    ),
    Case(
        "decimal commas and tabs",
        plain(("t [ms]", numbers(T * 1e3, "{:.1f}", True)), comma=True, delimiter="\t"),
    ),
    Case(
        "decimal commas in quotes",
        lambda: write(
            [
                ("time_s", [f'"{c}"' for c in numbers(T, "{:.4f}", True)]),
                *(
                    (f"{n} (g)", [f'"{c}"' for c in numbers(row / G, "{:.5f}", True)])
                    for n, row in zip("xyz", SIGNAL.samples, strict=True)
                ),
            ]
        ).encode(),
        unit="g",
    ),
    Case("CRLF and byte order mark", lambda: b"\xef\xbb\xbf" + plain(seconds(), end="\r\n")()),
    Case("CR alone", plain(seconds(), end="\r")),
    Case("UTF-16", plain(seconds(), "(m/s²)", encoding="utf-16"), form=("UTF-16",)),
    Case(
        "Windows-1252",
        plain(seconds(), "[m/s²]", encoding="cp1252"),
        form=("Windows-1252",),
        findings=frozenset({"encoding_assumed"}),
    ),
    Case("quoted titles", plain(seconds("Time (s)"), "(m/s^2)", quote=True)),
    Case("delimiter at the end", plain(seconds(), delimiter=";", trailing=";")),
    Case(
        "delimiter at the end of rows",
        lambda: plain(seconds())().replace(b"\n", b",\n").replace(b",\n", b"\n", 1),
    ),
    Case(
        "lines before the table",
        plain(
            seconds(),
            before=(
                "Logger 4 of the workshop",
                "Started: 2026-05-04 10:11:12",
                "",
                "Channels;3",
                "Range;16;g",
            ),
        ),
    ),
    Case("commented title", plain(seconds(), "[m/s^2]", delimiter="\t", title_prefix="# ")),
    Case("comment in the rows", lambda: plain(seconds())().replace(b"\n0.5000", b"\n# battery low\n0.5000")),
    Case("units in a line of their own", unit_line, form=("decimal commas",), names=("x", "y", "z")),
    Case("milliseconds", plain(("t_ms", numbers(T * 1e3, "{:.1f}")))),
    Case("microseconds of a board", plain(("micros", numbers(T * 1e6 + 5e8, "{:.0f}")))),
    Case("nanoseconds since boot", plain(("timestamp [ns]", numbers(T * 1e9 + 7e13, "{:.0f}")))),
    Case("epoch in s", plain(("epoch_s", numbers(T + EPOCH, "{:.4f}")))),
    Case("epoch in ms without a unit", plain(("timestamp", numbers((T + EPOCH) * 1e3, "{:.1f}")))),
    Case("epoch in us without a unit", plain(("time", numbers((T + EPOCH) * 1e6, "{:.0f}")))),
    Case("phone, two clocks", phone, findings=frozenset({"columns_ignored"}), names=("z", "y", "x")),
    Case("ISO 8601 UTC", plain(("time", iso("%Y-%m-%dT%H:%M:%S.%fZ")))),
    Case("ISO 8601 with a zone", plain(("datetime", iso("%Y-%m-%d %H:%M:%S.%f+02:00")))),
    Case(
        "ISO 8601, decimal comma",
        plain(
            ("time", [c.replace(".", ",") for c in iso("%Y-%m-%d %H:%M:%S.%f")]), comma=True, delimiter=";"
        ),
    ),
    Case("day first", plain(("Time", iso("%d.%m.%Y %H:%M:%S.%f")), "[g]", factor=G), unit="g"),
    Case("time of day over midnight", over_midnight, unit="g"),
    Case(
        "unit told",
        plain(("t", numbers(T * 1e3, "{:.1f}")), "", factor=G, names=("ax", "ay", "az")),
        hints=Hints(time_unit="ms", unit="g"),
        unit="g",
        names=("ax", "ay", "az"),
    ),
    Case(
        "rate told",
        lambda: write(
            [
                (f"{n}_mg", numbers(row / G * 1000, "{:.2f}"))
                for n, row in zip("xyz", SIGNAL.samples, strict=True)
            ]
        ).encode(),
        hints=Hints(rate=400.0),
        unit="mg",
        stamps="counted",
    ),
    Case("spelling m/s/s", plain(seconds("Zeit [s]"), "[m/s/s]")),
    Case("spelling m s-2", plain(seconds("t (sec)"), "(m s-2)")),
    Case(
        "size left out",
        with_size,
        names=("acceleration x", "acceleration y", "acceleration z"),
        findings=frozenset({"columns_ignored"}),
    ),
    Case(
        "gravity taken out", linear, gravity=False, names=("linear acceleration x", "lin acc y", "lin_acc_z")
    ),
    Case("labels with commas", labelled, unit="g", findings=frozenset({"columns_ignored"})),
    Case("mark column", plain(seconds(), mark="mark"), marks=True, findings=frozenset({"mark_resolution"})),
    Case(
        "half a row at the end",
        lambda: plain(seconds())()[:-30],
        findings=frozenset({"last_line_cut"}),
        rows=1999,
    ),
    Case("rows repeated", repeated_rows, findings=frozenset({"rows_repeated"})),
    Case("rows swapped", swapped_rows, findings=frozenset({"rows_out_of_order"})),
    Case(
        "gaps",
        stalled,
        findings=frozenset({"samples_lost", "mark_resolution"}),
        lost=103,
        rows=1897,
        marks=True,
    ),
    Case(
        "1 ms stamps at 400 Hz",
        lambda: rounded(400.0, "{:.0f}", 1e3),
        stamps="rounded",
        rows=6000,
        findings=frozenset({"stamps_rounded"}),
    ),
    Case(
        "1 ms stamps at 1600 Hz",
        lambda: rounded(1600.0, "{:.0f}", 1e3),
        rate=1600.0,
        stamps="rounded",
        rows=6000,
        findings=frozenset({"stamps_rounded"}),
    ),
    Case(
        "bursts of arrival", arrival(bursty(T)), stamps="arrival", findings=frozenset({"stamps_of_arrival"})
    ),
    Case(
        "bursts, mark along",
        arrival(bursty(T), mark="mark"),
        stamps="arrival",
        marks=True,
        findings=frozenset({"stamps_of_arrival", "mark_resolution"}),
    ),
    Case(
        "bursts with equal stamps",
        arrival(np.round(bursty(T), 4)),
        stamps="arrival",
        findings=frozenset({"stamps_of_arrival"}),
    ),
    Case(
        "late one by one",
        arrival(scattered(T, 0.008)),
        stamps="arrival",
        findings=frozenset({"stamps_of_arrival"}),
    ),
    Case(
        "honest and uneven",
        polled,
        rate=POLLED_HZ,
        rows=4000,
        stamps="sensor",
        findings=frozenset({"stamps_uneven"}),
        extra={"rate": 5e-3},
    ),
    Case(
        "said to be of arrival",
        polled,
        rate=POLLED_HZ,
        rows=4000,
        stamps="arrival",
        findings=frozenset({"stamps_of_arrival"}),
        hints=Hints(stamps="arrival"),
        extra={"amplitude": False, "rate": 5e-3},
    ),
]


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_dialect(case):
    recording = read_bytes(case.make(), "a.csv", case.hints)
    seen = recording.understood
    assert tuple(channel.name for channel in recording.channels) == case.names
    assert {unit.rsplit(" in ", 1)[1] for _, unit in seen.columns if unit.startswith("channel")} == {
        case.unit
    }
    assert recording.times.size == case.rows
    assert seen.rate == pytest.approx(case.rate, rel=case.extra.get("rate", 2e-3))
    assert seen.stamps == case.stamps
    assert {finding.code for finding in recording.findings} == case.findings
    assert sum(gap.lost for gap in recording.gaps) == case.lost
    assert all(word in seen.form for word in case.form)
    means = dict(zip("xyz", GRAVITY, strict=True))
    for name, row in zip(case.names, recording.samples, strict=True):
        wanted = means[name.replace("acceleration ", "").strip("linear_ ")[-1]] if case.gravity else 0.0
        assert row.mean() == pytest.approx(wanted, abs=0.1)
    assert (recording.marks is not None) == case.marks
    if case.extra.get("amplitude", True):
        assert_1x(recording)


def assert_1x(recording):
    """Amplitude as made, whatever the stamps; and the phase where the marks came along."""
    measured = measure(recording, near=2 * np.pi * ONCE_HZ)
    largest = max(measured.channels, key=lambda channel: channel.amplitude.value)
    assert largest.amplitude.value == pytest.approx(AMPLITUDE[0], rel=0.02)
    if recording.marks is not None:
        # a column of 0 and 1 knows its edge to one sample, in its middle on average
        step = 2 * np.pi * ONCE_HZ / measured.sample_rate
        assert abs(np.angle(largest.once.value * np.exp(-1j * LAG))) < step / 2


def test_there_are_at_least_thirty_dialects():
    assert len({case.name for case in CASES}) == len(CASES) >= 30


def test_arrival_stamps_left_as_they_are_cost_the_amplitude():
    """The defect is real: on the bursty stamps themselves more than half of 1x is gone."""
    data = arrival(np.maximum.accumulate(bursty(T)) + 1e-6 * np.arange(T.size))()
    kept = read_bytes(data, "a.csv", Hints(stamps="sensor"))
    fitted = read_bytes(data, "a.csv")
    assert height(kept) < 0.5 * AMPLITUDE[0]
    assert height(fitted) > 0.98 * AMPLITUDE[0]


def height(recording):
    """The highest amplitude within 0.3 Hz of 1x, by the definition of the Fourier transform."""
    x = recording.samples[0] - recording.samples[0].mean()
    frequencies = ONCE_HZ + np.linspace(-0.3, 0.3, 121)
    turning = np.exp(-2j * np.pi * frequencies[:, np.newaxis] * recording.times)
    return 2 * np.abs(np.mean(x * turning, axis=1)).max()


REFUSED = {
    "no unit of time": (plain(("t", numbers(T * 1e3, "{:.1f}"))), Hints(), "names no unit; .*--time-unit"),
    "no unit of acceleration": (plain(seconds(), ""), Hints(), "the column 'x' names no unit; .*--unit"),
    "unit told otherwise": (plain(seconds()), Hints(unit="g"), "states m/s\\^2, --unit says g"),
    "time told otherwise": (plain(seconds()), Hints(time_unit="ms"), "states s, --time-unit says ms"),
    "rate beside a time": (plain(seconds()), Hints(rate=400.0), "leave --rate out"),
    "commas for all": (plain(seconds(comma=True), comma=True), Hints(), "and, it seems, in the numbers too"),
    "no header": (lambda: b"\n".join(plain(seconds())().split(b"\n")[1:]), Hints(), "without a header line"),
    "two clocks alike": (
        lambda: plain(seconds())().replace(b"x (m/s^2)", b"t_ms"),
        Hints(),
        "are both times; keep one",
    ),
    "AM and PM": (plain(("time", iso("%I:%M:%S.%f %p"))), Hints(), "AM and PM"),
    "day or month": (
        lambda: table(SIGNAL, ("time", iso("%d/%m/%Y %H:%M:%S.%f", start=1_777_939_197.75))).encode(),
        Hints(),
        "day or month first",
    ),
    "zone changes": (
        lambda: (
            plain(("time", iso("%Y-%m-%dT%H:%M:%S.%fZ")))()
            .replace(b"14.25", b"14.25")
            .replace(b"16.000000Z", b"16.000000+01:00")
        ),
        Hints(),
        "time zone changes",
    ),
    "not rising, said to be the sensor's": (
        arrival(np.round(bursty(T), 3)),
        Hints(stamps="sensor"),
        "cannot be when the samples were taken",
    ),
    "time stands still": (
        plain(("time_s", ["0.5"] * T.size)),
        Hints(),
        "does not rise from the first row to the last",
    ),
}


@pytest.mark.parametrize(("make", "hints", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_ambiguous_is_refused_in_one_sentence(make, hints, words):
    data = make()
    with pytest.raises(InputError, match=words) as refused:
        read_bytes(data, "a.csv", hints)
    said = str(refused.value)
    assert said.startswith("a.csv")
    assert refused.value.todo
    assert "\n" not in said


def test_stamps_that_nothing_tells_apart_are_kept_and_asked_about():
    rng = np.random.default_rng(5)
    signal = Signal(T, rng.standard_normal((3, T.size)), SIGNAL.mark, SIGNAL.marks)
    stamps = np.cumsum(0.0025 * rng.uniform(0.4, 1.6, T.size))
    recording = read_bytes(table(signal, ("time_s", numbers(stamps, "{:.7f}"))).encode(), "a.csv")
    assert recording.understood.stamps == "unclear"
    assert {finding.code for finding in recording.findings} == {"stamps_unclear"}
    assert recording.times == pytest.approx(stamps - stamps[0], abs=1e-6)


def test_bursts_with_a_gap_make_two_segments():
    keep = np.ones(T.size, dtype=bool)
    keep[900:1300] = False
    stamps = bursty(T)[keep]
    signal = Signal(T[keep], SIGNAL.samples[:, keep], SIGNAL.mark[keep], SIGNAL.marks)
    recording = read_bytes(table(signal, ("time_s", numbers(stamps, "{:.7f}"))).encode(), "a.csv")
    (gap,) = recording.gaps
    assert gap.lost == pytest.approx(400, abs=15)
    assert recording.segment_starts == (900,)


def test_a_stall_that_is_caught_up_is_no_gap():
    stamps = bursty(T)
    stamps[900:1000] = stamps[999]  # a quarter of a second held back, then all at once
    recording = read_bytes(arrival(np.maximum.accumulate(stamps))(), "a.csv")
    assert recording.gaps == ()
    assert recording.understood.rate == pytest.approx(400, rel=2e-3)


def test_a_stream_is_not_told_what_it_says_itself():
    with pytest.raises(InputError, match="a stream says itself what --unit, --rate would say"):
        read_bytes(stream(samples(30)), "a.stream.csv", Hints(unit="g", rate=400.0))

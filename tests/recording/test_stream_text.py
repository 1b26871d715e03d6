"""Stream files written line by line, apart from the package's writer: what is read must be what they say."""

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.recording import stream_text
from balancer.recording.assembly import PAUSE
from balancer.recording.files import read_bytes
from tests.streams import VERSION, checked, hello, samples, stream


def read(records, **kwargs):
    return read_bytes(stream(records, **kwargs), "test.stream.csv")


def found(recording):
    return {finding.code: dict(finding.figures) for finding in recording.findings}


def counts(first, count):
    n = np.arange(first, first + count)
    return np.array([n % 50, -(n % 70), n % 9 - 4], float)


def test_samples_times_and_facts():
    recording = read(samples(200, start=123456))
    assert recording.samples == pytest.approx(counts(0, 200) * 0.5)
    assert recording.times == pytest.approx(np.arange(200) * 1e-3, abs=1e-12)
    assert [(channel.name, channel.unit) for channel in recording.channels] == [
        (axis, "m/s^2") for axis in "xyz"
    ]
    sensor = recording.sensor
    assert (sensor.name, sensor.board, sensor.check, sensor.mark_edge) == (
        "test sensor", "test board", "crc16", "rising",
    )  # fmt: skip
    assert (sensor.full_scale, sensor.resolution, sensor.lowpass, sensor.nominal_rate) == (
        1023.5,
        0.5,
        500,
        1000,
    )
    assert recording.marks is None
    assert recording.findings == ()
    assert recording.gaps == ()
    assert recording.source == "test.stream.csv"


@pytest.mark.parametrize(("unit", "factor"), [("m/s^2", 1.0), ("g", 9.80665), ("mg", 9.80665e-3)])
def test_units(unit, factor):
    """The standard value of gravity: 9.80665 m/s^2 (CGPM 1901)."""
    recording = read(samples(20), unit=unit)
    assert recording.samples == pytest.approx(counts(0, 20) * 0.5 * factor)
    assert recording.sensor.full_scale == pytest.approx(2047 * 0.5 * factor)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("check", ["crc16", "xor", "none"])
def test_line_ends_and_checks(end, check):
    recording = read([*samples(20), "m,0,9000"], check=check, end=end)
    assert recording.samples == pytest.approx(counts(0, 20) * 0.5)
    assert recording.marks == pytest.approx([0.004])
    wanted = {"crc16": set(), "xor": {"lines_weakly_protected"}, "none": {"lines_unprotected"}}
    assert set(found(recording)) == wanted[check]


def test_decimal_counts_in_m_s2():
    records = [f"a,{n},{n * 1000},{n / 8},-0.5,{9.81 - n}" for n in range(20)]
    recording = read(records, scale=1)
    assert recording.samples[0] == pytest.approx(np.arange(20) / 8)
    assert recording.samples[2] == pytest.approx(9.81 - np.arange(20))
    assert recording.sensor.resolution is None


def test_marks_are_on_the_clock_of_the_samples():
    records = ["m,7,4300", *samples(10), "m,8,15250", *samples(10, first=10), "m,9,24990", "m,10,30000"]
    assert read(records).marks == pytest.approx([-0.0007, 0.01025, 0.01999, 0.025], abs=1e-9)


def test_lost_marks_are_counted():
    recording = read(
        [*samples(20), "m,4294967294,5000", "m,4294967295,6000", "m,3,9000", "m,3,9000", "m,4,9500"]
    )
    assert found(recording) == {"marks_lost": {"count": 3}}
    assert recording.marks == pytest.approx([0, 0.001, 0.004, 0.0045])


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_ticks_roll_over_within_the_record(bits):
    turn = 1 << bits
    ticks = [(turn - 60_500 + n * 1000) % turn for n in range(300)]
    records = []
    for n, tick in enumerate(ticks):
        records.append(f"a,{n},{tick},1,2,3")
        if n % 25 == 12:
            records.append(f"m,{n // 25},{(tick + 700) % turn}")
            # the next one comes over the line before its sample
            records.append(f"m,{n // 25 + 100},{(tick + 1300) % turn}")
    recording = read(
        [r for r in records if not r.startswith("m,1") or len(r.split(",")[1]) < 3], tick_bits=bits
    )
    assert recording.times == pytest.approx(np.arange(300) * 1e-3, abs=1e-9)
    assert recording.marks == pytest.approx(np.arange(12, 300, 25) * 1e-3 + 0.0007, abs=1e-9)
    assert recording.findings == ()


def test_sample_and_mark_numbers_roll_over():
    first = 2**32 - 100
    records = [*samples(200, first=first), f"m,{2**32 - 1},{(5000 + first * 1000) % 2**32}"]
    recording = read([*records, f"m,0,{(7000 + first * 1000) % 2**32}"])
    assert recording.samples == pytest.approx(counts(first, 200) * 0.5)
    assert recording.times == pytest.approx(np.arange(200) * 1e-3, abs=1e-9)
    assert recording.marks == pytest.approx([0, 0.002], abs=1e-9)
    assert recording.gaps == ()


def test_lost_samples_make_gaps():
    skip = {50, 120, 121, 122}
    recording = read(samples(200, skip=skip))
    kept = np.array([n for n in range(200) if n not in skip])
    assert recording.times == pytest.approx(kept * 1e-3, abs=1e-9)
    assert [(gap.lost, gap.reason) for gap in recording.gaps] == [(1, "index"), (3, "index")]
    assert (recording.gaps[1].start, recording.gaps[1].end) == pytest.approx((0.119, 0.123))
    assert found(recording)["samples_lost"] == {"lost": 4, "gaps": 2, "percent": 2.0}


def test_a_data_ready_line_that_stays_high_loses_samples_in_silence():
    records = samples(300) + samples(300, first=300, start=5000 + 7 * 1000)
    recording = read(records)
    assert np.diff(recording.times)[299] == pytest.approx(0.008)
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (7, "silent")
    assert (gap.start, gap.end) == pytest.approx((0.299, 0.307))
    assert found(recording)["samples_lost_silently"]["lost"] == 7
    assert set(found(recording)) == {"samples_lost_silently"}


def test_a_rate_that_is_not_the_announced_one():
    assert found(read(samples(300, period=1080))) == {}
    rate = found(read(samples(300, period=2000)))["rate_off"]
    assert rate["measured_hz"] == pytest.approx(500)
    assert rate["announced_hz"] == 1000
    assert found(read(samples(300, period=1080), rate_tol=0.05)).keys() == {"rate_off"}


def test_half_a_line_at_the_end():
    whole = stream(samples(30))
    for cut in range(1, 25):
        recording = read_bytes(whole[:-cut], "a")
        assert recording.times.size == (30 if cut == 1 else 29)
        assert set(found(recording)) == (set() if cut == 1 else {"last_line_cut"})
    without_check = stream(samples(30), check="none")[:-2]
    assert read_bytes(without_check, "a").times.size == 29


def test_header_lines_that_come_again_and_in_the_middle_of_lines():
    records = samples(100)
    for place in (80, 40, 40, 1):
        records[place:place] = [VERSION, hello()]
    recording = read(records)
    assert recording.times.size == 100
    assert recording.findings == ()


def test_a_stream_that_was_joined_on_its_way():
    lines = [checked(record) for record in samples(200)]
    lines[120:120] = [VERSION, hello()]
    data = ("\n".join(lines) + "\n").encode()[7:]
    recording = read_bytes(data, "joined.txt")
    assert recording.times.size == 199
    assert found(recording)["header_late"] == {"line": 122}
    assert found(recording)["lines_damaged"]["first_line"] == 1


def test_unknown_keys_records_and_comments_are_passed_over():
    records = ["# made on a Tuesday", *samples(20), "T,21.5", "x,1", "e,the motor is warm", "e,again"]
    recording = read(records, firmware="0.3", colour={"case": "grey"})
    assert recording.times.size == 20
    assert found(recording) == {
        "device_message": {"count": 2, "text": "the motor is warm"},
        "records_unknown": {"count": 2, "letters": "Tx"},
    }


def test_a_header_without_what_is_only_for_the_record():
    recording = read(samples(20), board=..., stamp=..., lowpass_hz=..., full_scale=None)
    assert found(recording) == {"header_incomplete": {"missing": "board, lowpass_hz, stamp"}}
    assert recording.sensor.full_scale is None


def test_status_counters():
    records = []
    for second in range(4):
        records += samples(1000, first=1000 * second)
        records.append(
            f"s,{5000 + (second + 1) * 10**6},{1000 * (second + 1)},0,{3 * (second > 1)},2,{second}"
        )
    recording = read(records)
    assert found(recording) == {
        "sensor_overruns": {"count": 3},
        "device_records_lost": {"count": 2},
        "device_marks_lost": {"count": 3},
    }
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (-1, "status")
    assert (gap.start, gap.end) == pytest.approx((2.0, 3.0), abs=0.002)


def test_what_was_lost_long_before_the_recording_does_not_count():
    records = samples(3000, first=500_000)
    records[1500:1500] = ["s,1,2,3,40,50,60"]
    records[2500:2500] = ["s,1,2,3,40,50,60"]
    assert found(read(records)) == {}


@pytest.mark.parametrize("told", ["sid", "header", "nothing"])
def test_a_restart_in_mid_file_is_a_gap_and_never_joined_up(told):
    sid = 18 if told == "sid" else 17
    again = [] if told == "nothing" else [VERSION, hello(sid=sid)]
    records = ["m,5,5500", *samples(400, first=300), *again, "m,0,5200", *samples(500), "m,1,9000"]
    recording = read(records)
    assert recording.segment_starts == (400,)
    (gap,) = recording.gaps
    assert (gap.reason, gap.lost) == ("restart", -1)
    assert (gap.start, gap.end) == (recording.times[399], recording.times[400])
    assert np.diff(recording.times[:400]) == pytest.approx(1e-3)
    assert np.diff(recording.times[400:]) == pytest.approx(1e-3)
    assert recording.times[400] - recording.times[399] >= PAUSE
    assert recording.marks - recording.times[[0, 400, 400]] == pytest.approx(
        [-0.2995, 0.0002, 0.004], abs=1e-6
    )
    assert found(recording) == {"device_restarted": {"count": 1}}


def test_a_restart_may_change_scale_and_rate():
    records = [*samples(400), VERSION, hello(sid=18, scale=0.25, rate_hz=500), *samples(300, period=2000)]
    recording = read(records)
    assert recording.samples[:, 400:] == pytest.approx(counts(0, 300) * 0.25)
    assert np.diff(recording.times[400:]) == pytest.approx(2e-3)


def test_late_and_repeated_lines():
    records = samples(100)
    records[10], records[11] = records[11], records[10]
    records.insert(50, records[49])
    records.insert(70, records[40])
    recording = read(records)
    assert recording.samples == pytest.approx(counts(0, 100) * 0.5)
    assert recording.times == pytest.approx(np.arange(100) * 1e-3, abs=1e-9)
    assert found(recording) == {"lines_out_of_order": {"count": 1}, "lines_repeated": {"count": 2}}


def test_a_damaged_header_line_that_comes_again_does_no_harm():
    others = [hello(scale=0.7), hello(sid=99), hello()[:-5], hello(scale=0.7).replace("17", "16")]
    for other in others:
        records = samples(400)
        for place, line in ((300, hello()), (200, other), (100, hello())):
            records[place:place] = [VERSION, line]
        recording = read(records)
        assert recording.samples == pytest.approx(counts(0, 400) * 0.5)
        assert recording.segment_starts == ()
        assert found(recording).keys() & {"headers_damaged", "headers_differ"}


def test_a_damaged_last_header_line_starts_no_segment():
    records = samples(400)
    records[300:300] = [VERSION, hello(sid=99)]
    recording = read(records)
    assert recording.times.size == 400
    assert recording.segment_starts == ()
    assert found(recording) == {"headers_damaged": {"count": 1}}


def test_a_number_that_stands_alone_in_an_unprotected_file():
    records = samples(400)
    records[200] = records[200].replace("a,200,", "a,9200,")
    records[300] = records[300].replace(f"{5000 + 300 * 1000}", "77")
    recording = read(records, check="none")
    assert recording.times.size == 399
    assert recording.times[-1] == pytest.approx(0.399, abs=1e-5)
    assert recording.segment_starts == ()
    assert found(recording)["samples_implausible"] == {"count": 1}
    assert found(recording)["stamps_off"] == {"count": 1}


def test_stamps_from_a_busy_loop():
    """Polled stamps come late by up to three samples: told, and their scatter is halved many times over."""
    late = np.random.default_rng(4).integers(0, 3000, 4000)
    recording = read([f"a,{n},{5000 + n * 1000 + late[n]},1,2,3" for n in range(4000)])
    assert found(recording).keys() >= {"stamps_unsteady"}
    assert recording.times == pytest.approx(np.arange(4000) * 1e-3, abs=4e-4)


def test_axes_may_not_change():
    records = [*samples(20), VERSION, hello(sid=2, axes=["x", "z", "y"]), *samples(20)]
    with pytest.raises(InputError, match="axes or marks_per_rev change in mid-file"):
        read(records)


@pytest.mark.parametrize(
    ("head", "name", "wanted"),
    [
        (stream(samples(3)), "a.bin", True),
        (b"\xff\0garbage\n" + stream(samples(3)), "a.txt", True),
        (("\n".join(map(checked, samples(9))) + "\n").encode(), "x.log", True),
        (b"time_s,x_g\n0,1\n1,2\n", "a.stream.csv", False),
        (b"a letter\nof two lines\n", "a.stream.csv", False),
        (b"", "a.stream.csv", False),
    ],
)
def test_the_content_tells_the_format(head, name, wanted):
    assert stream_text.detect(head, name) is wanted

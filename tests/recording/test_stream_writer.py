"""Round trips: what was written is read back within half a tick and half a count."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.recording.files import read_bytes
from balancer.recording.model import Channel, Gap, Recording, SensorFacts
from balancer.recording.stream_writer import make_stream_text

FACTS = SensorFacts(
    name="sensor",
    board="board",
    full_scale=78.48,
    resolution=0.0383,
    lowpass=800.0,
    nominal_rate=1600.0,
    mark_edge="falling",
    check="crc16",
)


def recording(rng, *, rate=1600.0, count=4000, axes="xyz", loss=0.0, resolution=0.0383, marks=True):
    kept = np.flatnonzero(rng.random(count) >= loss)
    times = (kept - kept[0]) / rate
    samples = rng.normal(0, 20, (len(axes), kept.size))
    if resolution:
        samples = np.rint(samples / resolution) * resolution
    facts = SensorFacts(resolution=resolution, nominal_rate=rate)
    # not so long before the first sample that a clock of 16 bits could have turned round
    seen = np.cumsum(rng.uniform(0.004, 0.02, 300)) - 0.02
    seen = seen[seen < times[-1]]
    return Recording(
        times,
        samples,
        tuple(Channel(axis, "m/s^2") for axis in axes),
        marks=seen if marks else None,
        sensor=facts,
    )


def round_trip(given_recording, **options):
    return read_bytes(make_stream_text(given_recording, **options), "round.stream.csv")


def assert_same(got, wanted, *, tick=1e-6, count=0.0383):
    assert got.times == pytest.approx(wanted.times, abs=0.51 * tick)
    assert np.abs(got.samples - wanted.samples).max() <= 0.5 * count + 1e-12
    assert (got.marks is None) == (wanted.marks is None)
    if wanted.marks is not None:
        assert got.marks == pytest.approx(wanted.marks, abs=1.01 * tick)
    assert got.channels == wanted.channels
    assert got.marks_per_rev == wanted.marks_per_rev


@hypothesis_settings(max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    rate=st.floats(400, 6400),
    axes=st.sampled_from(["x", "xy", "xyz", "xyzuvw"]),
    loss=st.sampled_from([0.0, 0.01]),
    resolution=st.sampled_from([None, 0.0383, 1e-3]),
    check=st.sampled_from(["crc16", "xor", "none"]),
    bits=st.sampled_from([16, 24, 32]),
    start=st.integers(0, 2**32 - 1),
)
def test_round_trip(seed, rate, axes, loss, resolution, check, bits, start):
    wanted = recording(
        np.random.default_rng(seed), rate=rate, count=600, axes=axes, loss=loss, resolution=resolution
    )
    got = round_trip(wanted, check=check, tick_bits=bits, start_tick=start, tick_hz=1e6)
    assert_same(got, wanted, count=resolution or 1e-6)
    assert got.sensor.check == check
    assert got.sensor.resolution == resolution


def test_roll_over_within_a_long_recording():
    wanted = recording(np.random.default_rng(1), count=20_000, loss=0.002)
    got = round_trip(wanted, start_tick=2**32 - 6_000_000)
    assert_same(got, wanted)
    lost = np.rint(np.diff(wanted.times) * 1600).astype(int) - 1
    assert [gap.lost for gap in got.gaps] == lost[lost > 0].tolist()
    assert {gap.reason for gap in got.gaps} == {"index"}


def test_facts_of_the_sensor_are_kept():
    rng = np.random.default_rng(2)
    base = recording(rng)
    wanted = Recording(
        base.times, base.samples, base.channels, marks=base.marks, marks_per_rev=3, sensor=FACTS
    )
    got = round_trip(wanted)
    assert got.sensor.full_scale == pytest.approx(FACTS.full_scale)
    assert replace(got.sensor, full_scale=FACTS.full_scale) == FACTS
    assert got.marks_per_rev == 3


def test_without_a_known_resolution_nothing_that_matters_is_lost():
    wanted = recording(np.random.default_rng(3), resolution=None)
    assert_same(round_trip(wanted), wanted, count=1e-6)


def test_segments_stay_apart():
    rng = np.random.default_rng(4)
    one, two = recording(rng, count=900), recording(rng, count=700)
    shift = one.times[-1] + 2.5
    wanted = Recording(
        np.concatenate((one.times, two.times + shift)),
        np.concatenate((one.samples, two.samples), axis=1),
        one.channels,
        marks=np.concatenate((one.marks, two.marks + shift)),
        sensor=one.sensor,
        gaps=(Gap(float(one.times[-1]), float(shift), -1, "restart"),),
        segment_starts=(900,),
    )
    got = round_trip(wanted)
    assert got.segment_starts == (900,)
    assert got.times[:900] == pytest.approx(one.times, abs=1e-6)
    assert got.times[900:] - got.times[900] == pytest.approx(two.times, abs=1e-6)
    assert got.marks[one.marks.size :] - got.times[900] == pytest.approx(two.marks, abs=1.1e-6)
    assert np.abs(got.samples - wanted.samples).max() < 0.02
    assert [gap.reason for gap in got.gaps] == ["restart"]


def test_writing_what_was_read_gives_the_same_file_again():
    first = round_trip(recording(np.random.default_rng(5), count=9000, loss=0.003))
    second = round_trip(first)
    assert np.array_equal(second.samples, first.samples)
    assert second.times == pytest.approx(first.times, abs=5e-7)
    assert make_stream_text(second) == make_stream_text(first)


def test_the_file_is_as_a_device_would_print_it():
    lines = make_stream_text(recording(np.random.default_rng(6), rate=500, count=5600)).decode().splitlines()
    assert lines[0] == "# balancer stream 1"
    headers = [k for k, line in enumerate(lines) if line == lines[0]]
    assert len(headers) == 3  # at 0, 5 and 10 s
    assert all(lines[k + 1] == lines[1] for k in headers)
    assert sum(line.startswith("s,") for line in lines) == 11
    ticks = [int(line.split(",")[2]) for line in lines if line.startswith("a,")]
    assert ticks == sorted(ticks)


def test_uneven_samples_do_not_fit():
    times = np.cumsum(np.random.default_rng(7).exponential(1e-3, 3000))
    uneven = Recording(times, np.zeros((1, 3000)), (Channel("x", "m/s^2"),), source="phone.csv")
    with pytest.raises(InputError, match=r"phone\.csv: the samples come too unevenly for a stream file"):
        make_stream_text(uneven)


def test_other_units_do_not_fit():
    times = np.arange(10) / 100
    other = Recording(times, np.zeros((1, 10)), (Channel("x", "mm/s"),))
    with pytest.raises(InputError, match="only accelerations"):
        make_stream_text(other)


def test_an_unknown_check_is_refused():
    with pytest.raises(InputError, match="use one of crc16, xor, none"):
        make_stream_text(recording(np.random.default_rng(8), count=10), check="crc8")

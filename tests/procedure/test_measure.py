"""From a recording in memory to its 1x vectors, and what is noticed on the way."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.measure import measure
from balancer.recording.model import Channel, Recording
from balancer.units import rad_s_from_rpm, rpm_from_rad_s
from tests.synthetic import WanderingShaft, damaged_marks, orders_signal, recording

VECTORS = {1: np.array([2 * np.exp(0.5j), 0.5 * np.exp(-2j)]), 2: np.array([0.3 + 0j, 0.1j])}


@pytest.fixture
def rng():
    return np.random.default_rng(80)


@pytest.fixture
def shaft(rng):
    return WanderingShaft.of(rng, 5200)


@pytest.fixture
def noise(rng):
    return lambda channels, count: 0.1 * rng.normal(size=(channels, count))


def codes(measured):
    return {finding.code for finding in measured.findings}


def test_vectors_speeds_and_extent(shaft, noise):
    measured = measure(recording(shaft, VECTORS, noise=noise, offset=9.81))
    assert measured.has_phase
    assert [c.name for c in measured.channels] == ["c0", "c1"]
    for channel, value in zip(measured.channels, VECTORS[1], strict=True):
        assert [v.order for v in channel.vectors] == [1, 2, 3, 4, 5]
        assert channel.once.unit == "m/s^2"
        assert abs(channel.once.value - value) < 4 * channel.once.covariance.radius
        assert channel.amplitude.value == channel.once.amplitude
        assert channel.amplitude.sd == channel.once.sd_amplitude
    assert measured.duration == pytest.approx(10.0, abs=1e-3)
    assert measured.sample_rate == pytest.approx(1600)
    speeds = 2 * np.pi * shaft.speed(np.linspace(0, 10, 5000))
    assert measured.speed == pytest.approx(speeds.mean(), rel=1e-4)
    assert (measured.slowest, measured.fastest) == pytest.approx((speeds.min(), speeds.max()), rel=1e-4)
    assert measured.revolutions == pytest.approx(measured.speed / (2 * np.pi) * 10, abs=3)
    assert measured.findings == ()


def test_overall_is_all_but_the_constant_part(shaft, noise):
    measured = measure(recording(shaft, VECTORS, noise=noise, offset=9.81))
    wanted = np.sqrt(np.abs(VECTORS[1]) ** 2 / 2 + np.abs(VECTORS[2]) ** 2 / 2 + 0.01)
    assert [c.overall for c in measured.channels] == pytest.approx(wanted, rel=0.01)


def test_damaged_marks_are_told_and_change_nothing(rng, shaft, noise):
    raw, missed, doubled = damaged_marks(rng, shaft.marks(10.0))
    plain = measure(recording(shaft, VECTORS))
    mended = measure(recording(shaft, VECTORS, marks=raw))
    assert mended.channels[0].once.value == pytest.approx(plain.channels[0].once.value, abs=1e-5)
    found = {f.code: f for f in mended.findings}
    assert found["marks_missed"].figure("count") == missed
    assert found["marks_doubled"].figure("count") == doubled
    assert found["marks_missed"].severity == "info"


def test_a_third_of_the_marks_gone_is_an_error(rng, shaft):
    marks = shaft.marks(10.0)
    measured = measure(recording(shaft, VECTORS, marks=marks[rng.random(marks.size) > 0.33]))
    assert any(f.code == "marks_unreliable" and f.severity == "error" for f in measured.findings)


def test_evenly_spaced_marks_leave_the_zero_unknown(shaft):
    made = replace(recording(shaft, VECTORS, marks=shaft.marks(10.0, (0.0, 0.5))), marks_per_rev=2)
    measured = measure(made)
    assert any(f.code == "zero_mark_unknown" and f.severity == "error" for f in measured.findings)
    assert measured.channels[0].once.amplitude == pytest.approx(2, rel=1e-3)


def test_jitter_of_the_marks_is_told(rng, shaft):
    marks = shaft.marks(10.0)
    shaky = marks + 0.01 / shaft.frequency * rng.normal(size=marks.size)
    found = {f.code: f for f in measure(recording(shaft, VECTORS, marks=shaky)).findings}
    assert found["marks_jitter"].figure("jitter_deg") == pytest.approx(3.6, rel=0.15)


def test_short_and_unsteady_runs_are_told():
    ramp = WanderingShaft(50.0, ramp=20.0)
    assert "speed_unsteady" in codes(measure(recording(ramp, VECTORS, duration=2.0)))
    assert "few_revolutions" in codes(measure(recording(WanderingShaft(50.0), VECTORS, duration=0.5)))


def test_a_flat_channel_is_told(shaft):
    made = recording(shaft, {1: np.array([1.0, 0.0])})
    found = {f.code: f for f in measure(made).findings}
    assert found["channel_flat"].figure("channel") == "c1"


def test_the_reader_s_findings_come_first(shaft):
    noticed = Finding.of("lines_damaged", "info", count=3)
    made = replace(recording(shaft, VECTORS), findings=(noticed,))
    assert measure(made).findings[0] == noticed


@pytest.mark.parametrize(("rate", "orders"), [(1600, 5), (400, 2), (220, 1)])
def test_only_orders_that_the_rate_can_show(shaft, rate, orders):
    measured = measure(recording(shaft, VECTORS, rate=rate))
    assert [v.order for v in measured.channels[0].vectors] == list(range(1, orders + 1))


def test_irregular_samples(rng, shaft, noise):
    times = np.sort(rng.uniform(0, 10, 12_000))
    measured = measure(recording(shaft, VECTORS, times=times, noise=noise))
    once = measured.channels[0].once
    assert abs(once.value - VECTORS[1][0]) < 4 * once.covariance.radius


def test_a_gap_in_the_samples_costs_only_its_length(shaft, noise):
    times = np.arange(16_000) / 1600
    times = np.delete(times, slice(5000, 7000))
    measured = measure(recording(shaft, VECTORS, times=times, noise=noise))
    once = measured.channels[0].once
    assert abs(once.value - VECTORS[1][0]) < 4 * once.covariance.radius


def test_a_restart_of_the_device_makes_two_segments(shaft, noise):
    """The clock begins anew: turns are not counted across, but the mark is angle 0 in both."""
    first = recording(shaft, VECTORS, duration=5.0, noise=noise)
    other = WanderingShaft(shaft.frequency * 1.01)
    second = recording(other, VECTORS, duration=5.0, noise=noise)
    joined = Recording(
        times=np.concatenate((first.times, 7.3137 + second.times)),
        samples=np.hstack((first.samples, second.samples)),
        channels=first.channels,
        marks=np.concatenate((first.marks, 7.3137 + second.marks)),
        segment_starts=(first.times.size,),
        source="two segments",
    )
    once = measure(joined).channels[0].once
    assert abs(once.value - VECTORS[1][0]) < 4 * once.covariance.radius
    assert once.revolutions > 850


def test_without_marks_only_amplitudes(shaft, noise):
    measured = measure(recording(shaft, VECTORS, noise=noise, pickup=False))
    assert not measured.has_phase
    assert [c.once for c in measured.channels] == [None, None]
    assert [c.amplitude.value for c in measured.channels] == pytest.approx([2.0, 0.5], abs=0.02)
    assert rpm_from_rad_s(measured.speed) == pytest.approx(5200, rel=2e-3)
    assert "speed_from_spectrum" in codes(measured)
    assert "speed_ambiguous" not in codes(measured)


def test_without_marks_an_expected_speed_decides(shaft, noise):
    vectors = {1: np.array([1.0 + 0j]), 2: np.array([3.0 + 0j])}
    made = recording(shaft, vectors, noise=noise, pickup=False)
    assert rpm_from_rad_s(measure(made).speed) == pytest.approx(10_400, rel=2e-3)
    near = measure(made, near=rad_s_from_rpm(5000))
    assert rpm_from_rad_s(near.speed) == pytest.approx(5200, rel=2e-3)


REFUSED = {
    "no mark seen": (dict(marks=np.zeros(0)), "only 0 marks were seen"),
    "two marks": (dict(marks=np.array([1.0, 1.0115])), "only 2 marks were seen"),
    "marks of another time": (dict(marks=100 + np.arange(50) / 86), "share no whole revolution"),
    "four turns": (dict(marks=1 + np.arange(6) / 86), "whole revolutions were seen, at least 5"),
    "too slow a sensor": (dict(rate=150), "150 samples a second are too few for 5[12]"),
    "no mark and no line": (dict(pickup=False, vectors={1: np.array([0.0])}), "no line stands out"),
}


@pytest.mark.parametrize(("changes", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refusals_name_the_recording(shaft, noise, changes, words):
    made = recording(shaft, **{"vectors": VECTORS, "noise": noise} | changes)
    with pytest.raises(InputError, match=f"^made for a test: .*{words}.*; "):
        measure(made)


@given(
    st.lists(st.floats(0, 3), max_size=80).map(sorted),
    st.integers(1, 4),
    st.sampled_from([(), (200,), (200, 500)]),
)
def test_any_marks_give_a_measurement_or_a_refusal(marks, marks_per_rev, starts):
    times = np.linspace(0, 3, 800)
    made = Recording(
        times=times,
        samples=orders_signal(30 * times, {1: np.array([1.0])}),
        channels=(Channel("x", "m/s^2"),),
        marks=np.array(marks, dtype=float),
        marks_per_rev=marks_per_rev,
        segment_starts=starts,
        source="any",
    )
    try:
        measured = measure(made)
    except InputError:
        return
    assert np.isfinite(measured.channels[0].amplitude.value)
    assert 0 < measured.slowest <= measured.fastest

"""Every finding about a signal: shown by a simulated recording with the fault, silent on one without.

The faults are set in the simulator, so their size is known from there. Classes of noise are those of data
sheets (one of 290 and 430 ug/sqrt(Hz), one of 70); other figures are worked out beside the check.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from balancer.findings import Finding
from balancer.procedure.check import check_running, check_still
from balancer.procedure.measure import measure
from balancer.procedure.signal import aliases, ambiguous_speed, clipped, held, noise_density
from balancer.recording.files import read_bytes
from balancer.recording.model import Channel, Recording
from balancer.simulator.forces import Line
from balancer.simulator.motion import Motion
from balancer.simulator.presets import CHEAP_SENSOR, OPTICAL_PICKUP, coastal_propeller
from balancer.units import G_STANDARD, rad_s_from_rpm
from tests.foreign import AMPLITUDE, bursty, even, numbers, table, write

RPM, SECONDS = 5200.0, 5.0
SOUND_PICKUP = replace(OPTICAL_PICKUP, miss_probability=0.0, double_probability=0.0)
SOUND_SENSOR = replace(CHEAP_SENSOR, drop_probability=0.0)
SOUND = replace(coastal_propeller(1), sensor=SOUND_SENSOR, pickup=SOUND_PICKUP)


def run(bench=SOUND, *, rpm=RPM, seconds=SECONDS, seed=1, **sensor):
    if sensor:
        bench = replace(bench, sensor=replace(bench.sensor, **sensor))
    speed = rpm if isinstance(rpm, Motion) else rad_s_from_rpm(rpm)
    return bench.record(speed=speed, duration=seconds, seed=seed)


@cache
def sound():
    return run()


def still(sensor=SOUND_SENSOR, *, seconds=8.0, seed=1, add=None, scale=1.0):
    """The sensor alone: gravity, noise and steps, and perhaps a vibration of shape (3, n)."""
    times = np.arange(int(seconds * sensor.rate)) / sensor.rate
    shaken = np.zeros((3, times.size)) if add is None else add(times)
    samples = scale * sensor.read(shaken, np.random.default_rng(seed))
    channels = tuple(Channel(axis, "m/s^2") for axis in "xyz")
    return Recording(times, samples, channels, sensor=sensor.facts("rising"), source="at rest")


def picked(**changes):
    return replace(SOUND, pickup=replace(SOUND_PICKUP, **changes))


def humming(hz, size):
    return replace(SOUND, lines=(Line(hz, (size, size, size)),))


def no_marks(recording):
    return replace(recording, marks=None)


def flat_z(recording):
    samples = recording.samples.copy()
    samples[2] = 0.5
    return replace(recording, samples=samples)


def one_in_two_held(recording):
    """Every sample twice, as when a sensor is read at twice its rate."""
    return replace(
        recording, samples=np.repeat(recording.samples[:, ::2], 2, axis=1)[:, : recording.times.size]
    )


def in_a_table(recording, stamps):
    columns = [("time_s", numbers(stamps, "{:.6f}"))]
    columns += [(f"{n} (m/s^2)", numbers(row)) for n, row in zip("xyz", recording.samples, strict=True)]
    return read_bytes(write(columns).encode(), "phone.csv")


def found(checked, code):
    return {f.code: f for f in checked.findings}.get(code)


# by code: a running record that has the fault, the severity, and figures known from how it was made
RUNNING = {
    "clipped": (lambda: run(full_scale=1.2 * G_STANDARD), "error", {}),
    "channel_flat": (lambda: flat_z(sound()), "error", {"channel": "z"}),
    "values_held": (lambda: one_in_two_held(sound()), "warning", {"percent": 50}),
    "scale_off": (
        lambda: replace(sound(), samples=sound().samples / G_STANDARD),
        "warning",
        {"ratio": 0.102},
    ),
    "gravity_taken_out": (lambda: run(offset=(0.0, 0.0, 0.0)), "info", {}),
    "samples_lost": (lambda: run(drop_probability=0.02), "warning", {"percent": 2}),
    "rate_too_low": (lambda: run(rate=200.0, bandwidth=90.0), "error", {"wanted_hz": 8 * RPM / 60}),
    "alias_above_nyquist": (lambda: run(rate=100.0, bandwidth=60.0), "error", {"apparent_rpm": 6000 - RPM}),
    "marks_missed": (lambda: run(picked(miss_probability=0.03)), "info", {}),
    "marks_doubled": (lambda: run(picked(double_probability=0.03)), "info", {}),
    "marks_unreliable": (lambda: run(picked(miss_probability=0.4)), "error", {}),
    "marks_jitter": (lambda: run(picked(jitter=100e-6)), "warning", {"jitter_deg": 360 * 100e-6 * RPM / 60}),
    "marks_too_few": (lambda: replace(sound(), marks=sound().marks[:2].copy()), "error", {"count": 2}),
    "speed_unsteady": (
        lambda: run(rpm=Motion(((0.0, rad_s_from_rpm(4900)), (5.0, rad_s_from_rpm(5500))))),
        "warning",
        {},
    ),
    "few_revolutions": (lambda: run(seconds=0.5), "warning", {}),
    "mains_beside_1x": (
        lambda: run(humming(100.0, 0.3), rpm=5600),
        "warning",
        {"line_hz": 100, "amplitude_m_s2": 0.3},
    ),
    "line_beside_1x": (lambda: run(humming(80.0, 0.3)), "warning", {"line_hz": 80, "amplitude_m_s2": 0.3}),
    "noise_near_1x": (lambda: run(humming(87.4, 0.5)), "info", {}),
    "speed_alias": (lambda: no_marks(run(rate=200.0, rpm=4000, bandwidth=200.0)), "warning", {}),
    "not_measured": (lambda: run(seconds=0.03), "error", {}),
}


@pytest.mark.parametrize("code", RUNNING)
def test_a_fault_is_shown(code):
    make, severity, figures = RUNNING[code]
    finding = found(check_running(make()), code)
    assert finding is not None
    assert finding.severity == severity
    for name, value in figures.items():
        if isinstance(value, str):
            assert finding.figure(name) == value
        else:
            assert finding.figure(name) == pytest.approx(value, rel=0.1)


def test_a_sound_recording_shows_nothing():
    for seed in range(1, 6):
        bench = replace(coastal_propeller(seed), sensor=SOUND_SENSOR, pickup=SOUND_PICKUP)
        assert check_running(run(bench, seed=seed), want=0.02).findings == ()


def test_a_sound_recording_without_marks_says_only_that():
    checked = check_running(no_marks(sound()), near=rad_s_from_rpm(RPM))
    assert {f.code for f in checked.findings} == {"speed_from_spectrum"}


STILL = {
    "noise_high": (
        lambda: still(replace(SOUND_SENSOR, noise_density=(0.02, 0.003, 0.003))),
        {"channel": "x"},
    ),
    "noise_low": (lambda: still(replace(SOUND_SENSOR, noise_density=(1e-5,) * 3, resolution=1e-4)), {}),
    "noise_usual": (still, {}),
    "scale_off": (lambda: still(scale=2.0), {"ratio": 2.0}),
    "channel_flat": (lambda: flat_z(still()), {"channel": "z"}),
    "mains_at_rest": (
        lambda: still(add=lambda t: 0.05 * np.cos(2 * np.pi * 50.02 * t) * np.ones((3, 1))),
        {"line_hz": 50, "amplitude_m_s2": 0.05},
    ),
    "line_at_rest": (
        lambda: still(add=lambda t: 0.05 * np.cos(2 * np.pi * 77 * t) * np.ones((3, 1))),
        {"line_hz": 77, "amplitude_m_s2": 0.05},
    ),
}


@pytest.mark.parametrize("code", STILL)
def test_a_fault_at_rest_is_shown(code):
    make, figures = STILL[code]
    finding = found(check_still(make()), code)
    assert finding is not None
    for name, value in figures.items():
        seen = finding.figure(name)
        assert seen == (value if isinstance(value, str) else pytest.approx(value, rel=0.1))


def test_a_sound_sensor_at_rest_shows_its_usual_noise_and_nothing_else():
    for seed in range(1, 6):
        assert {f.code for f in check_still(still(seed=seed)).findings} == {"noise_usual"}


@pytest.mark.parametrize("rate", [200.0, 800.0, 3200.0])
def test_the_noise_floor_is_the_density_of_the_sensor(rate):
    quiet = replace(SOUND_SENSOR, rate=rate, resolution=0.0)
    measured = noise_density(still(quiet, seconds=20.0))
    assert measured == pytest.approx(SOUND_SENSOR.noise_density, rel=0.05)


def test_the_revolutions_for_an_uncertainty():
    """The uncertainty falls with the root of the time, so half of it takes four times the revolutions."""
    checked = check_running(sound())
    best = max(checked.measurement.channels, key=lambda c: c.amplitude.value).amplitude
    want = best.sd / best.value / 2
    finding = found(check_running(sound(), want=want), "too_few_revolutions")
    assert finding.figure("needed") == pytest.approx(4 * checked.measurement.revolutions)
    assert found(check_running(sound(), want=4 * want), "too_few_revolutions") is None


@pytest.mark.parametrize(
    ("rpm", "rate", "orders"),
    [
        # order 7 (14 magnets) of 6000 rpm is 700 Hz: at 800 Hz it appears at 100 Hz, 1x; so do 9, 15, 17
        (6000, 800.0, "7, 9, 15, 17"),
        # 3-blade pass of 6000 rpm is 300 Hz: at 200 Hz at 100 Hz, as are all odd orders
        (6000, 200.0, "3, 5, 7, 9"),
        (5200, 1600.0, None),
        (9000, 3200.0, "63, 65"),  # 64 x 150 Hz is three times the rate
        (9040, 3200.0, None),
    ],
)
def test_orders_that_alias_onto_1x(rpm, rate, orders):
    times = np.arange(int(8 * rate)) / rate
    made = Recording(times, np.zeros((1, times.size)), (Channel("x", "m/s^2"),))
    names = [dict(f.figures)["names"] for f in aliases(made, rpm / 60)]
    assert names == ([orders] if orders else [])


def test_a_filter_takes_away_what_would_alias():
    times = np.arange(6400) / 800
    made = Recording(times, np.zeros((1, times.size)), (Channel("x", "m/s^2"),))
    filtered = replace(made, sensor=replace(made.sensor, lowpass=200.0))
    assert aliases(made, 100.0)
    assert not aliases(filtered, 100.0)


def test_speeds_that_a_phone_cannot_tell_apart():
    """At 200 Hz 9,000 rpm shows 50 Hz, and so do 3,000, 15,000 rpm (250 Hz) and no other up to 18,000 rpm."""
    times = np.arange(1600) / 200
    made = Recording(times, np.zeros((1, times.size)), (Channel("x", "m/s^2"),))
    (finding,) = ambiguous_speed(made, 50.0)
    assert finding.figure("others_rpm") == "9000, 15000"
    fast = Recording(np.arange(6400) / 800, np.zeros((1, 6400)), (Channel("x", "m/s^2"),))
    assert ambiguous_speed(fast, 50.0) == []


def test_a_phone_at_its_own_rate_and_stamps():
    """200 Hz, stamped on arrival: told, replaced by the fitted rate, and 1x of 3,000 rpm comes out right."""
    phone = run(rate=200.0, bandwidth=200.0, rpm=3000, seconds=10.0)
    read = in_a_table(phone, bursty(phone.times))
    checked = check_running(read, near=rad_s_from_rpm(3000))
    assert found(checked, "stamps_of_arrival").severity == "warning"
    true = measure(phone).channels[0].amplitude.value
    assert checked.measurement.channels[0].amplitude.value == pytest.approx(true, rel=0.03)
    even = check_running(in_a_table(phone, phone.times), near=rad_s_from_rpm(3000))
    assert found(even, "stamps_of_arrival") is None


@pytest.mark.parametrize("cut", [0.98, 0.9, 0.7])
def test_clipping_is_seen_without_a_stated_full_scale(cut):
    wave = 9.0 * np.cos(2 * np.pi * 86.7 * np.arange(8000) / 1600)
    made = Recording(
        np.arange(8000) / 1600, np.clip(wave, -9 * cut, 9 * cut)[np.newaxis], (Channel("x", "m/s^2"),)
    )
    (finding,) = clipped(made)
    # a sine is above the cut for the share 2 arccos(cut)/(2 pi) of the time, here on one side
    assert finding.figure("percent") == pytest.approx(100 * np.arccos(cut) / np.pi, rel=0.05)


@pytest.mark.parametrize("step", [1e-9, 0.04, 0.08])
def test_a_whole_sine_is_not_clipped(step):
    rng = np.random.default_rng(1)
    wave = 9.0 * np.cos(2 * np.pi * 86.7 * np.arange(8000) / 1600) + 0.05 * rng.standard_normal(8000)
    made = Recording(
        np.arange(8000) / 1600, (np.round(wave / step) * step)[np.newaxis], (Channel("x", "m/s^2"),)
    )
    assert clipped(made) == []


def test_coarse_steps_at_rest_are_not_held_values():
    assert held(still(replace(SOUND_SENSOR, resolution=0.2))) == []


def test_the_reader_s_word_on_losses_is_not_repeated():
    told = Finding.of("samples_lost", "info", lost=1, gaps=1, percent=0.1)
    recording = replace(run(drop_probability=0.02), findings=(told,))
    assert [f.code for f in check_running(recording).findings].count("samples_lost") == 1


def test_a_mark_column_of_a_slow_table_is_named_as_the_cause():
    """At 400 Hz and 2,502 rpm a step is 37.5 degrees of a turn: sinc(0.104) leaves 98.2 % of 1x."""
    signal = even()
    stamps = ("time_s", numbers(signal.times, "{:.4f}"))
    checked = check_running(read_bytes(table(signal, stamps, mark="mark").encode(), "a.csv"))
    finding = found(checked, "mark_resolution_coarse")
    assert finding.figure("step_deg") == pytest.approx(37.5, rel=0.01)
    assert finding.figure("low_percent") == pytest.approx(1.8, abs=0.05)
    once = max(channel.amplitude.value for channel in checked.measurement.channels)
    assert once / AMPLITUDE[0] == pytest.approx(1 - finding.figure("low_percent") / 100, abs=0.005)
    assert {f.code for f in checked.findings} == {"mark_resolution", "mark_resolution_coarse"}

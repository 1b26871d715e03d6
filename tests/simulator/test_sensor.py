"""The sensor: noise density, filter, steps, limits and lost samples as asked for."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, freqs, welch

from balancer.errors import InputError
from balancer.simulator.sensor import Sensor, gaps_of

DENSITY = 290e-6 * 9.80665  # data sheet of a cheap part: 290 ug/sqrt(Hz)


@pytest.fixture
def rng():
    return np.random.default_rng(20240)


def density_of(samples, rate):
    frequency, power = welch(samples, rate, nperseg=2048)
    return frequency, np.sqrt(power)


def test_white_noise_density_by_welch(rng):
    sensor = Sensor(rate=1600.0, rate_error=0.02, noise_density=(DENSITY, DENSITY, 1.5 * DENSITY))
    samples = sensor.read(np.zeros((3, 400_000)), rng)
    for row, expected in zip(samples, sensor.noise_density, strict=True):
        frequency, density = density_of(row, sensor.true_rate)
        for low, high in ((10, 100), (100, 400), (400, 780)):
            band = (frequency > low) & (frequency < high)
            assert np.sqrt(np.mean(density[band] ** 2)) == pytest.approx(expected, rel=0.03)


def test_coloured_noise_rises_below_its_corner(rng):
    sensor = Sensor(rate=1600.0, noise_density=(DENSITY, DENSITY, DENSITY), flicker_corner=100.0)
    frequency, density = density_of(sensor.read(np.zeros((3, 400_000)), rng)[1], 1600.0)
    for at in (20.0, 100.0, 600.0):
        band = (frequency > 0.8 * at) & (frequency < 1.25 * at)
        expected = DENSITY**2 * np.mean(1 + 100.0 / frequency[band])
        assert np.mean(density[band] ** 2) == pytest.approx(expected, rel=0.15)


def test_resolution_is_a_grid(rng):
    sensor = Sensor(resolution=0.0383, noise_density=(0.3, 0.3, 0.3), offset=(0.01, -9.81, 0.5))
    counts = sensor.read(np.zeros((3, 5000)), rng) / 0.0383
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-9)
    assert np.unique(np.round(counts[0])).size > 20


def test_rounding_adds_a_twelfth_of_a_step_squared(rng):
    """Variance of uniform rounding error: step^2 / 12 (W. R. Bennett 1948, from memory)."""
    smooth = Sensor().read(rng.uniform(-50, 50, (3, 50_000)), rng)
    error = Sensor(resolution=0.1).read(smooth, rng) - smooth
    assert np.mean(error**2) == pytest.approx(0.1**2 / 12, rel=0.02)


def test_full_scale_clips(rng):
    wave = 30.0 * np.sin(np.linspace(0, 100, 4000)) * np.ones((3, 1))
    samples = Sensor(full_scale=19.6, offset=(0.0, -9.81, 0.0)).read(wave, rng)
    assert np.max(samples[0]) == 19.6
    assert np.min(samples[1]) == -19.6
    assert np.max(samples[1]) == pytest.approx(30.0 - 9.81, abs=0.01) or np.max(samples[1]) == 19.6
    assert np.mean(np.abs(samples[0]) == 19.6) == pytest.approx(2 / np.pi * np.arccos(19.6 / 30), rel=0.05)


@pytest.mark.parametrize(
    ("bandwidth", "frequency", "gain", "lag_deg"),
    [
        (800, 50, 1.00, 5.1),
        (800, 100, 1.00, 10.2),
        (800, 150, 1.00, 15.4),
        (200, 150, 0.87, 68),
        (400, 150, 0.99, 32),
        (44, 150, 0.09, 156),
    ],
)
def test_lowpass_figures_at_shaft_speeds(bandwidth, frequency, gain, lag_deg):
    """Gain and phase of a second-order low-pass at 3,000 to 9,000 rpm (computed, two or three digits)."""
    vector = Sensor(bandwidth=float(bandwidth)).gain(2 * math.pi * frequency)
    assert abs(vector) == pytest.approx(gain, abs=0.006)
    assert math.degrees(np.angle(vector)) == pytest.approx(lag_deg, abs=0.5)


def test_lowpass_is_a_butterworth():
    """scipy.signal.butter; its exp(+j w t) makes a lag negative, so the project's vector is its conjugate."""
    sensor = Sensor(bandwidth=250.0)
    w = np.array([100.0, 1000.0, 5000.0])
    _, expected = freqs(*butter(2, 2 * math.pi * 250.0, analog=True), worN=w)
    np.testing.assert_allclose([sensor.gain(v) for v in w], expected.conj(), rtol=1e-12)


@pytest.mark.parametrize(("burst", "probability"), [(1, 0.002), (1, 0.1), (16, 0.01)])
def test_lost_samples_in_the_asked_share(rng, burst, probability):
    count = 400_000
    sensor = Sensor(drop_probability=probability, drop_burst=burst)
    keep = sensor.kept(count, rng)
    times = np.arange(count) / 3200.0
    gaps = gaps_of(times, keep)
    lost = count - np.count_nonzero(keep)
    scatter = math.sqrt(burst / (probability * count))
    assert lost / count == pytest.approx(probability, rel=4 * scatter)
    assert sum(gap.lost for gap in gaps) == lost
    assert min(gap.lost for gap in gaps) == burst
    assert keep[0]
    assert keep[-1]
    for gap in gaps[:50]:
        assert gap.end - gap.start == pytest.approx((gap.lost + 1) / 3200.0)
        assert not np.any(keep[(times > gap.start + 1e-9) & (times < gap.end - 1e-9)])


def test_a_sensor_without_faults_passes_everything_on(rng):
    wave = rng.standard_normal((3, 100)) * 1000
    np.testing.assert_array_equal(Sensor().read(wave, rng), wave)
    assert Sensor().kept(100, rng).all()
    assert gaps_of(np.arange(100.0), np.ones(100, dtype=bool)) == ()


def test_facts_say_nothing_where_there_is_no_limit():
    facts = Sensor(rate=1600.0, rate_error=0.01, bandwidth=800.0).facts("falling")
    assert (facts.full_scale, facts.resolution) == (None, None)
    assert (facts.nominal_rate, facts.lowpass, facts.mark_edge) == (1600.0, 800.0, "falling")
    assert Sensor(full_scale=156.9).facts("rising").full_scale == 156.9


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rate": 0.0}, "rate must be above 0"),
        ({"rate_error": 0.7}, "rate_error must be a fraction"),
        ({"bandwidth": math.inf}, "bandwidth must be above 0"),
        ({"noise_density": (0.0, -1.0, 0.0)}, "noise_density must not be negative"),
        ({"flicker_corner": -1.0}, "flicker_corner must not be negative"),
        ({"full_scale": 0.0}, "full_scale must be above 0"),
        ({"resolution": math.nan}, "resolution must not be negative"),
        ({"offset": (0.0, math.nan, 0.0)}, "offset must be finite"),
        ({"jitter": 1e-3}, "jitter must be below a tenth of a sample"),
        ({"drop_probability": 0.9}, "drop_probability must be from 0 to 0.5"),
        ({"drop_burst": 0}, "drop_burst must be 1 or more"),
    ],
)
def test_impossible_sensors_are_refused(change, words):
    sensor = Sensor()
    with pytest.raises(InputError, match=words):
        replace(sensor, **change)

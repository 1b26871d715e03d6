"""Free decay against the logarithmic decrement, scipy.signal.lsim and noise."""

import math

import numpy as np
import pytest
from scipy.signal import find_peaks

from balancer.core.decay import find_taps, free_decay
from balancer.errors import InputError
from tests.taps import tapped


@pytest.mark.parametrize("seed", range(4))
def test_frequency_and_damping_of_a_tapped_stand(seed):
    """The tolerances of the job: 1 % and 15 %; the strongest of one or two modes, cheap sensor."""
    rng = np.random.default_rng([2, seed])
    modes = [(rng.uniform(9, 40), rng.uniform(0.02, 0.12), rng.normal(size=3))]
    if seed % 2:
        modes.append((modes[0][0] * rng.uniform(1.3, 3.0), rng.uniform(0.02, 0.12), rng.normal(size=3)))
    found = free_decay(tapped(rng, modes), 1600.0)
    assert len(found.taps) == 3
    assert len(found.modes) == len(modes)
    frequency, damping, _ = min(modes, key=lambda mode: abs(mode[0] - found.strongest.frequency))
    assert found.strongest.frequency == pytest.approx(frequency, rel=0.005)
    assert found.strongest.damping == pytest.approx(damping, rel=0.05)
    assert abs(found.strongest.frequency - frequency) < 4 * found.strongest.sd_frequency
    assert abs(found.strongest.damping - damping) < 4 * found.strongest.sd_damping


def test_the_logarithmic_decrement_says_the_same():
    """Rao, Mechanical Vibrations, section 2.6 (from memory): delta = 2 pi zeta / sqrt(1 - zeta^2)."""
    rate, wn, zeta = 4000.0, 2 * math.pi * 18.0, 0.08
    times = np.arange(int(3 * rate)) / rate
    since = np.maximum(times - 1.0, 0.0)
    ringing = np.exp(-zeta * wn * since) * np.sin(wn * math.sqrt(1 - zeta**2) * since)
    peaks, _ = find_peaks(ringing, height=0.02)
    delta = math.log(ringing[peaks[0]] / ringing[peaks[4]]) / 4
    found = free_decay(
        ringing[None] + 1e-5 * np.random.default_rng(3).normal(size=times.size), rate
    ).strongest
    assert 2 * math.pi * found.damping / math.sqrt(1 - found.damping**2) == pytest.approx(delta, rel=0.005)
    assert found.damping == pytest.approx(zeta, rel=0.002)


@pytest.mark.parametrize("seed", range(10))
def test_noise_is_no_tap(seed):
    samples = np.random.default_rng(seed).normal(size=(3, 8000)) + 9.8
    with pytest.raises(InputError, match="no tap stands out"):
        free_decay(samples, 1600.0)


def test_a_step_that_does_not_ring_is_refused():
    rng = np.random.default_rng(5)
    samples = 0.1 * rng.normal(size=(3, 8000))
    samples[:, 3000:3003] += 20.0  # something hard was hit, and nothing moved after it
    assert len(find_taps(samples, 1600.0)) == 1
    with pytest.raises(InputError, match="nothing rings"):
        free_decay(samples, 1600.0)


def test_taps_without_time_between_them():
    rng = np.random.default_rng(6)
    samples = tapped(rng, [(25.0, 0.05, np.ones(3))])
    with pytest.raises(InputError, match="too quickly"):
        free_decay(samples, 1600.0, taps=[8780, 8790])

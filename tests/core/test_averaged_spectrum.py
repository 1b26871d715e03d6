"""Amplitudes of the averaged spectrum against what is known of the Hann window.

F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66
(1978) 51-83, table 1: scallop loss of the Hann window 1.42 dB, equivalent noise bandwidth 1.50 bins.
"""

from __future__ import annotations

import numpy as np
import pytest

from balancer.core.averaged_spectrum import averaged_spectrum

RATE, LENGTH = 1600.0, 3200
STEP = RATE / LENGTH


def spectrum_of(frequency, seconds=10.0):
    times = np.arange(round(seconds * RATE)) / RATE
    return averaged_spectrum((3.0 * np.cos(2 * np.pi * frequency * times + 0.4))[np.newaxis], RATE, LENGTH)


def test_a_sine_on_a_line_shows_its_peak():
    found = spectrum_of(87.0)
    assert found.along[np.argmax(found.amplitudes[0])] == 87.0
    assert found.amplitudes.max() == pytest.approx(3.0, rel=1e-3)


def test_a_sine_between_two_lines_shows_the_scallop_loss():
    loss = 20 * np.log10(3.0 / spectrum_of(87.0 + STEP / 2).amplitudes.max())
    assert loss == pytest.approx(1.42, abs=0.02)


def test_white_noise_shows_its_density_times_the_noise_bandwidth():
    density = 0.01  # one-sided, per root hertz
    rng = np.random.default_rng(2)
    noise = density * np.sqrt(RATE / 2) * rng.standard_normal((1, 400_000))
    found = averaged_spectrum(noise, RATE, LENGTH).amplitudes[0, 10:-10]
    assert np.sqrt(np.mean(found**2)) == pytest.approx(density * np.sqrt(2 * 1.50 * STEP), rel=0.02)


def test_a_short_record_is_one_piece():
    found = averaged_spectrum(np.random.default_rng(3).standard_normal((2, 100)), RATE, LENGTH)
    assert found.amplitudes.shape == (2, 51)

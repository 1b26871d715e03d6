"""A tapped stand or camera: modes pushed by a short half sine, solved by scipy.signal.lsim, cheaply seen."""

import numpy as np
from scipy.signal import StateSpace, lsim

from balancer.recording.model import Channel, Recording, SensorFacts
from balancer.units import G_STANDARD

NOISE = np.array([290e-6, 290e-6, 430e-6]) * G_STANDARD
STEP = 3.9e-3 * G_STANDARD


def tapped(rng, modes, *, rate=1600.0, taps=(1.0, 2.5, 4.0), duration=5.5, peak=8.0, contact=2e-3):
    """Modes as (Hz, damping ratio, shape on x, y, z); samples in m/s^2, shape (3, n)."""
    count, finer = int(duration * rate), 4
    times = np.arange(count * finer) / (rate * finer)
    force = np.zeros(times.size)
    for tap in taps:
        since = times - tap - rng.uniform(-0.1, 0.1)
        touching = (since > 0) & (since < contact)
        force[touching] += rng.uniform(0.7, 1.3) * np.sin(np.pi * since[touching] / contact)
    total = np.zeros((3, count))
    for frequency, damping, shape in modes:
        w = 2 * np.pi * frequency
        system = StateSpace(
            [[0, 1], [-w * w, -2 * damping * w]], [[0], [1]], [[-w * w, -2 * damping * w]], [[0]]
        )
        total += np.outer(shape, lsim(system, force, times)[1][::finer])
    total *= peak / np.max(np.abs(total))
    total += NOISE[:, None] * np.sqrt(rate / 2) * rng.standard_normal(total.shape)
    total += np.array([0.3, -G_STANDARD, 0.5])[:, None]
    return np.round(total / STEP) * STEP


def recorded(samples, rate=1600.0, **facts):
    """The same as a recording."""
    channels = tuple(Channel(name, "m/s^2") for name in "xyz"[: samples.shape[0]])
    return Recording(
        np.arange(samples.shape[1]) / rate,
        samples,
        channels,
        sensor=SensorFacts(full_scale=16 * G_STANDARD),
        **facts,
    )

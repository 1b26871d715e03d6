"""The accelerometer: low-pass, noise, full scale, steps, and a clock of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft

from balancer.recording.model import Floats, Gap, SensorFacts
from balancer.simulator.checks import check

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Sensor:
    """A three-axis accelerometer; the defaults are one without faults.

    Parameters
    ----------
    rate : float, optional
        Sample rate in Hz that the device announces.
    rate_error : float, optional
        Fraction by which the sensor's own clock runs fast; the sample times tell it honestly.
    bandwidth : float, optional
        In Hz, of a second-order Butterworth low-pass ahead of the sampling.
    noise_density : tuple of float, optional
        Of each axis in (m/s^2)/sqrt(Hz), white.
    flicker_corner : float, optional
        Frequency in Hz below which coloured noise (power falling as 1/f) exceeds the white noise.
    full_scale : float, optional
        Largest reading in m/s^2; what is above it is clipped.
    resolution : float, optional
        One count in m/s^2, 0 for none.
    offset : tuple of float, optional
        Of each axis in m/s^2, gravity included.
    jitter : float, optional
        Standard deviation in s of the instant of a sample against its stated time.
    drop_probability : float, optional
        Fraction of the samples that are lost.
    drop_burst : int, optional
        How many are lost together.

    Raises
    ------
    InputError
        If a number is impossible.
    """

    rate: float = 3200.0
    rate_error: float = 0.0
    bandwidth: float = 1600.0
    noise_density: tuple[float, float, float] = (0.0, 0.0, 0.0)
    flicker_corner: float = 0.0
    full_scale: float = math.inf
    resolution: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    jitter: float = 0.0
    drop_probability: float = 0.0
    drop_burst: int = 1

    def __post_init__(self) -> None:
        check(
            "sensor",
            (0 < self.rate < math.inf, "rate must be above 0"),
            (abs(self.rate_error) < 0.5, "rate_error must be a fraction below 0.5"),
            (0 < self.bandwidth < math.inf, "bandwidth must be above 0"),
            (all(0 <= v < math.inf for v in self.noise_density), "noise_density must not be negative"),
            (0 <= self.flicker_corner < math.inf, "flicker_corner must not be negative"),
            (self.full_scale > 0, "full_scale must be above 0"),
            (0 <= self.resolution < math.inf, "resolution must not be negative"),
            (all(math.isfinite(v) for v in self.offset), "offset must be finite"),
            (0 <= self.jitter * self.rate < 0.1, "jitter must be below a tenth of a sample"),
            (0 <= self.drop_probability < 0.5, "drop_probability must be from 0 to 0.5"),
            (self.drop_burst >= 1, "drop_burst must be 1 or more"),
        )

    @property
    def true_rate(self) -> float:
        """The rate in Hz at which it really samples."""
        return self.rate * (1 + self.rate_error)

    @property
    def pole(self) -> complex:
        """The low-pass's pole in the upper half plane in rad/s (Butterworth: at 45 degrees)."""
        return 2 * math.pi * self.bandwidth * complex(-1, 1) / math.sqrt(2)

    def gain(self, w: float) -> complex:
        """Give what the low-pass makes of a vector A exp(j lag) at the angular frequency `w` in rad/s."""
        ratio = w / (2 * math.pi * self.bandwidth)
        return 1 / (1 - ratio**2 - 1j * math.sqrt(2) * ratio)

    def read(self, acceleration: Floats, rng: np.random.Generator) -> Floats:
        """Add offset and noise, clip and round.

        Parameters
        ----------
        acceleration : array, shape (3, n)
            Behind the low-pass, in m/s^2.
        rng : numpy.random.Generator
            Source of the noise.

        Returns
        -------
        array, shape (3, n)
            As the sensor says it, in m/s^2.
        """
        seen = acceleration + np.array(self.offset)[:, None]
        if any(self.noise_density):
            seen += self._noise(acceleration.shape[1], rng)
        if self.resolution > 0:
            seen = np.round(seen / self.resolution) * self.resolution
        return np.asarray(np.clip(seen, -self.full_scale, self.full_scale))

    def _noise(self, count: int, rng: np.random.Generator) -> Floats:
        # a one-sided density d up to half the rate has the variance d^2 rate / 2
        sd = np.array(self.noise_density)[:, None] * math.sqrt(self.true_rate / 2)
        if self.flicker_corner == 0:
            return np.asarray(sd * rng.standard_normal((3, count)))
        size = next_fast_len(count, real=True)
        spectrum = rfft(rng.standard_normal((3, size)))
        frequency = np.arange(spectrum.shape[1]) * self.true_rate / size
        frequency[0] = math.inf  # what does not change is the offset's business
        colour = np.sqrt(1 + self.flicker_corner / frequency)
        return np.asarray(sd * irfft(spectrum * colour, size)[:, :count])

    def kept(self, count: int, rng: np.random.Generator) -> Bools:
        """Draw which of `count` samples arrive; the first and the last one always do."""
        keep = np.ones(count, dtype=bool)
        if self.drop_probability > 0:
            # a sample survives when none of the burst's starts that reach it happens
            start = 1 - (1 - self.drop_probability) ** (1 / self.drop_burst)
            starts = np.flatnonzero(rng.random(count) < start)
            lost = (starts[:, None] + np.arange(self.drop_burst)).ravel()
            keep[lost[lost < count]] = False
            keep[[0, -1]] = True
        return keep

    def facts(self, mark_edge: str) -> SensorFacts:
        """Say what a device with this sensor would announce."""
        return SensorFacts(
            name="simulated accelerometer",
            board="simulated bench",
            full_scale=self.full_scale if math.isfinite(self.full_scale) else None,
            resolution=self.resolution or None,
            lowpass=self.bandwidth,
            nominal_rate=self.rate,
            mark_edge=mark_edge,
        )


def gaps_of(times: Floats, keep: Bools) -> tuple[Gap, ...]:
    """List the gaps that lost samples leave.

    Parameters
    ----------
    times : array, shape (n,)
        Times in s of all samples.
    keep : array of bool, shape (n,)
        Which of them arrived.

    Returns
    -------
    tuple of Gap
        In order of time.
    """
    index = np.flatnonzero(keep)
    before = np.flatnonzero(np.diff(index) > 1)
    return tuple(
        Gap(float(times[index[i]]), float(times[index[i + 1]]), int(index[i + 1] - index[i] - 1), "index")
        for i in before
    )

"""Without a mark: the speed from the spectrum, and the amplitude of the line found there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import gammainccinv

from balancer.errors import InputError

Floats = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 300.0  # 1,200 to 18,000 rpm: wider than any multirotor runs
_MODULATION_HZ = 2.0  # and no less in Hz: a wander this quick puts side lines there (Carson's rule)
_MOST_MULTIPLE = 5  # searched where 1x does not stand out
_AS_SAID = 0.04  # share by which the speed may then be off the one said
_FEWEST_BINS = 16
_WANDER = 0.02  # of the frequency: half width of the band that still counts as the line


@dataclass(frozen=True)
class Line:
    """A spectral line taken for once per revolution.

    Parameters
    ----------
    frequency : float
        Mean frequency in Hz.
    amplitudes : tuple of float
        Peak amplitude in each channel, noise subtracted.
    sd_amplitudes : tuple of float
        Their standard uncertainties.
    overall : tuple of float
        Root mean square of all but the constant part, for each channel.
    rivals : tuple of float
        Frequencies in Hz of other lines at least half as high: any of them might be the speed.
    slowest, fastest : float
        Frequency in Hz at the 5 % and 95 % point of the run.
    multiple : int
        Of once per revolution whose line told the frequency: 1, or more where 1x itself does not stand out.
    """

    frequency: float
    amplitudes: tuple[float, ...]
    sd_amplitudes: tuple[float, ...]
    overall: tuple[float, ...]
    rivals: tuple[float, ...]
    slowest: float
    fastest: float
    multiple: int = 1


def find_line(samples: Floats, rate: float, *, near: float | None = None) -> Line:
    """Find the strongest line in the range of shaft speeds and measure it.

    The line's amplitude is the root mean square of the band of 2 % (2 Hz at the least) around it, less the
    noise of the bands beside it: a speed that wanders by less than that costs nothing. Where the speed is
    said and no line stands out there, as on a rotor that is balanced well, a multiple of it may tell it.

    Parameters
    ----------
    samples : array, shape (channels, n)
        Uniformly sampled.
    rate : float
        Sample rate in Hz.
    near : float, optional
        Look only within 20 % of this frequency in Hz.

    Returns
    -------
    Line
        What was found.

    Raises
    ------
    InputError
        If the recording is too short, the rate too low, or no line stands out.
    """
    low, high = (LOWEST_HZ, HIGHEST_HZ) if near is None else (0.8 * near, 1.2 * near)
    count = samples.shape[1]
    if count < 64 or count / rate * low < 10:
        raise InputError("the recording is too short to find the speed in it", todo="record for 5 s or more")
    if 0.45 * rate <= low:
        raise InputError(
            f"{rate:.0f} samples a second are too few to see a speed of {low * 60:.0f} rpm or more",
            todo=f"use a sensor with at least {4 * low:.0f} samples a second",
        )
    count -= count % 2  # the bands go back to the time domain as records of even length
    centred = samples[:, :count] - samples[:, :count].mean(axis=1, keepdims=True)
    spectrum = np.fft.rfft(centred, axis=1)
    power = np.sum(np.abs(spectrum) ** 2, axis=0)
    frequencies = np.asarray(np.fft.rfftfreq(count, 1 / rate), dtype=np.float64)
    found = _strongest(frequencies, power, low, min(high, 0.45 * rate), samples.shape[0])
    multiple = 1
    while found is None and near is not None and multiple < _MOST_MULTIPLE:
        multiple += 1
        inside = ((1 - _AS_SAID) * multiple * near, min((1 + _AS_SAID) * multiple * near, 0.45 * rate))
        found = _strongest(frequencies, power, *inside, samples.shape[0])
    if found is None:
        raise InputError(
            f"no line stands out between {low * 60:.0f} and {high * 60:.0f} rpm",
            todo="fit a mark and a pick-up, or say the speed",
        )
    centre, rivals = found[0] / multiple, found[1] if multiple == 1 else ()
    width = _half_width(centre, frequencies)
    bands = [_band(spectrum, frequencies, centre + shift, width) for shift in (0.0, -3 * width, 3 * width)]
    if multiple == 1:
        return _measure(bands, centred, rate, rivals)
    loud = _measure([_band(spectrum, frequencies, found[0], width), *bands[1:]], centred, rate, ())
    return replace(
        _measure(bands, centred, rate, ()),
        frequency=loud.frequency / multiple,
        slowest=loud.slowest / multiple,
        fastest=loud.fastest / multiple,
        multiple=multiple,
    )


def _strongest(
    frequencies: Floats, power: Floats, low: float, high: float, channels: int
) -> tuple[float, tuple[float, ...]] | None:
    # smoothed over half a hertz, so that a wandering line still is one peak
    width = max(int(0.5 / frequencies[1]), 1)
    smooth = np.convolve(power, np.ones(width) / width, mode="same")
    inside = np.flatnonzero((frequencies >= low) & (frequencies <= high))
    if inside.size < _FEWEST_BINS:
        return None
    floor = float(np.median(smooth[inside]))
    height = floor * _stands_out(width * channels, inside.size)
    from scipy.signal import find_peaks  # noqa: PLC0415  half a second, needed without marks only

    peaks, _ = find_peaks(smooth[inside], distance=max(width, 2), height=height)
    if peaks.size == 0:
        return None
    heights = smooth[inside][peaks]
    best = int(np.argmax(heights))
    found = frequencies[inside][peaks]
    # half the height is a quarter of the power; skirts of the line itself are no rivals
    apart = np.abs(found - found[best]) > 2 * _WANDER * found[best]
    rivals = tuple(float(f) for f in found[apart & (heights > heights[best] / 4)])
    return _centre(frequencies, power, float(found[best])), rivals


def _stands_out(averaged: int, bins: int) -> float:
    """Ratio to the median that white noise passes in one record of a thousand, and 10 at the least.

    A bin of white noise has an exponential distribution, a mean of several a gamma distribution.
    """
    chance = gammainccinv(averaged, 1e-3 / bins) / gammainccinv(averaged, 0.5)
    return max(10.0, float(chance))


def _half_width(centre: float, frequencies: Floats) -> float:
    return float(max(_WANDER * centre, _MODULATION_HZ, 2 * frequencies[1]))


def _centre(frequencies: Floats, power: Floats, peak: float) -> float:
    """Mean frequency of the band: a wandering line peaks where it dwells, not in its middle."""
    near = np.abs(frequencies - peak) <= _half_width(peak, frequencies)
    weights = np.maximum(power[near] - np.median(power[near]), 0.0)
    return float(np.average(frequencies[near], weights=weights)) if weights.any() else peak


def _band(
    spectrum: npt.NDArray[np.complex128], frequencies: Floats, centre: float, width: float
) -> npt.NDArray[np.complex128]:
    """Analytic signal of the band around `centre`, edges included, shape (channels, n)."""
    count = 2 * (frequencies.size - 1)
    full = np.zeros((spectrum.shape[0], count), dtype=np.complex128)
    chosen = np.abs(frequencies - centre) <= width
    full[:, : frequencies.size][:, chosen] = 2 * spectrum[:, chosen]
    return np.asarray(np.fft.ifft(full, axis=1))


def _measure(
    bands: list[npt.NDArray[np.complex128]], centred: Floats, rate: float, rivals: tuple[float, ...]
) -> Line:
    line, below, above = bands
    trim = line.shape[1] // 20  # the ends of a band-passed signal ring
    inner = slice(trim, line.shape[1] - trim)
    noise = (np.mean(np.abs(below) ** 2, axis=1) + np.mean(np.abs(above) ** 2, axis=1)) / 2
    blocks = np.array_split(np.abs(line[:, inner]) ** 2, 16, axis=1)
    means = np.array([block.mean(axis=1) for block in blocks])
    squares = np.maximum(means.mean(axis=0) - noise, 0.0)
    amplitudes = np.sqrt(squares)
    spread = means.std(axis=0, ddof=1) / math.sqrt(len(blocks))
    sd = np.where(amplitudes > 0, spread / (2 * np.maximum(amplitudes, np.sqrt(noise) / 2)), np.sqrt(noise))
    strongest = line[int(np.argmax(amplitudes)), inner]
    speeds = _speeds(strongest, rate)
    return Line(
        frequency=float(speeds.mean()),
        amplitudes=tuple(float(a) for a in amplitudes),
        sd_amplitudes=tuple(float(s) for s in sd),
        overall=tuple(float(v) for v in np.sqrt(np.mean(centred**2, axis=1))),
        rivals=rivals,
        slowest=float(np.quantile(speeds, 0.05)),
        fastest=float(np.quantile(speeds, 0.95)),
    )


def _speeds(analytic: npt.NDArray[np.complex128], rate: float) -> Floats:
    """Frequency in Hz over stretches of about a quarter of a second, from the phase."""
    cycles = np.unwrap(np.angle(analytic)) / (2 * np.pi)
    step = max(min(int(rate / 4), cycles.size // 4), 1)
    return np.asarray(np.diff(cycles[::step]) * rate / step)

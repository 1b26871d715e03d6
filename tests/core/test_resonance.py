"""One mode under a rotating force, steady and swept, against scipy.signal."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import StateSpace, TransferFunction, freqresp, lsim

from balancer.core.resonance import Resonance, accelerance, quickest_sweep
from balancer.core.swept import force, mode_means, passes


def mode(frequency, damping):
    """Acceleration over force of a mode of unit mass, in scipy's terms."""
    w = 2 * np.pi * frequency
    return TransferFunction([1, 0, 0], [1, 2 * damping * w, w * w])


@pytest.mark.parametrize(("frequency", "damping"), [(33.0, 0.02), (80.0, 0.2), (125.0, 0.0)])
def test_accelerance_is_that_of_scipy_conjugated(frequency, damping):
    speeds = 2 * np.pi * np.linspace(10, 200, 57)
    _, outside = freqresp(mode(frequency, damping), speeds)
    # scipy counts exp(+j w t), lags here grow the other way
    assert accelerance(speeds, frequency, damping) == pytest.approx(outside.conj())


def test_half_power_and_amplification():
    """Rao, Mechanical Vibrations, section 3.4 (from memory): Q = 1/(2 zeta), band 2 zeta wn."""
    found = Resonance(50.0, 0.02, 0.0, 0.0)
    assert found.amplification == pytest.approx(25.0)
    low, high = found.half_power
    assert high - low == pytest.approx(2 * 0.02 * 50.0)
    # velocity, the quantity of that section's power, is down to 1/sqrt(2) at both
    for at in (low, high):
        w = np.array([2 * np.pi * at, found.speed])
        velocity = np.abs(accelerance(w, 50.0, 0.02)) / w
        assert velocity[0] / velocity[1] == pytest.approx(1 / np.sqrt(2), rel=0.02)


def test_quickest_sweep_grows_with_the_square_of_the_band():
    assert quickest_sweep(100.0, 0.02) == pytest.approx(4 * quickest_sweep(50.0, 0.02))
    # 54 f^2/Q^2 Hz/min (ISO 7626-2, from memory): f = 60 Hz, Q = 20 gives 486 Hz/min
    assert quickest_sweep(60.0, 1 / 40) == pytest.approx(486 / 60)


def blocks_of(times, turns, samples, count):
    """Fit 1x with a linear change over blocks of so many turns; edges in s and vectors."""
    edges = np.arange(0, int(turns[-1]) + 1, count)
    vectors = []
    for low, high in pairwise(edges):
        part = (turns >= low) & (turns < high)
        wave = np.exp(2j * np.pi * turns[part])
        drift = (turns[part] - low) / count * 2 - 1
        rows = [f for k in (1, 2, 3) for f in ((wave**k).real, (wave**k).imag)]
        basis = np.array([*rows, drift * wave.real, drift * wave.imag, drift, drift * 0 + 1])
        a = np.linalg.lstsq(basis.T, samples[part], rcond=None)[0]
        vectors.append(a[0] + 1j * a[1])
    return np.interp(edges, turns, times), np.array(vectors)


@pytest.mark.parametrize(("first", "last", "duration"), [(100.0, 20.0, 2.0), (20.0, 100.0, 5.0)])
def test_a_swept_mode_follows_the_equation_of_motion(first, last, duration):
    """A quick sweep past 50 Hz: the ringing after it is there, as scipy.signal.lsim has it."""
    times = np.arange(0, duration, 1 / 10000)
    rate = (last - first) / duration
    turns = first * times + rate * times**2 / 2
    w, a = 2 * np.pi * (first + rate * times), 2 * np.pi * rate
    pushed = np.real((w**2 + 1j * a) * np.exp(-2j * np.pi * turns))
    wn, zeta = 2 * np.pi * 50.0, 0.02
    system = StateSpace([[0, 1], [-wn * wn, -2 * zeta * wn]], [[0], [1]], [[-wn * wn, -2 * zeta * wn]], [[1]])
    # begin in the steady state of the first speed, as the model does
    q = (w[0] ** 2 + 1j * a) / (wn**2 - w[0] ** 2 - 2j * zeta * wn * w[0])
    _, seen, _ = lsim(system, pushed, times, X0=[q.real, (-1j * w[0] * q).real])
    edges, wanted = blocks_of(times, turns, seen, 4)
    (path,) = passes(edges[:-1], edges[1:], np.full(edges.size - 1, 4))
    given = mode_means(path, force(path), 50.0, zeta)
    steady = path.means(force(path) * accelerance(path.speeds, 50.0, zeta))
    peak = np.max(np.abs(wanted))
    # the ringing is no order: some per cent of it get into a fit over four turns
    assert np.sqrt(np.mean(np.abs(given - wanted) ** 2)) < 0.01 * peak
    assert np.max(np.abs(given - wanted)) < 0.05 * peak
    assert np.max(np.abs(steady - wanted)) > 0.25 * peak  # the steady curve would not do


def test_passes_break_where_time_is_missing():
    starts, ends = np.array([0.0, 1.0, 3.0, 4.0]), np.array([1.0, 2.0, 4.0, 5.0])
    first, second = passes(starts, ends, np.array([10, 11, 12, 12]))
    assert first.edges == pytest.approx([0, 1, 2])
    assert second.edges == pytest.approx([3, 4, 5])
    assert second.speeds == pytest.approx(2 * np.pi * 12)

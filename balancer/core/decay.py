"""Free decay after a tap: natural frequencies and damping of what was tapped.

After a tap each mode goes as Re(R exp(p t)), p = wn (-zeta + j sqrt(1 - zeta^2)). All channels and all taps
share the poles. A first guess comes from the shift of a basis of the signal's own columns (ESPRIT: R. Roy and
T. Kailath, IEEE Trans. Acoustics, Speech and Signal Processing 37 (1989) 984-995); then poles are refined by
least squares on the samples, in which the amplitudes are linear. The trade's logarithmic decrement,
2 pi zeta / sqrt(1 - zeta^2) (S. S. Rao, Mechanical Vibrations, section 2.6; from memory), is the same thing
read off the peaks of one mode.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d
from scipy.optimize import least_squares

from balancer.core.resonance import Resonance, pole
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Pairs = list[tuple[float, float]]

MOST_MODES = 4
_LONGEST = 1.5  # s of one decay
_FEWEST = 40  # samples of one decay
_STANDS_OUT = 6.0  # times the usual scatter of a short piece
_JUMP = 2.5  # times the scatter of the pieces before
_BEFORE = 9  # pieces: half a cycle at 6 Hz
_APART = 0.1  # s between taps
_PIECE = 0.01  # s
_CONTACT = 4.0e-3  # s after the sharpest moment: the finger or the handle of the screwdriver is still there
_WORTH = 60.0  # least fall of chi squared for a further mode, per unit of what is left
_COLUMNS = 60  # of the Hankel matrix
_MOST_DAMPING = 0.5
_LEAST_DAMPING = 2e-4


@dataclass(frozen=True, eq=False)
class Decay:
    """What the taps show.

    Parameters
    ----------
    modes : tuple of Resonance
        By their size, the strongest first.
    sizes : array, shape (modes,)
        Largest amplitude of each in any channel, just after a tap, in the unit of the samples.
    taps : tuple of int
        Samples at which a tap began.
    explained : float
        Share of the power after the taps that the modes make up.
    noise : float
        Root mean square of what is left, of the noisiest channel.
    """

    modes: tuple[Resonance, ...]
    sizes: Floats
    taps: tuple[int, ...]
    explained: float
    noise: float

    @property
    def strongest(self) -> Resonance:
        """The mode that rings most."""
        return self.modes[0]


def find_taps(samples: Floats, rate: float) -> tuple[int, ...]:
    """Find where the signal jumps: the first sample of each tap.

    Parameters
    ----------
    samples : array, shape (channels, n)
        At an even rate.
    rate : float
        Samples a second.

    Returns
    -------
    tuple of int
        Rising; empty if nothing stands out.
    """
    length = max(int(_PIECE * rate), 4)
    count = samples.shape[1] // length
    if count < 8:
        return ()
    away = (samples - np.median(samples, axis=1, keepdims=True))[:, : count * length]
    power = np.mean(away.reshape(samples.shape[0], count, length) ** 2, axis=2)
    usual = np.percentile(power, 20, axis=1)[:, None] + 1e-20 * np.max(power) + 1e-300
    level = np.sqrt(np.max(power / usual, axis=0))
    # a tap is loud, and far louder than the last half cycle of the slowest mode
    before = maximum_filter1d(level, _BEFORE, origin=_BEFORE // 2, mode="nearest")[:-1]
    begins = np.flatnonzero((level[1:] > _STANDS_OUT) & (level[1:] > _JUMP * before)) + 1
    steps = np.max(np.abs(np.diff(away, axis=1)) / np.sqrt(usual), axis=0)
    taps: list[int] = []
    for begin in begins.tolist():
        at = (begin - 1) * length + int(np.argmax(steps[(begin - 1) * length : (begin + 1) * length]))
        if not taps or at - taps[-1] > _APART * rate:
            taps.append(at)
    return tuple(taps)


def free_decay(samples: Floats, rate: float, taps: Sequence[int] | None = None) -> Decay:
    """Find the modes that ring after taps.

    Parameters
    ----------
    samples : array, shape (channels, n)
        At an even rate; what does not change (gravity) does not matter.
    rate : float
        Samples a second.
    taps : sequence of int, optional
        First samples of the taps; looked for if left out.

    Returns
    -------
    Decay
        Modes with standard uncertainties.

    Raises
    ------
    InputError
        If there is no tap, or nothing rings after it.

    Examples
    --------
    >>> time = np.arange(2000) / 1000.0
    >>> ringing = np.where(time < 0.5, 0.0, np.exp(-6.0 * (time - 0.5)) * np.sin(200.0 * (time - 0.5)))
    >>> noise = 1e-4 * np.random.default_rng(1).normal(size=2000)
    >>> found = free_decay((ringing + noise)[np.newaxis], 1000.0).strongest
    >>> round(found.frequency, 2), round(found.damping, 3)
    (31.85, 0.03)
    """
    taps = find_taps(samples, rate) if taps is None else tuple(taps)
    if not taps:
        raise InputError(
            "no tap stands out of the noise", todo="tap harder with the sensor running, three or four times"
        )
    fit = _Decays(_pieces(samples, rate, taps), rate)
    found: Pairs = []
    left, best = fit.left(found), None
    while len(found) < MOST_MODES:
        start = fit.next_mode(found)
        if start is None:
            break
        tried, residual, sd = fit.refine([*found, start])
        fall = left - residual
        if fall < _WORTH * residual / fit.freedom(len(tried)) or not fit.sound(tried):
            break
        found, left, best = tried, residual, sd
    if best is None:
        raise InputError(
            "nothing rings after the taps that could be told from noise",
            todo="tap harder, away from the sensor, and let it ring out",
        )
    return _told(fit, found, best, left, taps)


def _pieces(samples: Floats, rate: float, taps: Sequence[int]) -> Floats:
    """Cut out what follows each tap until it has rung out: (samples, channels and taps)."""
    delay = int(np.ceil(_CONTACT * rate))
    begins = [tap + delay for tap in taps]
    ends = [*(tap - delay for tap in taps[1:]), samples.shape[1]]
    longest = int(_LONGEST * rate)
    lengths = [min(end - begin, longest) for begin, end in zip(begins, ends, strict=True)]
    enough = [(begin, n) for begin, n in zip(begins, lengths, strict=True) if n >= _FEWEST]
    if not enough:
        raise InputError(
            "the taps follow each other too quickly", todo="let it ring out for a second after each"
        )
    # one length for all: the basis of the fit is then the same; a hasty tap is left out
    typical = float(np.median([n for _, n in enough]))
    kept = [(begin, n) for begin, n in enough if n >= 0.5 * typical]
    length = min(n for _, n in kept)
    pieces = np.concatenate([samples[:, begin : begin + length] for begin, _ in kept]).T
    return pieces[: _rung_out(pieces, rate)]


def _rung_out(pieces: Floats, rate: float) -> int:
    """Give the number of samples after which nothing but noise is left; what follows would only cost time."""
    length = max(int(0.05 * rate), _FEWEST // 2)
    count = pieces.shape[0] // length
    if count < 4:
        return int(pieces.shape[0])
    parts = (pieces - np.median(pieces, axis=0))[: count * length].reshape(count, length, -1)
    power = np.mean(parts**2, axis=1)
    loud = np.flatnonzero(np.max(power / (np.min(power, axis=0) + 1e-300), axis=1) > 2.0)
    last = int(loud[-1]) + 2 if loud.size else count
    return int(min(max(last, 4) * length, pieces.shape[0]))


def _told(fit: _Decays, found: Pairs, sd: Floats, left: float, taps: Sequence[int]) -> Decay:
    sizes = fit.sizes(found)
    order = np.argsort(-sizes)
    modes = tuple(
        Resonance(f, z, f * float(sd[2 * i]), z * float(sd[2 * i + 1])) for i in order for f, z in [found[i]]
    )
    return Decay(modes, sizes[order], tuple(taps), 1 - left / fit.left([]), fit.noise(found))


class _Decays:
    """The linear problem behind the poles, over all taps and channels: columns of `pieces`."""

    def __init__(self, pieces: Floats, rate: float) -> None:
        self._pieces, self._rate = pieces, rate
        self._times = np.arange(pieces.shape[0]) / rate
        self._low, self._high = 2.0 / self._times[-1], 0.45 * rate

    def freedom(self, modes: int) -> int:
        """Degrees of freedom with so many modes."""
        linear = (1 + 2 * modes) * self._pieces.shape[1]
        return int(max(self._pieces.size - linear - 2 * modes, 1))

    def _solve(self, modes: Pairs) -> tuple[Floats, Floats]:
        """Give shares (1 + 2 modes, columns) and what is left."""
        rows = [np.ones(self._times.size)]
        for f, z in modes:
            wave = np.exp(pole(f, z) * self._times)
            rows += [wave.real, wave.imag]
        q, r = np.linalg.qr(np.array(rows).T)
        projected = q.T @ self._pieces
        return np.linalg.lstsq(r, projected, rcond=None)[0], self._pieces - q @ projected

    def left(self, modes: Pairs) -> float:
        """Sum of squares that the modes do not explain."""
        return float(np.sum(self._solve(modes)[1] ** 2))

    def noise(self, modes: Pairs) -> float:
        """Root mean square of what is left in the noisiest column."""
        return float(np.sqrt(np.max(np.mean(self._solve(modes)[1] ** 2, axis=0))))

    def sizes(self, modes: Pairs) -> Floats:
        """Largest amplitude of each mode at the beginning."""
        shares = self._solve(modes)[0]
        return np.array([float(np.max(np.hypot(*shares[1 + 2 * i : 3 + 2 * i]))) for i in range(len(modes))])

    def next_mode(self, modes: Pairs) -> tuple[float, float] | None:
        """Guess a further mode from what is left."""
        rest = self._solve(modes)[1]
        width = min(_COLUMNS, rest.shape[0] // 3)
        windows = np.lib.stride_tricks.sliding_window_view(rest, width, axis=0).reshape(-1, width)
        # eigenvectors of the product: the right singular vectors, at a fraction of the cost
        right = np.linalg.eigh(windows.T @ windows)[1][:, ::-1]
        guesses = []
        for rank in (2, 4, 6):
            shift = np.linalg.lstsq(right[:-1, :rank], right[1:, :rank], rcond=None)[0]
            guesses += [
                g for root in np.linalg.eigvals(shift) if (g := self._pair(complex(root))) is not None
            ]
        return min(guesses, key=lambda guess: self.left([*modes, guess]), default=None)

    def _pair(self, root: complex) -> tuple[float, float] | None:
        if root.imag <= 0 or abs(root) < 1e-6:
            return None
        s = np.log(root) * self._rate
        frequency = float(abs(s)) / (2 * np.pi)
        damping = float(np.clip(-s.real / abs(s), 2 * _LEAST_DAMPING, 0.9 * _MOST_DAMPING))
        return (frequency, damping) if self._low < frequency < self._high else None

    def refine(self, start: Pairs) -> tuple[Pairs, float, Floats]:
        """Refine poles: they, the sum of squares left, relative standard uncertainties."""
        lower = np.tile(np.log([self._low, _LEAST_DAMPING]), len(start))
        upper = np.tile(np.log([self._high, _MOST_DAMPING]), len(start))
        x = np.clip(np.log(np.array(start)).ravel(), lower + 1e-6, upper - 1e-6)

        size = np.sqrt(self.left([]))
        solved = least_squares(
            lambda x: self._solve(_pairs(x))[1].ravel() / size,
            x,
            bounds=(lower, upper),
            x_scale=np.tile([0.01, 0.2], len(start)),
            ftol=1e-9,
            max_nfev=60,
        )
        left = 2 * solved.cost
        variance = np.diagonal(np.linalg.pinv(solved.jac.T @ solved.jac)) * left / self.freedom(len(start))
        return _pairs(solved.x), float(left * size**2), np.sqrt(np.maximum(variance, 0.0))

    def sound(self, modes: Pairs) -> bool:
        """Say whether every mode keeps off the limits of the search."""
        return all(
            1.02 * self._low < f < 0.98 * self._high and 1.2 * _LEAST_DAMPING < z < 0.95 * _MOST_DAMPING
            for f, z in modes
        )


def _pairs(x: Floats) -> Pairs:
    return [(float(f), float(z)) for f, z in np.exp(x).reshape(-1, 2)]

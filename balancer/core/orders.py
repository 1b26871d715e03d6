"""Orders of the shaft speed by least squares at the true sample times, with a covariance that is true.

Block by block the products of all basis functions and channels are summed; the sum of
the blocks gives the least-squares fit, their scatter its covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.shaft import Stretch
from balancer.core.vectors import Covariance
from balancer.errors import InputError

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

FEWEST_REVOLUTIONS = 5
_FEWEST_BLOCKS = 3  # whose scatter has two lines beside its mean and its slope
_BLOCK = 0.1  # s: short enough that a line some hertz away is seen as such by the scatter of blocks
_STEADY = 1e-6  # a speed that varies by less than this share shows nothing
_CHUNK = 8192  # samples worked on at once: they stay in the processor's cache
_NEAR_HZ = 0.75  # half width of the band around an order whose residual counts as its noise
_SINGULAR = 1e6  # condition of the normal equations; some units where orders are told apart
_CIRCLE = np.exp(2j * np.pi * np.arange(4096) / 4096)


@dataclass(frozen=True, eq=False)
class OrderFit:
    """Orders of all channels with their covariances.

    Parameters
    ----------
    orders : tuple of int
        The orders fitted.
    vectors : array of complex, shape (channels, orders)
        Amplitude exp(j lag) of each, peak, in the unit of the channel.
    covariances : array, shape (channels, orders, 2, 2)
        Of real and imaginary part.
    excess : array, shape (channels, orders)
        Standard uncertainty over what white noise of the same residual would give: far above 1 when
        the residual has a hump within a hertz of the order.
    mean : array, shape (channels,)
        Constant part of each channel (gravity, offset).
    overall : array, shape (channels,)
        Root mean square of all but the constant part.
    residual : array, shape (channels,)
        Root mean square of what the orders do not explain.
    revolutions : int
        Whole revolutions used.
    """

    orders: tuple[int, ...]
    vectors: Complexes
    covariances: Floats
    excess: Floats
    mean: Floats
    overall: Floats
    residual: Floats
    revolutions: int

    def covariance(self, channel: int, order: int) -> Covariance:
        """Give the covariance of one channel (by index) at one of `orders`."""
        return Covariance.of_matrix(self.covariances[channel, self.orders.index(order)])


def fit_orders(
    stretches: Sequence[Stretch], times: Floats, samples: Floats, orders: Sequence[int] = (1, 2, 3, 4, 5)
) -> OrderFit:
    """Fit a constant and the given orders to all channels at once.

    The covariance is the sandwich of least squares with the long-run variance of the block scores taken
    from their lowest frequencies (equal-weighted periodogram: Lazarus, Lewis, Stock and Watson, "HAR
    Inference", J. Business & Economic Statistics 36 (2018) 541-559). Noise need not be white for it, only
    smooth over a hertz or so around the order; the skirts of a neighbouring line are counted too. Its few
    degrees of freedom are allowed for by nu/(nu - 2) (GUM supplement 1, 6.4.9.4). What follows the wandering
    speed is no noise: the result stands for the mean speed, so that part of the scatter is taken out.

    Parameters
    ----------
    stretches : sequence of Stretch
        Where the shaft angle is known, and what it is.
    times : array, shape (n,)
        Sample times in s, indexed as the stretches say.
    samples : array, shape (channels, n)
        The samples, likewise.
    orders : sequence of int
        Which multiples of the shaft speed, each 1 or more, rising.

    Returns
    -------
    OrderFit
        Vectors and covariances.

    Raises
    ------
    InputError
        If there are fewer than five whole revolutions, or too few samples for the orders asked.
    """
    columns = 1 + 2 * len(orders)
    revolutions, count = _extent(stretches, columns)
    duration = sum(float(times[s.stop - 1] - times[s.start]) for s in stretches)
    length = max(int(count / duration * _BLOCK), 1)
    sums = _block_sums(stretches, samples, tuple(orders), length)
    return fit_sums(sums, orders, duration, revolutions, _block_speeds(stretches, times, length))


def order_sums(turns: Floats, samples: Floats, orders: Sequence[int]) -> Floats:
    """Sum all products of 1, cos and sin of each order, and the channels, over one block of samples.

    Parameters
    ----------
    turns : array, shape (n,)
        Shaft position at each sample in revolutions.
    samples : array, shape (channels, n)
        The samples.
    orders : sequence of int
        Multiples of the shaft speed, each 1 or more, rising.

    Returns
    -------
    array, shape (columns, columns)
        For `fit_sums`; columns is 1 + 2 orders + channels.
    """
    rows = np.empty((1 + 2 * len(orders) + samples.shape[0], turns.size))
    _fill(rows, turns, samples, tuple(orders))
    return np.asarray(rows @ rows.T)


def fit_sums(
    sums: Floats, orders: Sequence[int], duration: float, revolutions: int, speeds: Floats
) -> OrderFit:
    """Fit as `fit_orders` does, to sums taken block by block.

    Parameters
    ----------
    sums : array, shape (blocks, columns, columns)
        Of consecutive blocks of about the same length, as from `order_sums`.
    orders : sequence of int
        The orders in them.
    duration : float
        Time over which the blocks run, in s.
    revolutions : int
        Whole revolutions in them.
    speeds : array, shape (blocks,)
        Mean speed over each, in any unit.

    Returns
    -------
    OrderFit
        Vectors and covariances.

    Raises
    ------
    InputError
        If the samples cannot tell the orders apart, or the blocks are too few to scatter.
    """
    columns = 1 + 2 * len(orders)
    if sums.shape[0] < _FEWEST_BLOCKS:
        raise InputError(
            f"{duration:.2g} s of running are too short to tell how sure 1x is",
            todo="record for some seconds",
        )
    total = sums.sum(axis=0)
    count = float(total[0, 0])
    gram, right = total[:columns, :columns], total[:columns, columns:]
    if np.linalg.cond(gram) > _SINGULAR:
        raise InputError(
            f"the samples cannot tell the orders {', '.join(map(str, orders))} apart",
            todo="use a higher sample rate, another speed or fewer orders",
        )
    inverse = np.linalg.inv(gram)
    solution = inverse @ right  # (columns, channels)
    energy = np.diagonal(total)[columns:]
    mean = total[0, columns:] / count
    explained = np.einsum("kc,kc->c", solution, right)
    left = np.maximum(energy - explained, 0.0)
    scores = sums[:, :columns, columns:] - sums[:, :columns, :columns] @ solution
    influence = _without_speed(inverse @ scores, speeds)
    covariance = _long_run(influence, duration)
    white = left / max(count - columns, 1.0) * np.diagonal(inverse)[1:, np.newaxis]
    return OrderFit(
        orders=tuple(orders),
        vectors=_complex(solution[1:]),
        covariances=covariance,
        excess=_excess(covariance, white),
        mean=mean,
        overall=np.sqrt(np.maximum(energy / count - mean**2, 0.0)),
        residual=np.sqrt(left / count),
        revolutions=revolutions,
    )


def _extent(stretches: Sequence[Stretch], columns: int) -> tuple[int, int]:
    revolutions = sum(int(np.rint(stretch.turns[-1] - stretch.turns[0])) for stretch in stretches)
    count = sum(stretch.turns.size for stretch in stretches)
    if revolutions < FEWEST_REVOLUTIONS:
        raise InputError(
            f"only {revolutions} whole revolutions were seen, at least {FEWEST_REVOLUTIONS} are needed",
            todo="record for some seconds",
        )
    if count < 2 * columns:
        raise InputError(
            f"{count} samples are too few for {columns // 2} orders",
            todo="use a higher sample rate or fewer orders",
        )
    return revolutions, count


def _complex(pairs: Floats) -> Complexes:
    """Turn rows cos, sin, cos ... of shape (2 k, channels) into a + j b = A exp(j lag), (channels, k)."""
    return np.asarray((pairs[0::2] + 1j * pairs[1::2]).T)


def _block_sums(
    stretches: Sequence[Stretch], samples: Floats, orders: tuple[int, ...], length: int
) -> Floats:
    """Sum block by block all products of 1, cos and sin of each order, and the channels."""
    rows = np.zeros((1 + 2 * len(orders) + samples.shape[0], max(_CHUNK // length, 1) * length))
    sums = []
    for stretch in stretches:
        for low in range(0, stretch.turns.size, rows.shape[1]):
            turns = stretch.turns[low : low + rows.shape[1]]
            used = -(-turns.size // length)
            _fill(rows[:, : turns.size], turns, samples[:, stretch.start + low :], orders)
            rows[:, turns.size : used * length] = 0.0  # an unfinished block: zeros add nothing to a sum
            blocks = rows.reshape(rows.shape[0], -1, length)[:, :used].transpose(1, 0, 2)
            sums.append(blocks @ blocks.transpose(0, 2, 1))
    return np.concatenate(sums)


def _fill(rows: Floats, turns: Floats, samples: Floats, orders: tuple[int, ...]) -> None:
    first = unit_circle(turns - np.floor(turns[0]))
    power, reached = first, 1
    rows[0] = 1.0
    for k, order in enumerate(orders):
        while reached < order:  # the next order by one multiplication, not by another cosine
            power, reached = power * first, reached + 1
        rows[1 + 2 * k], rows[2 + 2 * k] = power.real, power.imag
    rows[1 + 2 * len(orders) :] = samples[:, : turns.size]


def unit_circle(turns: Floats) -> Complexes:
    """Compute exp(2 pi j turns) to 2e-14, three times faster than `numpy.exp`.

    The nearest of 4096 tabulated points is turned by the small rest, whose cosine and sine need two terms.

    Parameters
    ----------
    turns : array
        Angles in revolutions, below 5e5.

    Returns
    -------
    array of complex
        Points on the unit circle.
    """
    scaled = turns * _CIRCLE.size
    near = np.rint(scaled)
    rest = (scaled - near) * (2 * np.pi / _CIRCLE.size)
    square = rest * rest
    turn = np.empty(turns.shape, dtype=np.complex128)
    turn.real = 1.0 - 0.5 * square
    turn.imag = rest * (1.0 - square / 6.0)
    turn *= _CIRCLE[near.astype(np.int32) & (_CIRCLE.size - 1)]
    return turn


def _block_speeds(stretches: Sequence[Stretch], times: Floats, length: int) -> Floats:
    """Give the mean speed over each block of `_block_sums`, in revolutions a second."""
    speeds = []
    for stretch in stretches:
        first = np.arange(0, stretch.turns.size, length)
        last = np.minimum(first + length, stretch.turns.size - 1)
        first = np.minimum(first, last - 1)  # a last block of one sample borrows its neighbour
        lasted = times[stretch.start + last] - times[stretch.start + first]
        speeds.append((stretch.turns[last] - stretch.turns[first]) / lasted)
    return np.concatenate(speeds)


def _without_speed(influence: Floats, speeds: Floats) -> Floats:
    """Take out of the blocks' influence (blocks, columns, channels) what goes with their speed."""
    off = speeds - speeds.mean()
    power = float(off @ off)
    if power <= (_STEADY * speeds.mean()) ** 2 * speeds.size:
        return influence
    slope = np.tensordot(off, influence, axes=1) / power
    return np.asarray(influence - off[:, np.newaxis, np.newaxis] * slope)


def _long_run(influence: Floats, duration: float) -> Floats:
    """Covariance of the sum over blocks of `influence` (blocks, columns, channels), orders only."""
    blocks = influence.shape[0]
    bins = int(np.clip(np.rint(_NEAR_HZ * duration), 3, 8))
    bins = max(min(bins, (blocks - 1) // 2), 2)
    spectrum = np.fft.fft(influence[:, 1:, :], axis=0)[1 : bins + 1]
    pairs = spectrum.reshape(bins, -1, 2, influence.shape[2])
    cross = np.einsum("bkic,bkjc->ckij", pairs, pairs.conj()).real / bins
    # Steady noise knows no angle, so the estimate goes half-way to the circle of the same size: a variance is
    # then 3/4 of its own and 1/4 of the other component's estimate, and has 1/(9/16 + 1/16) the freedom.
    circle = np.trace(cross, axis1=2, axis2=3)[..., np.newaxis, np.newaxis] / 2 * np.eye(2)
    freedom = 1.6 * (2 * bins - 1)  # one went for the slope against speed
    return np.asarray((cross + circle) / 2 * freedom / (freedom - 2))


def _excess(covariances: Floats, white: Floats) -> Floats:
    true = np.trace(covariances, axis1=2, axis2=3)
    plain = (white[0::2] + white[1::2]).T
    return np.asarray(np.sqrt(np.divide(true, plain, out=np.ones_like(true), where=plain > 0)))

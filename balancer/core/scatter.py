"""How far determinations of an unchanged part differ: it was taken off and mounted again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from balancer.core.vectors import Covariance, Floats, UncertainComplex
from balancer.errors import InputError

Vectors = UncertainComplex | Sequence[UncertainComplex]


@dataclass(frozen=True)
class Scatter:
    """Scatter of one determination with its mounting.

    Parameters
    ----------
    rows : tuple of tuple of float
        Covariance of real and imaginary parts, channel after channel, in the square of their unit; square.
    freedom : float or None
        Degrees of freedom of the estimate, in repeats; None where it is known from long experience.
    noise : tuple of tuple of float, optional
        The share of it that is noise of the readings; empty where it is mounting alone.
    circular : bool
        Whether it was taken to be the same in all directions, which tells more from few repeats.
    """

    rows: tuple[tuple[float, ...], ...]
    freedom: float | None = None
    noise: tuple[tuple[float, ...], ...] = ()
    circular: bool = False

    @classmethod
    def known(cls, *mounting: Covariance) -> Scatter:
        """Make one from the known scatter of mounting alone, one covariance for each channel."""
        return cls(_rows(block_diagonal(mounting)))

    @classmethod
    def of_mounting(cls, sd: float, numbers: int) -> Scatter:
        """Make one from the scatter of one vector that an indexing found.

        Parameters
        ----------
        sd : float
            Of each component, beyond the noise of the readings.
        numbers : int
            Redundant numbers that it was found from, two for each run.

        Returns
        -------
        Scatter
            The same in all directions.
        """
        return cls(_rows(sd**2 * np.eye(2)), numbers / 2, circular=True)

    @classmethod
    def of_repeats(cls, repeats: Sequence[Vectors], *, circular: bool = False) -> Scatter:
        """Estimate it from determinations of an unchanged part, mounted anew for each.

        Parameters
        ----------
        repeats : sequence of UncertainComplex, or of sequence of UncertainComplex
            The determinations; several vectors each where there are several channels.
        circular : bool, optional
            Take the scatter to be the same in all directions (one vector only). With three repeats the test
            then has 4 degrees of freedom instead of 1. Where it is not, false alarms grow: to about 10 % for
            five repeats that scatter along one line only.

        Returns
        -------
        Scatter
            Noise of the readings included.

        Raises
        ------
        InputError
            If there are too few repeats: as many as numbers in a determination, and one more; 2 if circular.
        """
        values = np.array([parts(one) for one in repeats])
        size = values.shape[1] if values.ndim == 2 else 2
        if circular and size != 2:
            raise InputError("only the scatter of one vector can be taken as the same in all directions")
        if len(repeats) < (2 if circular else size + 1):
            raise InputError(
                f"{len(repeats)} repeats do not tell how much mounting scatters",
                todo=f"mount and measure the unchanged part at least {2 if circular else size + 1} times",
            )
        matrix = np.atleast_2d(np.cov(values, rowvar=False))
        if circular:
            matrix = np.eye(2) * np.trace(matrix) / 2
        noise = np.mean([block_diagonal(covariances(one)) for one in repeats], axis=0)
        return cls(_rows(matrix), len(repeats) - 1, _rows(noise), circular)

    @property
    def matrix(self) -> Floats:
        """The covariance as an array."""
        return np.array(self.rows)


def channels(vectors: Vectors) -> tuple[UncertainComplex, ...]:
    """Give one or several vectors as a tuple."""
    return (vectors,) if isinstance(vectors, UncertainComplex) else tuple(vectors)


def parts(vectors: Vectors) -> Floats:
    """Give real and imaginary parts, channel after channel."""
    return np.array([part for v in channels(vectors) for part in (v.value.real, v.value.imag)])


def covariances(vectors: Vectors) -> list[Covariance]:
    """Give the covariance of each vector."""
    return [v.covariance for v in channels(vectors)]


def block_diagonal(blocks: Sequence[Covariance]) -> Floats:
    """Put covariances of independent vectors into one matrix."""
    matrix = np.zeros((2 * len(blocks), 2 * len(blocks)))
    for index, block in enumerate(blocks):
        matrix[2 * index : 2 * index + 2, 2 * index : 2 * index + 2] = block.matrix
    return matrix


def _rows(matrix: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(value) for value in row) for row in matrix)

"""Fewer points for a picture, so that every peak stays in it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def min_max(along: Floats, values: Floats, columns: int) -> tuple[Floats, Floats]:
    """Keep the lowest and the highest point of every column of a picture.

    A line drawn through what is kept covers the same pixels as one through all points: inside a column one
    pixel wide only its lowest and highest place can be seen.

    Parameters
    ----------
    along : array, shape (n,)
        Where the points lie from left to right, rising.
    values : array, shape (n,)
        Their heights.
    columns : int
        Number of columns of equal width, 1 or more.

    Returns
    -------
    along, values : array, shape (m,)
        At most two points a column, in their order; all of them when there are no more than that.

    Examples
    --------
    >>> along, values = min_max(np.arange(8.0), np.array([0.0, 5.0, 0.0, 0.0, 1.0, -2.0, 0.0, 0.0]), 2)
    >>> along.tolist(), values.tolist()
    ([0.0, 1.0, 4.0, 5.0], [0.0, 5.0, 1.0, -2.0])
    """
    if along.size <= 2 * columns:
        return along, values
    edges = along[0] + (along[-1] - along[0]) * np.arange(1, columns) / columns
    bounds = [0, *np.searchsorted(along, edges).tolist(), along.size]
    kept: list[int] = []
    for first, last in pairwise(bounds):
        if first < last:
            column = values[first:last]
            kept += sorted({first + int(np.argmin(column)), first + int(np.argmax(column))})
    return along[kept], values[kept]

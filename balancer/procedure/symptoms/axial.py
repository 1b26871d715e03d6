"""What shakes along the shaft: bent shaft, blade track, a damaged blade."""

from __future__ import annotations

import math

import numpy as np

from balancer.findings import Finding
from balancer.procedure.symptoms.outcome import Outcome
from balancer.procedure.symptoms.spectrum import OrderTable, side_orders

AXIAL = 0.5
"""Axial over largest radial 1x from which it is named (trade texts, from memory). Unbalance reaches 0.4 of it
on a stand whose axial mode is near, through what couples the two directions."""

_SURE = 2.0  # standard deviations


def axial_findings(table: OrderTable, axial: str | None, blades: int | None) -> Outcome:
    """Compare 1x along the shaft with 1x across it, and look for a blade that differs.

    A blade that differs pushes once a turn where the others push with the number of blades: the orders
    beside the blade pass appear. Together with axial 1x that speaks for the blade; axial 1x alone is a bent
    shaft, a propeller that is not seated flat or a blade out of track, which look alike.

    Parameters
    ----------
    table : OrderTable
        The orders of a run.
    axial : str or None
        Name of the channel along the shaft, None when there is none.
    blades : int or None
        Of the propeller, None when not known.

    Returns
    -------
    Outcome
        ``once_radial``; ``axial_strong``, ``blade_suspect``; ``untold_axial``, ``untold_blade``.
    """
    if axial is None or axial not in table.channels or len(table.channels) < 2:
        return Outcome(untold=(Finding.of("untold_axial", "info"),))
    ratio, sd = axial_ratio(table, axial)
    if ratio - _SURE * sd < AXIAL:
        found = Finding.of("once_radial", "info", axial_percent=100 * ratio, channel=axial)
        return Outcome(good=(found,), untold=(Finding.of("untold_blade", "info"),) if blades != 0 else ())
    sides = side_orders(table, blades) if blades is not None and blades >= 2 else []
    if not sides:
        return Outcome(bad=(Finding.of("axial_strong", "warning", axial_percent=100 * ratio, channel=axial),))
    suspect = Finding.of(
        "blade_suspect",
        "warning",
        axial_percent=100 * ratio,
        channel=axial,
        names=", ".join(f"{k:.0f}x" for k in sides),
        share_percent=100 * math.hypot(*(table.share(k) for k in sides)),
    )
    return Outcome(bad=(suspect,))


def axial_ratio(table: OrderTable, axial: str) -> tuple[float, float]:
    """Give axial 1x over the largest radial 1x, and the standard uncertainty of that."""
    at = int(np.flatnonzero(table.orders == 1.0)[0])
    along = table.channels.index(axial)
    across = max((i for i in range(len(table.channels)) if i != along), key=lambda i: table.amplitudes[i, at])
    size = max(float(table.amplitudes[across, at]), 1e-300)
    ratio = float(table.amplitudes[along, at]) / size
    return ratio, math.hypot(float(table.sd[along, at]), ratio * float(table.sd[across, at])) / size

"""What the orders of one run tell: how much 1x carries, and what the others stand for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from balancer.core.orders import fit_orders
from balancer.core.shaft import Stretch
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.measure import angle_parts
from balancer.procedure.symptoms.outcome import Outcome
from balancer.recording.model import Recording

Floats = npt.NDArray[np.float64]

HIGHEST = 10
"""Highest order looked at, but for electrical ones."""

MINOR = 0.5
"""Share of the vibration's power below which 1x is not the main thing: less than all the rest together."""

SECOND = 0.2
"""2x over 1x from which it is named (common practice, no source)."""

BLADE_PASS = 1.0
"""Blade pass over 1x from which it is named: every propeller has some, and the stand may amplify it."""

ELECTRIC = 0.2
"""Pole-pair or magnet order over 1x from which it is named, as for 2x."""

_CLEAR = 4.5  # standard deviations: with 20 orders and 3 channels noise reaches it once in a hundred runs
_HARMONIC = 0.03  # of 1x, each: three and more such orders come from no single smooth force
_SIDE = 0.005  # of 1x: a cheap sensor's own curvature stays below it (data sheets, from memory)
_OUT = 2.0  # times the orders beside it
_FEWEST = 3
_TOGETHER = 0.10  # of 1x, the root of the sum of their squares
_HALF = 0.03  # of 1x, likewise
_REDUCED = 3.0  # times as large as now: a correction has been fitted since
_BELOW_NYQUIST = 0.45


@dataclass(frozen=True, eq=False)
class OrderTable:
    """Amplitudes of whole and half orders.

    Parameters
    ----------
    channels : tuple of str
        Their names.
    orders : array, shape (n,)
        Multiples of the shaft speed, rising, in steps of a half and maybe some electrical ones.
    amplitudes : array, shape (channels, n)
        Peak, in the unit of the channel.
    sd : array, shape (channels, n)
        Standard uncertainty of a component.
    overall : array, shape (channels,)
        Root mean square of all but the constant part.
    reference : float
        Size of 1x before it was balanced, if known: what is large against a small rest need not be large.
    """

    channels: tuple[str, ...]
    orders: Floats
    amplitudes: Floats
    sd: Floats
    overall: Floats
    reference: float = 0.0

    def has(self, order: float) -> bool:
        """Tell whether an order could be looked at."""
        return bool(np.any(self.orders == order))

    def size(self, order: float) -> float:
        """Give the root of the sum of squares over the channels at an order; 0 when it was not looked at."""
        return float(np.sqrt(np.sum(self.amplitudes[:, self.orders == order] ** 2)))

    def clear(self, order: float) -> bool:
        """Tell whether an order stands out of the noise in any channel."""
        at = self.orders == order
        return bool(np.any(self.amplitudes[:, at] > _CLEAR * self.sd[:, at]))

    def share(self, order: float) -> float:
        """Give an order as a share of 1x (of what that was, if known), 0 when noise may have made it."""
        once = max(self.size(1.0), self.reference)
        return self.size(order) / once if once > 0 and self.clear(order) else 0.0

    @property
    def power(self) -> float:
        """Mean square of all channels together."""
        return float(np.sum(self.overall**2))


def order_table(recording: Recording, magnets: int | None = None) -> OrderTable:
    """Fit whole and half orders up to ten, and the pole-pair and magnet orders, as far as the rate allows.

    Parameters
    ----------
    recording : Recording
        With marks, at a steady speed.
    magnets : int, optional
        In the bell.

    Returns
    -------
    OrderTable
        The amplitudes. A half order k/2 is the order k of a shaft that turns half as fast.

    Raises
    ------
    InputError
        If there are no marks, fewer than ten revolutions or too few samples a turn.
    """
    if recording.marks is None:
        raise InputError("the recording holds no marks", todo="record with the pick-up")
    stretches = [s for _, found in angle_parts(recording, recording.marks) for s in found]
    turned = sum(float(s.turns[-1] - s.turns[0]) for s in stretches)
    lasted = sum(float(recording.times[s.stop - 1] - recording.times[s.start]) for s in stretches)
    highest = _BELOW_NYQUIST * recording.sample_rate * lasted / turned
    electric = [] if not magnets else [magnets // 2, magnets]
    twice = sorted({*range(1, 2 * HIGHEST + 1), *(2 * k for k in electric)})
    slow = [Stretch(s.start, s.stop, s.turns / 2) for s in stretches]
    fit = fit_orders(slow, recording.times, recording.samples, [k for k in twice if k / 2 < highest])
    return OrderTable(
        channels=tuple(channel.name for channel in recording.channels),
        orders=np.array(fit.orders) / 2,
        amplitudes=np.abs(fit.vectors),
        sd=np.sqrt(np.trace(fit.covariances, axis1=2, axis2=3) / 2),
        overall=fit.overall,
    )


def spectrum_findings(
    table: OrderTable, blades: int | None, magnets: int | None, amplification: float = 1.0
) -> Outcome:
    """Judge the orders of a run.

    The meanings are those of the trade (texts, partly from memory): unbalance 1x; looseness many harmonics
    and halves; blade pass = blades x. Pole pairs and magnets are electrical.

    Parameters
    ----------
    table : OrderTable
        The orders.
    blades, magnets : int or None
        Of the rotor, None when not known; no blades is a bare bell.
    amplification : float, optional
        How many times as large as the force the stand makes the vibration at the blade pass.

    Returns
    -------
    Outcome
        ``once_dominates``, ``once_reduced``; ``once_minor``, ``second_order``, ``blade_pass_strong``,
        ``electric_orders``,
        ``harmonics_many``, ``half_orders``; ``blade_pass_amplified``, ``second_order_unclear``,
        ``untold_blades``, ``untold_electric``.
    """
    passing = _blade_pass(table, blades, amplification)
    amplified = [finding for finding in passing if finding.code == "blade_pass_amplified"]
    share = _share(table, float(blades) if blades and amplified else None)
    many = _harmonics(table, blades, magnets)
    return Outcome(
        good=(share,) if share.code in {"once_dominates", "once_reduced"} else (),
        bad=(
            *((share,) if share.code == "once_minor" else ()),
            *(() if many else _second(table, blades, magnets)),  # among many harmonics 2x means nothing more
            *(finding for finding in passing if finding not in amplified),
            *_electric(table, blades, magnets),
            *many,
            *_halves(table),
        ),
        untold=(*amplified, *_unclear(table, blades), *_hidden(table, magnets)),
    )


def _share(table: OrderTable, excused: float | None) -> Finding:
    """Judge how much of the vibration 1x carries: its share of the mean square of all channels.

    A blade pass that only the stand makes large is left out of the judgement, not out of the figures.
    """
    power = table.power
    if not power > 0:
        return Finding.of("untold_once", "info")
    once = table.size(1.0) ** 2 / 2
    others = {float(k): table.size(k) ** 2 / 2 for k in table.orders if k != 1.0}
    share = min(once / power, 1.0)
    beside = min(sum(others.values()) / power, 1 - share)
    left = power - (others[excused] if excused is not None else 0.0)
    if once < MINOR * left and table.reference > _REDUCED * table.size(1.0):
        now = 100 * table.size(1.0) / table.reference
        return Finding.of("once_reduced", "info", left_percent=now, share_percent=100 * share)
    if once < MINOR * left:
        return Finding.of(
            "once_minor",
            "warning",
            share_percent=100 * share,
            orders_percent=100 * beside,
            rest_percent=100 * (1 - share - beside),
            strongest_order=max(others, key=lambda k: others[k]),
        )
    at = table.orders == 1.0
    own = table.amplitudes[:, at][:, 0] ** 2 / 2 / np.maximum(table.overall**2, 1e-300)
    best = int(np.argmax(table.amplitudes[:, at][:, 0]))
    name, percent = table.channels[best], 100 * min(float(own[best]), 1.0)
    return Finding.of("once_dominates", "info", share_percent=100 * share, channel=name, own_percent=percent)


def side_orders(table: OrderTable, blades: int) -> list[float]:
    """List the orders from 2x to one above the blade pass, it left out, that stand out of the noise."""
    return [float(k) for k in range(2, blades + 2) if k != blades and table.share(k) > _SIDE]


def _electrical(magnets: int | None) -> set[int]:
    return {magnets // 2, magnets} if magnets else set()


def _second(table: OrderTable, blades: int | None, magnets: int | None) -> list[Finding]:
    share = table.share(2.0)
    if blades is None or blades == 2 or 2 in _electrical(magnets) or share < SECOND:
        return []
    return [Finding.of("second_order", "warning", share_percent=100 * share, blades=blades)]


def _unclear(table: OrderTable, blades: int | None) -> list[Finding]:
    if blades is not None:
        return []
    share = table.share(2.0)
    if share < SECOND:
        return [Finding.of("untold_blades", "info")]
    return [Finding.of("second_order_unclear", "info", share_percent=100 * share)]


def _blade_pass(table: OrderTable, blades: int | None, amplification: float) -> list[Finding]:
    if blades is None or blades < 2 or (share := table.share(float(blades))) < BLADE_PASS:
        return []
    times = max(amplification, 1.0)
    if share / times < BLADE_PASS:
        return [Finding.of("blade_pass_amplified", "info", ratio=share, blades=blades, times=times)]
    return [Finding.of("blade_pass_strong", "warning", ratio=share, blades=blades)]


def _electric(table: OrderTable, blades: int | None, magnets: int | None) -> list[Finding]:
    """Name a pole-pair or magnet order, unless those beside it are as strong: then it is one of many."""
    order = max(_electrical(magnets), key=lambda k: table.share(float(k)), default=0)
    share = table.share(float(order))
    if share < ELECTRIC:
        return []
    near = [order + k for k in (-2, -1, 1, 2) if not blades or blades < 2 or (order + k) % blades]
    beside = max(table.share(float(k)) for k in near)
    if share < _OUT * beside:
        return []
    return [Finding.of("electric_orders", "warning", share_percent=100 * share, order=order)]


def _hidden(table: OrderTable, magnets: int | None) -> list[Finding]:
    if magnets and table.has(magnets // 2):
        return []
    return [Finding.of("untold_electric", "info")]


def _harmonics(table: OrderTable, blades: int | None, magnets: int | None) -> list[Finding]:
    """Count the whole and half orders that are neither blade pass nor electrical.

    With the number of blades unknown the one counts that excuses most.
    """
    skip = _electrical(magnets)
    counts = [
        [k for k in table.orders if k != 1 and k <= HIGHEST and k not in skip and (number < 2 or k % number)]
        for number in ([blades] if blades is not None else [2, 3, 4])
    ]
    found = min(
        ([table.share(float(k)) for k in orders if table.share(float(k)) > _HARMONIC] for orders in counts),
        key=len,
    )
    together = math.hypot(*found) if found else 0.0
    if len(found) < _FEWEST or together < _TOGETHER:
        return []
    return [Finding.of("harmonics_many", "warning", count=len(found), share_percent=100 * together)]


def _halves(table: OrderTable) -> list[Finding]:
    halves: Sequence[float] = [float(k) for k in table.orders if k % 1 and table.share(float(k)) > 0]
    together = math.hypot(*(table.share(k) for k in halves)) if halves else 0.0
    if len(halves) < 2 or together < _HALF:
        return []
    return [Finding.of("half_orders", "warning", count=len(halves), share_percent=100 * together)]

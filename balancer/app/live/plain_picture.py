"""The live picture as plain drawings (SVG), for where the live one cannot be had; pure functions."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

import numpy as np

from balancer.app.plain import Headline, degrees
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.core.decimate import min_max
from balancer.figures import PolarPoint, palette, polar_picture, svg
from balancer.figures.dial import Direction, Hand
from balancer.units import rpm_from_rad_s
from balancer.wording import significant

if TYPE_CHECKING:
    from balancer.app.bench import BenchView
    from balancer.live.scope import Floats, Frame

_WIDTH, _HEIGHT = 360.0, 220.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 350.0, 34.0, 180.0
_COLUMNS = 150


def axis_index(frame: Frame, name: str) -> int:
    """Give the axis of a name, else the strongest."""
    if name in frame.axes:
        return frame.axes.index(name)
    heights = np.abs(frame.cloud.mean) if frame.cloud is not None else frame.rms
    return int(np.argmax(heights))


def headlines(
    view: BenchView, frame: Frame, axis: int, direction: Direction, unit: Vibration = IN_M_S2
) -> tuple[Headline, ...]:
    """Give the figures: the same as those of the live picture."""
    name, age = frame.axes[axis], f"{view.age:.1f} s ago."
    rms = unit.text(float(frame.rms[axis]))
    level = Headline(f"Overall rms ({unit.word})", rms, f"On {name}, last 1 s. {age}")
    if frame.speed is None:
        return (Headline("Speed (rpm)", "unknown", f"No marks come. {age}"), level)
    steady = f"{view.still_for:.0f} s" if view.steady else "no"
    shown = (
        Headline("Speed (rpm)", f"{rpm_from_rad_s(frame.speed):,.0f}", age),
        Headline("Speed steady", steady, f"Within the band for {view.still_for:.0f} s. {age}"),
    )
    if frame.cloud is None:
        return (*shown, level)
    mean, cloud = complex(frame.cloud.mean[axis]), frame.cloud
    lag = degrees(cmath.phase(mean), direction).removesuffix("°")
    off = unit.text(float(cloud.sd_amplitude[axis]), 2)
    turn = significant(float(np.degrees(cloud.sd_lag[axis])), 2)
    return (
        *shown,
        Headline(f"1x amplitude ({unit.word})", unit.text(abs(mean)), f"± {off} on {name}. {age}"),
        Headline("1x phase (°)", lag, f"± {turn}, {direction} the rotation. {age}"),
        level,
    )


def vector_line(
    view: BenchView, frame: Frame, axis: int, direction: Direction, unit: Vibration = IN_M_S2
) -> str:
    """Write the 1x vector with its scatter as a sentence; empty without one."""
    cloud = frame.cloud
    if cloud is None:
        return ""
    mean = complex(cloud.mean[axis])
    off, turn = float(cloud.sd_amplitude[axis]), float(np.degrees(cloud.sd_lag[axis]))
    return (
        f"1x on {frame.axes[axis]}: {unit.text(abs(mean))} ± {unit.text(off, 2)} {unit.word} at "
        f"{degrees(cmath.phase(mean), direction)} ± {significant(turn, 2)}° {direction} the rotation, "
        f"over {int(cloud.same.sum())} quarter seconds; "
        f"{view.age:.1f} s ago."
    )


def polar_drawing(
    frame: Frame, axis: int, direction: Direction, hand: str, unit: Vibration = IN_M_S2
) -> str | None:
    """Draw the mean vector with the 95 % ellipse of the cloud; None without one."""
    if frame.cloud is None:
        return None
    covariance = frame.cloud.covariance(axis)
    if covariance is not None:
        covariance = covariance.times(unit.factor)
    point = PolarPoint("1x", unit.factor * complex(frame.cloud.mean[axis]), covariance, "as_is")
    return polar_picture(
        [point],
        unit=unit.word,
        title=f"1x on {frame.axes[axis]}, and where 95 % of the quarter seconds lie",
        direction=direction,
        hand=cast(Hand, hand),
    )


def spectrum_drawing(
    frame: Frame, axis: int, marked: Sequence[tuple[float, str]], unit: Vibration = IN_M_S2
) -> str | None:
    """Draw the spectrum; None when there is none yet."""
    if frame.spectra is None:
        return None
    curve, by = frame.spectra.curves[axis], frame.spectra.by
    where, height = frame.spectra.highest[axis]
    place = f"order {where:.2f}" if by == "order" else f"{where:.1f} Hz"
    title = f"Spectrum of {frame.axes[axis]}: highest {unit.text(height)} {unit.word} at {place}"
    places = [(x, word) for x, word in marked if by == "order" and x <= curve.along[-1]]
    foot = "order (multiple of the shaft speed)" if by == "order" else "frequency, Hz"
    heights = unit.factor * curve.values
    return _plot(curve.along, heights, title=title, foot=foot, unit=unit.word, marked=places, low=0.0)


def signal_drawing(frame: Frame, axis: int, direction: Direction, unit: Vibration = IN_M_S2) -> str | None:
    """Draw the folded turn, or without marks the signal over the time; None when there is neither."""
    name = frame.axes[axis]
    if frame.folded is not None:
        mean = unit.factor * np.append(frame.folded.mean[axis], frame.folded.mean[axis, 0])
        along = np.linspace(0.0, 360.0, mean.size)
        title = f"Signal of {name} over one turn, mean of {frame.folded.turns}"
        foot = f"shaft angle {direction} the rotation, degrees"
        quarters = (0, 90, 180, 270, 360)
        names = tuple(str(x if direction == "against" else 360 - x) for x in quarters)
        mark = [(0.0, "mark")]
        return _plot(along, mean, title=title, foot=foot, unit=unit.word, marked=mark, ticks=names)
    if not frame.trace:
        return None
    curve = frame.trace[axis]
    title = f"Signal of {name} over the last quarter second"
    heights = unit.factor * curve.values
    return _plot(curve.along, heights, title=title, foot="time, s", unit=unit.word)


def _round_places(start: float, end: float) -> list[float]:
    step = svg.nice_step(end - start, 6)
    first = int(np.ceil(start / step - 1e-9))
    return [k * step for k in range(first, int(np.floor(end / step + 1e-9)) + 1)]


def _plot(  # noqa: PLR0913 - each is a fact of its own, and all but two go by name
    along: Floats,
    values: Floats,
    *,
    title: str,
    foot: str,
    unit: str,
    marked: Sequence[tuple[float, str]] = (),
    low: float | None = None,
    ticks: Sequence[str] | None = None,
) -> str:
    """Draw a line with its axes."""
    along, values = min_max(along, values, _COLUMNS)
    top = float(np.max(np.abs(values))) or 1.0
    step = svg.nice_step(1.05 * top, 3)
    top = step * np.ceil(1.05 * top / step)
    bottom = -top if low is None else low
    x0, x1 = float(along[0]), float(along[-1])

    def at(x: float, y: float) -> complex:
        return complex(
            _LEFT + (x - x0) / (x1 - x0) * (_RIGHT - _LEFT),
            _BOTTOM - (y - bottom) / (top - bottom) * (_BOTTOM - _TOP),
        )

    thin = svg.stroke(palette.GRID, 0.6)
    drawn = [
        svg.text(title, 10 + 14j, 13, "start", bold=True),
        svg.text(unit, complex(10, 28), 10.5, "start"),
    ]
    for k in range(round((top - bottom) / step) + 1):
        y = bottom + k * step
        drawn.append(svg.line(at(x0, y), at(x1, y), **thin))
        drawn.append(svg.text(svg.round_number(round(y, 9) + 0.0), at(x0, y) - 5, 10.5, "end"))
    places = np.linspace(x0, x1, 5).tolist() if ticks else _round_places(x0, x1)
    for k, x in enumerate(places):
        word = ticks[k] if ticks else svg.round_number(round(x, 9) + 0.0)
        drawn.append(svg.text(word, at(x, bottom) + 12j, 10.5))
    drawn.append(svg.text(foot, complex((_LEFT + _RIGHT) / 2, _HEIGHT - 10), 11.5))
    path = "M" + "L".join(svg.pair(at(x, y)) for x, y in zip(along.tolist(), values.tolist(), strict=True))
    drawn.append(svg.tag("path", d=path, **svg.stroke(palette.BLUE, 1.6)))
    for k, (x, word) in enumerate(marked):
        drawn.append(svg.line(at(x, bottom), at(x, top), **svg.stroke(palette.AMBER, 1.4, "5 4")))
        place = at(x, top) + complex(4, 6 + 13 * (k % 2))
        drawn.append(svg.text(word, place, 11.5, "start", bold=True))
    return svg.document(_WIDTH, _HEIGHT, title, *drawn)

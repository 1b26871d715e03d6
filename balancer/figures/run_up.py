"""Amplitude and phase of 1x against speed, with the resonances and the speed to balance at."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from balancer.errors import InputError
from balancer.figures import palette, svg

_WIDTH, _HEIGHT = 560.0, 420.0
_LEFT, _RIGHT = 58.0, 14.0
_AMPLITUDE = (64.0, 232.0)  # top and bottom of the upper panel
_PHASE = (262.0, 372.0)
_STYLES = (
    palette.Style(palette.BLUE),
    palette.Style(palette.ORANGE, "square", "7 3"),
    palette.Style(palette.VIOLET, "diamond", "2 3"),
)
_FAINT = 0.002  # of the largest amplitude: what is smaller has no phase worth drawing


@dataclass(frozen=True)
class Curve:
    """1x of one channel against speed.

    Parameters
    ----------
    name : str
        Of the channel.
    rpm : tuple of float
        Speeds, rising.
    vectors : tuple of complex
        Amplitude exp(j lag).
    """

    name: str
    rpm: tuple[float, ...]
    vectors: tuple[complex, ...]


@dataclass(frozen=True)
class SweepView:
    """What the picture shows.

    Parameters
    ----------
    curves : tuple of Curve
        One to three channels.
    unit : str
        Of the amplitudes.
    resonances_rpm : tuple of float
        Where 1x meets a resonance.
    keep_out_rpm : tuple of (float, float)
        Ranges too near to one.
    proposed_rpm, hover_rpm : float, optional
        Speeds to mark.
    """

    curves: tuple[Curve, ...]
    unit: str
    resonances_rpm: tuple[float, ...] = ()
    keep_out_rpm: tuple[tuple[float, float], ...] = ()
    proposed_rpm: float | None = None
    hover_rpm: float | None = None


@dataclass(frozen=True)
class _Axes:
    """Where values lie on the page; the speed along x, up to `top` along y from `bottom_px` to `top_px`."""

    low: float
    high: float
    top: float
    top_px: float
    bottom_px: float

    def x(self, rpm: float) -> float:
        return _LEFT + (rpm - self.low) / (self.high - self.low) * (_WIDTH - _LEFT - _RIGHT)

    def at(self, rpm: float, value: float) -> complex:
        return complex(self.x(rpm), self.bottom_px - value / self.top * (self.bottom_px - self.top_px))


def run_up_picture(view: SweepView) -> str:
    """Draw amplitude and phase against speed.

    Parameters
    ----------
    view : SweepView
        What to show.

    Returns
    -------
    str
        SVG, one line, without ids.

    Raises
    ------
    InputError
        If there is no curve, or more than three.
    """
    if not 1 <= len(view.curves) <= len(_STYLES) or min(len(c.rpm) for c in view.curves) < 2:
        raise InputError("a picture of a sweep takes one to three channels with two speeds or more")
    low = min(curve.rpm[0] for curve in view.curves)
    high = max(curve.rpm[-1] for curve in view.curves)
    largest = max(abs(v) for curve in view.curves for v in curve.vectors) or 1.0
    step = svg.nice_step(largest, 5)
    upper = _Axes(low, high, step * math.ceil(largest / step - 1e-9), *_AMPLITUDE)
    lower = _Axes(low, high, 360.0, *_PHASE)
    return svg.document(
        _WIDTH,
        _HEIGHT,
        _label(view, low, high),
        svg.text("1x against speed", complex(10, 16), 14, "start", bold=True),
        _legend(view),
        _keep_out(view, upper, lower),
        _grid(upper, [step * k for k in range(round(upper.top / step) + 1)], ""),
        _grid(lower, [0.0, 90.0, 180.0, 270.0, 360.0], "°"),
        _speed_labels(lower),
        _note(view),
        svg.text(f"amplitude, {view.unit}", complex(_LEFT, _AMPLITUDE[0] - 10), 11.5, "start"),
        svg.text("phase (lag)", complex(_LEFT, _PHASE[0] - 11), 11.5, "start"),
        *(_amplitude(curve, upper, style) for curve, style in zip(view.curves, _STYLES, strict=False)),
        *(_phase(curve, lower, style, largest) for curve, style in zip(view.curves, _STYLES, strict=False)),
        _marked(view, upper, lower),
    )


def _label(view: SweepView, low: float, high: float) -> str:
    words = f"Amplitude and phase of 1x from {low:.0f} to {high:.0f} rpm."
    if view.resonances_rpm:
        words += f" Resonances at {', '.join(f'{rpm:.0f}' for rpm in view.resonances_rpm)} rpm."
    if view.proposed_rpm is not None:
        words += f" Proposed for balancing: {view.proposed_rpm:.0f} rpm."
    return words


def _legend(view: SweepView) -> str:
    drawn, x = [], _WIDTH - _RIGHT
    for curve, style in reversed(list(zip(view.curves, _STYLES, strict=False))):
        name = svg.shorten(curve.name, 110, 12)
        x -= svg.text_width(name, 12)
        drawn.append(svg.text(name, complex(x, 16), 12, "start"))
        drawn.append(
            svg.line(complex(x - 34, 16), complex(x - 6, 16), **svg.stroke(style.colour, 2, style.dash))
        )
        x -= 50
    return "".join(drawn)


def _keep_out(view: SweepView, upper: _Axes, lower: _Axes) -> str:
    """Shade what is too near to a resonance."""
    drawn = []
    for low, high in view.keep_out_rpm:
        left, right = upper.x(max(low, upper.low)), upper.x(min(high, upper.high))
        for axes in (upper, lower):
            if right > left:
                size = complex(right - left, axes.bottom_px - axes.top_px)
                drawn.append(svg.rect(complex(left, axes.top_px), size, **svg.tint(palette.AMBER, 0.16)))
    return "".join(drawn)


def _grid(axes: _Axes, values: Sequence[float], unit: str) -> str:
    drawn = []
    for value in values:
        start, end = axes.at(axes.low, value), axes.at(axes.high, value)
        strong = value == values[0]
        drawn.append(
            svg.line(start, end, stroke=palette.GRID, stroke_width=1, stroke_opacity="" if strong else 0.45)
        )
        drawn.append(svg.text(svg.round_number(value) + unit, start - 7, 11, "end"))
    return "".join(drawn)


def _speed_labels(axes: _Axes) -> str:
    step = svg.nice_step(axes.high - axes.low, 8, (1, 2, 5, 10))
    first = math.ceil(axes.low / step)
    drawn = []
    for k in range(first, math.floor(axes.high / step) + 1):
        at = axes.at(k * step, 0)
        drawn.append(svg.line(at, at + 4j, stroke=palette.GRID, stroke_width=1))
        drawn.append(svg.text(svg.round_number(k * step), at + 15j, 11))
    return "".join(drawn) + svg.text("rpm", complex(_WIDTH - _RIGHT, axes.bottom_px + 34), 11.5, "end")


def _amplitude(curve: Curve, axes: _Axes, style: palette.Style) -> str:
    points = [axes.at(rpm, abs(v)) for rpm, v in zip(curve.rpm, curve.vectors, strict=True)]
    return _path([points], style)


def _phase(curve: Curve, axes: _Axes, style: palette.Style, largest: float) -> str:
    """Draw the phase where there is something to have one, broken where it passes 360 degrees."""
    runs: list[list[complex]] = [[]]
    shown = [
        (rpm, math.degrees(cmath.phase(v)) % 360)
        for rpm, v in zip(curve.rpm, curve.vectors, strict=True)
        if abs(v) > _FAINT * largest
    ]
    for (rpm, angle), (_, following) in pairwise([*shown, *shown[-1:]]):
        runs[-1].append(axes.at(rpm, angle))
        if abs(following - angle) > 180:
            runs.append([])
    return _path(runs, style)


def _path(runs: Sequence[Sequence[complex]], style: palette.Style) -> str:
    d = "".join("M" + "L".join(svg.pair(p) for p in run) for run in runs if len(run) > 1)
    return svg.tag("path", d=d, **svg.stroke(style.colour, 1.8, style.dash)) if d else ""


def _note(view: SweepView) -> str:
    if not view.resonances_rpm and not view.keep_out_rpm:
        return ""
    words = "dashed: resonance; shaded: too near to one"
    return svg.text(words, complex(_LEFT, _PHASE[1] + 34), 11.5, "start")


def _marked(view: SweepView, upper: _Axes, lower: _Axes) -> str:
    """Mark resonances, hover and the proposed speed; the last two with a word above the panel."""
    marks = [(rpm, "", 0.0, palette.Style(palette.AMBER, dash="3 3")) for rpm in view.resonances_rpm]
    if view.hover_rpm is not None:
        marks.append((view.hover_rpm, "hover", _AMPLITUDE[0] - 10, palette.Style(palette.GREY, dash="1 3")))
    if view.proposed_rpm is not None:
        marks.append((view.proposed_rpm, "balance here", _AMPLITUDE[0] - 24, palette.Style(palette.GREEN)))
    drawn = []
    for rpm, word, y, style in marks:
        if not upper.low <= rpm <= upper.high:
            continue
        x = upper.x(rpm)
        for axes in (upper, lower):
            ends = complex(x, axes.top_px), complex(x, axes.bottom_px)
            drawn.append(svg.line(*ends, **svg.stroke(style.colour, 1.6, style.dash)))
        if word:
            drawn.append(_word(word, x, y))
    return "".join(drawn)


def _word(word: str, x: float, y: float) -> str:
    half = svg.text_width(word, 11) / 2
    # "amplitude" stands at the left of the same row
    return svg.text(word, complex(min(max(x, _LEFT + 96 + half), _WIDTH - 6 - half), y), 11)

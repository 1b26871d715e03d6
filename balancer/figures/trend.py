"""Unbalance of a part over the dates on which it was measured, with the balance quality grades as lines.

The scale is logarithmic: what a part came with is often a hundred times what is left in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from balancer.errors import InputError
from balancer.figures import palette, svg
from balancer.figures.markers import marker

_WIDTH, _HEIGHT = 440.0, 316.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 50.0, 394.0, 72.0, 270.0
_MOST_DECADES = 4.0
_SMALL = 12.0
_ASIDE = 4.0  # px: what was found and what was left on one day stand beside each other
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120)
_DAYS = (1, 2, 5, 7, 14, 31)
_MOST_DATES = 5

FOUND, LEFT = palette.ROLES["as_is"], palette.ROLES["check"]
"""How a part as found and as left looks: as in the polar picture."""


@dataclass(frozen=True)
class TrendPoint:
    """A determination in g mm.

    Parameters
    ----------
    when : date
        Its date.
    value : float
        Best estimate, 0 or more.
    lower, upper : float
        Between these it lies with 95 % probability; `lower` 0 where it cannot be told from none.
    left : bool
        Whether it is what was left after balancing; else what was found before.
    """

    when: date
    value: float
    lower: float
    upper: float
    left: bool

    def __post_init__(self) -> None:
        if not (0 <= self.lower <= self.upper < math.inf and 0 <= self.value < math.inf):
            raise InputError("an unbalance and its bounds must be finite and 0 or more")


@dataclass(frozen=True)
class TrendView:
    """What the chart shows.

    Parameters
    ----------
    points : tuple of TrendPoint
        One or more.
    lines : tuple of (str, float)
        Name of each grade and the unbalance in g mm that it allows, above 0.
    asked : str, optional
        Name of the grade that is asked for.
    events : tuple of (date, str), optional
        What happened to the part meanwhile, in a word.
    """

    points: tuple[TrendPoint, ...]
    lines: tuple[tuple[str, float], ...] = ()
    asked: str = ""
    events: tuple[tuple[date, str], ...] = ()


@dataclass(frozen=True)
class _Axes:
    """Where values lie on the page: days along x, powers of ten from `low` to `high` along y."""

    first: int
    last: int
    low: float
    high: float

    def x(self, when: date) -> float:
        return _LEFT + 12 + (when.toordinal() - self.first) / (self.last - self.first) * (_RIGHT - _LEFT - 24)

    def y(self, value: float) -> float:
        power = math.log10(value) if value > 0 else self.low
        share = (min(max(power, self.low), self.high) - self.low) / (self.high - self.low)
        return _BOTTOM - share * (_BOTTOM - _TOP)


def trend_picture(view: TrendView) -> str:
    """Draw the unbalance of a part over time.

    Parameters
    ----------
    view : TrendView
        What to show.

    Returns
    -------
    str
        SVG, one line, without ids.

    Raises
    ------
    InputError
        If there is no point, or a line does not lie above 0.
    """
    if not view.points or any(not 0 < value < math.inf for _, value in view.lines):
        raise InputError("a chart takes one determination or more, and grades that allow more than 0")
    axes = _axes(view)
    return svg.document(
        _WIDTH,
        _HEIGHT,
        _label(view),
        svg.text("Unbalance over time", complex(10, 16), 14, "start", bold=True),
        _legend(),
        svg.text("g mm, logarithmic", complex(10, _TOP - 17), _SMALL, "start"),
        _values(axes),
        _dates(axes),
        *(_grade(axes, name, value, asked=name == view.asked) for name, value in view.lines),
        _events(axes, view.events),
        *(_point(axes, point) for point in view.points),
        svg.text("bars: 95 %; dashed: allowed by grade", complex(10, _HEIGHT - 10), _SMALL, "start"),
    )


def _axes(view: TrendView) -> _Axes:
    sizes = [value for p in view.points for value in (p.value, p.lower, p.upper)]
    sizes = [size for size in (*sizes, *(value for _, value in view.lines)) if size > 0] or [1.0]
    high = _round_power(max(sizes) * 1.05, up=True)
    low = max(_round_power(min(sizes) / 1.05, up=False), high - _MOST_DECADES)
    days = sorted(point.when.toordinal() for point in view.points)
    later = [when.toordinal() for when, _ in view.events if when.toordinal() > days[-1]]
    first, last = days[0], max((days[-1], *later))
    few = max(20 - (last - first), 0) // 2  # a single day gets some room, too
    return _Axes(first - few, last + few, low, high)


def _round_power(value: float, *, up: bool) -> float:
    """Give the logarithm of the next 1, 2 or 5 times a power of ten."""
    whole = math.floor(math.log10(value))
    steps = [math.log10(step) + whole for step in (1, 2, 5, 10)]
    power = math.log10(value)
    return min(s for s in steps if s >= power) if up else max(s for s in steps if s <= power)


def _label(view: TrendView) -> str:
    parts = [
        f"{point.when.isoformat()} {'left' if point.left else 'found'} {svg.significant(point.value, 2)} "
        f"({svg.significant(point.lower, 2)} to {svg.significant(point.upper, 2)})"
        for point in view.points
    ]
    lines = [f"{name} allows {svg.significant(value, 2)}" for name, value in view.lines]
    events = [f"{when.isoformat()} {word}" for when, word in view.events]
    return f"Unbalance over time in g mm with 95 % bounds: {'; '.join([*parts, *lines, *events])}."


def _legend() -> str:
    drawn = []
    for word, style, x in (("as found", FOUND, 236.0), ("as left", LEFT, 326.0)):
        drawn.append(marker(style, complex(x, 16)))
        drawn.append(svg.text(word, complex(x + 10, 16), 12, "start"))
    return "".join(drawn)


def _values(axes: _Axes) -> str:
    drawn = []
    for power in range(math.floor(axes.low), math.ceil(axes.high) + 1):
        for step in (1.0, 2.0, 5.0):
            value = step * 10.0**power
            if axes.low - 1e-9 <= math.log10(value) <= axes.high + 1e-9:
                y = axes.y(value)
                ends = complex(_LEFT, y), complex(_RIGHT, y)
                faint = 1.0 if step == 1 else 0.45
                drawn.append(
                    svg.line(*ends, stroke=palette.GRID, stroke_width=0.8, stroke_opacity=f"{faint:g}")
                )
                drawn.append(svg.text(svg.round_number(value), complex(_LEFT - 6, y), _SMALL, "end"))
    return "".join(drawn)


def _dates(axes: _Axes) -> str:
    drawn = [
        svg.line(complex(_LEFT, _BOTTOM), complex(_RIGHT, _BOTTOM), stroke=palette.GRID, stroke_width=1.2)
    ]
    for when, word in _ticks(date.fromordinal(axes.first), date.fromordinal(axes.last)):
        at = complex(axes.x(when), _BOTTOM)
        drawn.append(svg.line(at, at + 4j, stroke=palette.GRID, stroke_width=1))
        half = svg.text_width(word, _SMALL) / 2
        drawn.append(svg.text(word, complex(min(max(at.real, half), _WIDTH - half), at.imag + 14), _SMALL))
    return "".join(drawn)


def _ticks(first: date, last: date) -> list[tuple[date, str]]:
    """Give round dates between two days: days of a short span, months of a longer one."""
    span = (last - first).days
    if span < 70:
        step = next(step for step in _DAYS if span / step < _MOST_DATES)
        days = range(0, span + 1, step)
        return [(when, when.isoformat()) for when in (first + timedelta(day) for day in days)]
    step = next((step for step in _MONTHS if span / 30.4 / step < _MOST_DATES), _MONTHS[-1])
    month = math.ceil((first.year * 12 + first.month - 1 + (first.day > 1)) / step) * step
    found = []
    while (when := date(month // 12, month % 12 + 1, 1)) <= last:
        found.append((when, f"{when:%Y-%m}" if step < 12 else f"{when:%Y}"))
        month += step
    return found


def _grade(axes: _Axes, name: str, value: float, *, asked: bool) -> str:
    y = axes.y(value)
    style = svg.stroke(palette.GREEN if asked else palette.GREY, 2.0 if asked else 1.2, "6 3")
    drawn = svg.line(complex(_LEFT, y), complex(_RIGHT, y), **style)
    return drawn + svg.text(name, complex(_RIGHT + 5, y), _SMALL, "start", bold=asked)


def _events(axes: _Axes, events: Sequence[tuple[date, str]]) -> str:
    """Draw a line for each event; a word that would lie on another goes to a second row, or is left out."""
    drawn, ends = [], [0.0, 0.0]
    for when, word in sorted(events):
        if when.toordinal() < axes.first:
            continue
        x = axes.x(when)
        drawn.append(
            svg.line(complex(x, _TOP), complex(x, _BOTTOM), **svg.stroke(palette.ORANGE, 1.2, "2 3"))
        )
        name = svg.shorten(word, 90, _SMALL)
        half = svg.text_width(name, _SMALL) / 2
        at = min(max(x, 130 + half), _WIDTH - 4 - half)  # "g mm, logarithmic" stands at the left
        row = next((n for n, end in enumerate(ends) if at - half > end + 4), None)
        if row is not None:
            ends[row] = at + half
            drawn.append(svg.text(name, complex(at, _TOP - 10 - 14 * row), _SMALL))
    return "".join(drawn)


def _point(axes: _Axes, point: TrendPoint) -> str:
    """Draw a marker with its bar, which ends in an arrow where the size cannot be told from none."""
    style = LEFT if point.left else FOUND
    x = axes.x(point.when) + (_ASIDE if point.left else -_ASIDE)
    top, foot = complex(x, axes.y(point.upper)), complex(x, axes.y(point.lower))
    ink = svg.stroke(style.colour, 1.6)
    ends = [svg.line(top - 4, top + 4, **ink)]
    if point.lower > 0:
        ends.append(svg.line(foot - 4, foot + 4, **ink))
    else:
        ends.append(svg.arrow_head(foot, 1j, 8, fill=style.colour))
    return svg.line(top, foot, **ink) + "".join(ends) + marker(style, complex(x, axes.y(point.value)))


def chart_points(points: Sequence[TrendPoint]) -> tuple[TrendPoint, ...]:
    """Put points in the order of their dates, what was found before what was left."""
    return tuple(sorted(points, key=lambda point: (point.when, point.left)))

"""Charts of recordings from plain arrays, in Vega-Lite's grammar; they know no page and no recording.

A chart is plain data (a dict), made in a millisecond. Every line has a colour that can be told from both
grounds (`figures.palette`), and never the colour alone: channels differ by their dash, places have words.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from balancer.figures import palette

Floats = npt.NDArray[np.float64]
Spec = dict[str, Any]
Places = Sequence[tuple[float, str]]

_COLOURS = (palette.BLUE, palette.ORANGE, palette.VIOLET, palette.GREEN, palette.AMBER, palette.GREY)
_DASHES = ([1, 0], [7, 3], [2, 3], [10, 3, 2, 3], [4, 4], [1, 2])
_DECADES = 4  # of a logarithmic height: what is lower is noise
_NEAR_END = 0.8  # of the width: beyond it words stand to the left of their place
_QUARTERS = [0, 90, 180, 270, 360]
_INK: Spec = {
    "axis": {"labelColor": "currentColor", "titleColor": "currentColor"},
    "legend": {"labelColor": "currentColor"},
}
"""Words in the page's own colour: Streamlit's grey has only 3.7:1 on white."""

_DIGITS = 5  # more cannot be seen


def line_chart(along: Floats, values: Floats, *, title: str, unit: str, marked: Places = ()) -> Spec:
    """Draw a line.

    Parameters
    ----------
    along, values : array, shape (n,)
        Its points, `along` rising.
    title : str
        Of the horizontal axis, with its unit.
    unit : str
        Of the values.
    marked : sequence of (float, str), optional
        Places to mark, with their words.

    Returns
    -------
    dict
        The chart.
    """
    x = _axis("x", title, [float(along[0]), float(along[-1])])
    y = _axis("y", _unit(unit), None, zero=False)
    return _layered([_line(along, values, x, y, 1.2), *_marks(marked, x)], 200)


def spectrum_chart(
    along: Floats,
    amplitudes: Floats,
    *,
    title: str,
    unit: str,
    marked: Places = (),
    logarithmic: bool = False,
) -> Spec:
    """Draw a spectrum.

    Parameters
    ----------
    along, amplitudes : array, shape (n,)
        Its points, `along` rising.
    title : str
        Of the horizontal axis, with its unit.
    unit : str
        Of the amplitudes.
    marked : sequence of (float, str), optional
        Frequencies or orders to mark, with their words.
    logarithmic : bool, optional
        Let the height count decades.

    Returns
    -------
    dict
        The chart.
    """
    top = float(amplitudes.max()) or 1.0
    low = top / 10**_DECADES
    x = _axis("x", title, [0.0, float(along[-1])])
    if logarithmic:
        y = _axis("y", f"peak, {_unit(unit)}", [low, 2 * top], type="log")
        amplitudes = np.maximum(amplitudes, low)
    else:
        y = _axis("y", f"peak, {_unit(unit)}", [0.0, 1.12 * top])
    return _layered([*_marks(marked, x), _line(along, amplitudes, x, y, 1.4)], 300)


def folded_chart(
    degrees: Floats, mean: Floats, scatter: Floats, *, unit: str, against: bool, reach: float
) -> Spec:
    """Draw one channel over a turn of the shaft: time goes from left to right.

    Parameters
    ----------
    degrees : array, shape (points,)
        Shaft angle from the mark against the rotation, rising from 0.
    mean, scatter : array, shape (points,)
        Over the turns.
    unit : str
        Of both.
    against : bool
        Show angles counted against the rotation; with it they fall from left to right.
    reach : float
        Height up and down, the same for all channels that stand beside each other.

    Returns
    -------
    dict
        The chart.
    """
    turn = np.append(degrees, 360.0)  # the end of the turn is its beginning
    mean, scatter = np.append(mean, mean[0]), np.append(scatter, scatter[0])
    way = "against" if against else "with"
    x = _axis("x", f"degrees {way} the rotation", [0.0, 360.0], reverse=not against, values=_QUARTERS)
    y = _axis("y", _unit(unit), [-reach, reach])
    shown = turn if against else 360.0 - turn
    band = {
        "data": _rows(x=shown, y=mean - scatter, y2=mean + scatter),
        "mark": {"type": "area", "color": palette.GREY, "opacity": 0.35},
        "encoding": {"x": _bare(x), "y": y, "y2": {"field": "y2"}},
    }
    mark = _marks([(0.0 if against else 360.0, "mark")], x)
    return _layered([band, _line(shown, mean, x, y, 2.0, order=turn), *mark], 220)


def sweep_charts(
    rpm: Floats,
    amplitudes: Floats,
    degrees: Floats,
    channels: Sequence[str],
    *,
    unit: str,
    keep_out: Sequence[tuple[float, float]] = (),
    marked: Places = (),
) -> tuple[Spec, Spec]:
    """Draw amplitude and phase of 1x against speed.

    Parameters
    ----------
    rpm : array, shape (n,)
        Speeds, rising.
    amplitudes, degrees : array, shape (channels, n)
        1x.
    channels : sequence of str
        Their names.
    unit : str
        Of the amplitudes.
    keep_out : sequence of (float, float), optional
        Ranges to shade.
    marked : sequence of (float, str), optional
        Speeds to mark, with their words.

    Returns
    -------
    tuple of dict
        Amplitude, phase.
    """
    low, high = float(rpm[0]), float(rpm[-1])
    x = _axis("x", "rpm", [low, high])
    height = _axis("y", f"1x peak, {_unit(unit)}", [0.0, 1.2 * (float(amplitudes.max()) or 1.0)])
    angle = _axis("y", "phase, degrees", [0.0, 360.0], values=_QUARTERS)
    shaded = [(max(a, low), min(b, high)) for a, b in keep_out if b > low and a < high]
    behind = {
        "data": _rows(x=np.array([a for a, _ in shaded]), x2=np.array([b for _, b in shaded])),
        "mark": {"type": "rect", "color": palette.AMBER, "opacity": 0.16},
        "encoding": {"x": _bare(x), "x2": {"field": "x2"}},
    }
    wordless = [(place, "") for place, _ in marked]
    return (
        _layered([behind, *_marks(marked, x), _channels(rpm, amplitudes, channels, x, height, np.inf)], 300),
        _layered([behind, *_marks(wordless, x), _channels(rpm, degrees, channels, x, angle, 180.0)], 270),
    )


def _channels(rpm: Floats, rows: Floats, names: Sequence[str], x: Spec, y: Spec, jump: float) -> Spec:
    pieces = np.cumsum(broken(rows, jump), axis=1)
    values = [
        {"x": a, "y": b, "channel": name, "piece": p}
        for name, row, piece in zip(names, rows, pieces, strict=True)
        for a, b, p in zip(_short(rpm), _short(row), piece.tolist(), strict=True)
        if not np.isnan(b)
    ]
    count, order = len(names), list(names)
    colours = [_COLOURS[k % len(_COLOURS)] for k in range(count)]
    dashes = [_DASHES[k % len(_DASHES)] for k in range(count)]
    legend = {"orient": "top", "title": None, "symbolStrokeWidth": 2, "symbolSize": 500}
    channel = {"field": "channel", "type": "nominal", "sort": None, "legend": legend}
    return {
        "data": {"values": values},
        "mark": {"type": "line", "strokeWidth": 1.8},
        "encoding": {
            "x": x,
            "y": y,
            "detail": {"field": "piece", "type": "nominal"},
            "color": {**channel, "scale": {"domain": order, "range": colours}},
            "strokeDash": {**channel, "scale": {"domain": order, "range": dashes}},
        },
    }


def broken(rows: Floats, jump: float) -> npt.NDArray[np.bool_]:
    """Say where a line begins anew: after what has no value, and where it jumps.

    Parameters
    ----------
    rows : array, shape (lines, n)
        Heights, NaN where there is none.
    jump : float
        A larger step is no part of a line: half a turn for a phase, that passes 360 degrees there.

    Returns
    -------
    array of bool, shape (lines, n)
        True at each point that is not joined to the one before.
    """
    steps = np.abs(np.diff(rows, axis=1, prepend=rows[:, :1]))
    return np.asarray(np.isnan(steps) | (steps > jump))


def _line(along: Floats, values: Floats, x: Spec, y: Spec, width: float, order: Floats | None = None) -> Spec:
    """Draw a line from left to right, or in a given order."""
    named = [("x", x["title"]), ("y", y["title"])]
    tips = [{"field": f, "type": "quantitative", "title": title, "format": ".4~g"} for f, title in named]
    columns, encoding = {"x": along, "y": values}, {"x": x, "y": y, "tooltip": tips}
    if order is not None:
        columns["order"] = order
        encoding["order"] = {"field": "order", "type": "quantitative"}
    mark = {"type": "line", "color": palette.BLUE, "strokeWidth": width}
    return {"data": _rows(**columns), "mark": mark, "encoding": encoding}


def _marks(marked: Places, x: Spec) -> list[Spec]:
    """Mark places with upright lines; their words are labels of an axis above, in the page's own colour."""
    low, high = x["scale"]["domain"]
    inside = {float(_short(np.array([place]))[0]): word for place, word in marked if low <= place <= high}
    if not inside:
        return []
    axis = _words_above(inside, x) if any(inside.values()) else None
    rule = {"type": "rule", "color": palette.AMBER, "strokeDash": [4, 3], "strokeWidth": 1.5}
    encoding = {"x": {**x, "axis": axis}}
    return [{"data": _rows(x=np.array(list(inside))), "mark": rule, "encoding": encoding}]


def _words_above(places: dict[float, str], x: Spec) -> Spec:
    low, high = x["scale"]["domain"]
    words = (
        "".join(f"datum.value == {place!r} ? {json.dumps(word)} : " for place, word in places.items()) + "''"
    )
    early = (high - low) * (1 - _NEAR_END if x["scale"]["reverse"] else _NEAR_END) + low
    left = f"datum.value {'>' if x['scale']['reverse'] else '<'} {early!r}"
    return {
        "orient": "top",
        "values": list(places),
        "labelExpr": words,
        "labelAlign": {"condition": {"test": left, "value": "left"}, "value": "right"},
        "labelOverlap": "greedy",  # on a phone one of two near words must go; the lines stay
        "labelSeparation": 6,
        "labelPadding": 2,
        "grid": False,
        "ticks": False,
        "domain": False,
        "title": None,
    }


def _axis(
    field: str,
    title: str,
    domain: list[float] | None,
    *,
    values: Sequence[float] | None = None,
    reverse: bool = False,
    zero: bool = True,
    type: str = "linear",
) -> Spec:
    scale: Spec = {"type": type, "nice": False, "reverse": reverse}
    scale |= {"zero": zero} if domain is None else {"domain": domain}
    axis: Spec = {"labelOverlap": True, "tickCount": 6} | ({} if values is None else {"values": list(values)})
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": scale,
        "axis": axis,
    }


def _rows(**columns: Floats) -> Spec:
    names = list(columns)
    rows = zip(*(_short(column) for column in columns.values()), strict=True)
    return {"values": [dict(zip(names, row, strict=True)) for row in rows]}


def _short(values: Floats) -> list[float]:
    """Round to so many digits that the picture stays the same: half the bytes on the way."""
    return [float(f"{value:.{_DIGITS}g}") for value in values.tolist()]


def _layered(layers: Sequence[Spec], height: int) -> Spec:
    layers = list(layers)
    return {"height": height, "layer": layers, "resolve": {"axis": {"x": "independent"}}, "config": _INK}


def _bare(x: Spec) -> Spec:
    """Give the same axis undrawn: one layer of a chart draws it."""
    return {**x, "axis": None}


def _unit(unit: str) -> str:
    return unit.replace("^2", "²")

"""A few words so large that they are read from two metres away, and a bar of how far something is."""

from __future__ import annotations

import math
from collections.abc import Sequence

from balancer.errors import InputError
from balancer.figures import palette, svg

SIZE = 52.0
"""Size of the letters in px of a picture 360 px wide: 48 px on a phone, which leaves it some 340 px."""

_WIDTH, _LEFT = 360.0, 8.0
_ROW, _BAR = 60.0, 26.0


def readout_picture(lines: Sequence[str], *, share: float | None = None, good: bool = False) -> str:
    """Write lines large, one below the other, each narrowed to the width if it is long.

    Parameters
    ----------
    lines : sequence of str
        One or more; empty ones are left out.
    share : float or None, optional
        0 to 1, drawn as a bar below them.
    good : bool, optional
        Whether all is as it should be: a filled bar at the left edge, else a dashed one.

    Returns
    -------
    str
        SVG, one line, without ids.

    Raises
    ------
    InputError
        If there is no line, or the share is none.
    """
    rows = [line for line in lines if line.strip()]
    if not rows:
        raise InputError("a readout needs a line of words")
    if share is not None and not (math.isfinite(share) and 0 <= share <= 1):
        raise InputError(f"a share is between 0 and 1, not {share}")
    height = _ROW * len(rows) + (0.0 if share is None else _BAR) + 8
    end = 4 + _ROW * len(rows)
    words = "".join(_row(row, 4 + _ROW * (n + 0.5)) for n, row in enumerate(rows))
    said = ", ".join(rows) + ("" if share is None else f", {100 * share:.0f} % recorded")
    return svg.document(
        _WIDTH,
        height,
        f"{said}.",
        _edge(end, good=good),
        words,
        "" if share is None else _bar(share, end + 4),
    )


def _row(text: str, y: float) -> str:
    room = _WIDTH - _LEFT - 18
    squeezed: svg.Attributes = {}
    if 1.06 * svg.text_width(text, SIZE) > room:  # the letters keep their height
        squeezed = {"textLength": room, "lengthAdjust": "spacingAndGlyphs"}
    return svg.text(text, complex(_LEFT + 14, y), SIZE, "start", bold=True, **squeezed)


def _edge(end: float, *, good: bool) -> str:
    look = svg.stroke(palette.GREEN, 8) if good else svg.stroke(palette.AMBER, 8, "6 5")
    return svg.line(complex(_LEFT, 8), complex(_LEFT, end - 6), **look)


def _bar(share: float, top: float) -> str:
    corner, size = complex(_LEFT + 14, top), complex(_WIDTH - _LEFT - 18, 18)
    frame = svg.rect(corner, size, rx=4, **svg.stroke("currentColor", 1.4))
    full = svg.rect(
        corner, complex(size.real * share, size.imag), rx=4, fill=palette.GREEN, data_part="share"
    )
    return full + frame

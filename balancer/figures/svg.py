"""SVG as text: elements, escaping, rounding and the width of words. Points are complex numbers x + jy in px.

Every picture is one line without ids (two pictures may share a page) and takes its line and text colour from
the page (``currentColor``), so that it follows the light and the dark theme.
"""

from __future__ import annotations

import html
import math
import re
import unicodedata
from collections.abc import Iterable

from balancer.figures.palette import DARK_GROUND, DARK_TEXT, LIGHT_GROUND, LIGHT_TEXT

Attributes = dict[str, str | float]

_HEAD = re.compile(r'<svg viewBox="0 0 (?P<width>[\d.]+) (?P<height>[\d.]+)" width="100%" ')
_FONT = "'Segoe UI', Roboto, 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"
_FILE_WIDTH = 720.0


def escape(text: str) -> str:
    r"""Make any text safe inside an element or an attribute, on one line.

    Examples
    --------
    >>> escape('a "quoted" <part>\n& more')
    'a &quot;quoted&quot; &lt;part&gt; &amp; more'
    """
    # XML 1.0 section 2.2 allows no control characters, lone surrogates, U+FFFE and U+FFFF, not even escaped;
    # the others would turn the order of all that follows
    turning = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    gone = "\ufffe\uffff" + turning
    shown = (" " if unicodedata.category(c) in {"Cc", "Cs"} or c in gone else c for c in text)
    return html.escape(" ".join("".join(shown).split()), quote=True)


def px(value: float) -> str:
    """Write a coordinate with at most two decimals.

    Examples
    --------
    >>> px(12.0), px(-0.001), px(1 / 3)
    ('12', '0', '0.33')
    """
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def significant(value: float, digits: int = 3) -> str:
    """Write a number with so many significant digits.

    Examples
    --------
    >>> significant(7.0), significant(0.0123456), significant(1234.5), significant(0.0), significant(2e-7)
    ('7.00', '0.0123', '1234', '0', '2.00e-7')
    """
    if value == 0:
        return "0"
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    power = int(exponent)
    if not -4 <= power <= 5:
        return f"{mantissa}e{power}"
    return f"{value:.{max(digits - 1 - power, 0)}f}"


def short(value: float, decimals: int = 1) -> str:
    """Write a number with at most so many decimals.

    Examples
    --------
    >>> short(60.0), short(12.52), short(-0.01)
    ('60', '12.5', '0')
    """
    return f"{round(value, decimals) + 0.0:.{decimals}f}".rstrip("0").rstrip(".")


def round_number(value: float) -> str:
    """Write a number that is round already.

    Examples
    --------
    >>> round_number(2.5), round_number(1250.0), round_number(3e-7), round_number(2e6)
    ('2.5', '1250', '3e-7', '2e6')
    """
    return re.sub(r"e([+-])0*", lambda found: "e-" if found[1] == "-" else "e", f"{value:.6g}")


def tag(name: str, /, *children: str, **attributes: str | float) -> str:
    """Write an element; attribute values must be escaped already, ``_`` in their names becomes ``-``."""
    parts = [name]
    for key, value in attributes.items():
        shown = value if isinstance(value, str) else px(value)
        if shown:
            parts.append(f'{key.replace("_", "-")}="{shown}"')
    head = " ".join(parts)
    return f"<{head}>{''.join(children)}</{name}>" if children else f"<{head}/>"


def stroke(colour: str, width: float, dash: str = "") -> Attributes:
    """Give the attributes of an outline."""
    return {"stroke": colour, "stroke_width": width, "stroke_dasharray": dash}


def tint(colour: str, opacity: float) -> Attributes:
    """Give the attributes of a see-through fill."""
    return {"fill": colour, "fill_opacity": opacity}


def line(start: complex, end: complex, /, **attributes: str | float) -> str:
    """Draw a straight line."""
    return tag("line", x1=start.real, y1=start.imag, x2=end.real, y2=end.imag, **attributes)


def circle(centre: complex, radius: float, /, **attributes: str | float) -> str:
    """Draw a circle."""
    return tag("circle", cx=centre.real, cy=centre.imag, r=radius, **attributes)


def rect(corner: complex, size: complex, /, **attributes: str | float) -> str:
    """Draw a rectangle from its upper left corner and its width + j height."""
    return tag("rect", x=corner.real, y=corner.imag, width=size.real, height=size.imag, **attributes)


def polygon(points: Iterable[complex], /, **attributes: str | float) -> str:
    """Draw a closed outline of straight lines."""
    return tag("polygon", points=" ".join(pair(p) for p in points), **attributes)


def pair(point: complex) -> str:
    """Write a point as ``x,y``."""
    return f"{px(point.real)},{px(point.imag)}"


def arrow_head(tip: complex, heading: complex, size: float, /, **attributes: str | float) -> str:
    """Draw a filled arrow head as a path of its own (a marker would need an id)."""
    along = heading / abs(heading)
    back = tip - along * size
    side = along * 1j * size * 0.42
    return polygon((tip, back + side, back + along * size * 0.22, back - side), **attributes)


def text(
    content: str,
    at: complex,
    size: float = 12,
    anchor: str = "middle",
    *,
    bold: bool = False,
    **attributes: str | float,
) -> str:
    """Write a word in the page's text colour, its height centred on `at`; the content is escaped here."""
    # 0.35 em below the middle is the base line of digits; dominant-baseline is not the same in every renderer
    return tag(
        "text",
        escape(content),
        x=at.real,
        y=at.imag + 0.35 * size,
        font_size=size,
        text_anchor="" if anchor == "start" else anchor,
        font_weight="600" if bold else "",
        fill="currentColor",
        **attributes,
    )


def text_width(content: str, size: float) -> float:
    """Estimate how wide a word is in px: generous, since the page's font is not known here."""
    return size * sum(1.2 if unicodedata.east_asian_width(c) in "WF" else _advance(c) for c in content)


def _advance(character: str) -> float:
    if character in "ilI.,:;'|! j()[]ft":
        return 0.34
    return 0.86 if character in "mwMW@%" else 0.62 if character.isupper() else 0.57


def shorten(content: str, width: float, size: float) -> str:
    """Cut a word to a width, with an ellipsis where something was cut."""
    if text_width(content, size) <= width:
        return content
    kept = content
    while kept and text_width(kept + "…", size) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def wrap(content: str, width: float, size: float, lines: int = 2) -> list[str]:
    """Break a sentence into at most so many lines of a width; what is left over is cut with an ellipsis."""
    rows: list[str] = []
    words = content.split()
    while words and len(rows) < lines - 1:
        taken = 1
        while taken < len(words) and text_width(" ".join(words[: taken + 1]), size) <= width:
            taken += 1
        rows.append(shorten(" ".join(words[:taken]), width, size))
        words = words[taken:]
    return [*rows, shorten(" ".join(words), width, size)] if words else rows


def document(width: float, height: float, label: str, *children: str) -> str:
    """Wrap a picture: as wide as its place on the page, named for those who cannot see it."""
    body = "".join(children)
    # the order of the first attributes is what `standalone` looks for
    return (
        f'<svg viewBox="0 0 {px(width)} {px(height)}" width="100%" role="img" aria-label="{escape(label)}" '
        f'fill="none" stroke-linecap="round" stroke-linejoin="round">{body}</svg>'
    )


def standalone(svg: str, *, dark: bool = False) -> str:
    """Turn a picture of this package into the text of a file of its own.

    Parameters
    ----------
    svg : str
        What one of the picture functions gave.
    dark : bool, optional
        Light lines on a dark ground.

    Returns
    -------
    str
        The same picture with name space, ground, text colour, font and a size in px.

    Raises
    ------
    ValueError
        If `svg` is no picture of this package.
    """
    found = _HEAD.match(svg)
    if found is None:
        raise ValueError("standalone takes the text that a picture function of balancer.figures gave")
    width, height = float(found["width"]), float(found["height"])
    ground, ink = (DARK_GROUND, DARK_TEXT) if dark else (LIGHT_GROUND, LIGHT_TEXT)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {px(width)} {px(height)}" '
        f'width="{px(_FILE_WIDTH)}" height="{px(_FILE_WIDTH * height / width)}" '
        f'color="{ink}" font-family="{_FONT}" '
    )
    opening, rest = svg[found.end() :].split(">", 1)
    return f"{head}{opening}>{rect(0j, complex(width, height), fill=ground)}{rest}"


def nice_step(span: float, most: int, steps: tuple[float, ...] = (1, 2, 2.5, 5, 10)) -> float:
    """Give the smallest round step that covers `span` in at most `most` steps (1, 2, 2.5 or 5 times 10^k).

    Examples
    --------
    >>> nice_step(7.2, 5), nice_step(0.011, 5)
    (2.0, 0.0025)
    """
    power = 10.0 ** math.floor(math.log10(span / most))
    # 1e-9: a span that is a whole number of steps but for rounding needs no further one
    wanted = next(step for step in steps if math.ceil(span / (step * power) - 1e-9) <= most)
    return float(f"{wanted * power:.6g}")

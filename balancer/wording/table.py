"""A table of text: columns aligned by what a terminal shows, whatever script the names are in."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence


def table_lines(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Align rows under their head.

    Parameters
    ----------
    head : sequence of str
        Titles of the columns.
    rows : sequence of sequence of str
        As many texts each.

    Returns
    -------
    list of str
        The head first; columns are two spaces apart.

    Examples
    --------
    >>> table_lines(["part", "arm"], [["P1", "1"], ["spare 7", ""]])
    ['part     arm', 'P1       1', 'spare 7']
    """
    lines = [head, *rows]
    widths = [max(width(line[column]) for line in lines) for column in range(len(head))]
    return [
        "  ".join(cell + " " * (wide - width(cell)) for cell, wide in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]


def width(text: str) -> int:
    """Give how many places of a terminal a text takes: two for wide characters, none for accents.

    Examples
    --------
    >>> width("P1"), width("\U0001f6f8"), width("e\u0301")
    (2, 2, 1)
    """
    return sum(_width(character) for character in text)


def _width(character: str) -> int:
    if unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(character) in {"W", "F"} else 1


def shortened(text: str, most: int) -> str:
    """Cut a text to so many places, with an ellipsis where something is left out."""
    if width(text) <= most:
        return text
    while text and width(text) > most - 1:
        text = text[:-1]
    return text.rstrip() + "…"

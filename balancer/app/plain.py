"""Text made safe for a page, and what more than one page shows, as values; knows no Streamlit."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Headline:
    """A figure shown large: what it is with its unit, its value, and a sentence of explanation."""

    label: str
    value: str
    help: str


@dataclass(frozen=True)
class Download:
    """A file to take away."""

    label: str
    name: str
    mime: str
    text: str


def plain(text: str) -> str:
    r"""Make any text safe for Markdown: it comes out as written, whatever a file or a person put in.

    Examples
    --------
    >>> plain("*bold* ![](http://a)")
    '\\*bold\\* \\!\\[\\]\\(http\\:\\/\\/a\\)'
    """
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", " ".join(text.split()))


def marked_orders(blades: int | None) -> tuple[tuple[float, str], ...]:
    """Give the orders to mark in a spectrum, with their names.

    Examples
    --------
    >>> marked_orders(2), marked_orders(3)
    (((1.0, '1x'), (2.0, '2x, blade pass')), ((1.0, '1x'), (2.0, '2x'), (3.0, 'blade pass')))
    """
    names = {1: "1x", 2: "2x"}
    if blades:
        names[blades] = f"{names[blades]}, blade pass" if blades in names else "blade pass"
    return tuple((float(order), names[order]) for order in sorted(names))

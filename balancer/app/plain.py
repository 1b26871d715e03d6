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

"""Text to HTML: every text is escaped here and nowhere else, unless it is `Html` already."""

from __future__ import annotations

import html
import unicodedata


class Html(str):
    """Text that is HTML already and goes into a page as it is; only this module and pictures make it."""

    __slots__ = ()


_VOID = frozenset({"meta", "br", "hr"})


def element(name: str, /, *children: str, **attributes: str) -> Html:
    """Write an element.

    Parameters
    ----------
    name : str
        Of the element.
    *children : str
        Its content: `Html` as it is, any other text escaped.
    **attributes : str
        Always escaped; empty ones are left out, a ``_`` at the end of a name falls away, others become ``-``.

    Returns
    -------
    Html
        The element.

    Examples
    --------
    >>> element("p", "a < b ", element("b", '"&"'), class_="x")
    '<p class="x">a &lt; b <b>&quot;&amp;&quot;</b></p>'
    """
    shown = (
        f' {key.rstrip("_").replace("_", "-")}="{_escape(value)}"'
        for key, value in attributes.items()
        if value
    )
    head = f"<{name}{''.join(shown)}>"
    return Html(head if name in _VOID else f"{head}{joined(*children)}</{name}>")


def joined(*children: str) -> Html:
    """Put pieces of content beside each other; plain text is escaped."""
    return Html("".join(child if isinstance(child, Html) else _escape(child) for child in children))


def typed(text: str) -> Html:
    """Write in a line what a person typed: its direction is its own and does not turn what is around it.

    Examples
    --------
    >>> typed("<P1>")
    '<bdi dir="auto">&lt;P1&gt;</bdi>'
    """
    return element("bdi", text, dir="auto")


def typed_block(text: str) -> Html:
    """Write as a paragraph what a person typed; its lines stay."""
    return element("p", text, dir="auto", class_="typed")


def _escape(text: str) -> str:
    # HTML allows no control characters but these, and no lone surrogates
    shown = (
        c if c in "\n\t" or unicodedata.category(c) not in {"Cc", "Cs"} else "\N{REPLACEMENT CHARACTER}"
        for c in text
    )
    return html.escape("".join(shown), quote=True)

"""The forms that archives have had, and how a record of an older one reads today.

1   the first
2   a place says how a propeller is turned on its hub (``turned_deg``); before, nobody knew
"""

from __future__ import annotations

from typing import Any

FORM = 2
"""That of the archives that are written now."""

NAME = "balancer history"
"""What stands before the number in a manifest."""


def in_form(form: int, data: dict[str, Any]) -> dict[str, Any]:
    """Give a record of an archive as the present form has it.

    Parameters
    ----------
    form : int
        Of the archive, 1 to `FORM`.
    data : dict
        The record, not checked yet.

    Returns
    -------
    dict
        What the codecs take, if the record was sound.
    """
    place = data.get("now")
    if form < 2 and isinstance(place, dict) and "turned_deg" not in place:
        return data | {"now": place | {"turned_deg": None}}
    return data

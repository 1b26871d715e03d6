"""What every page remembers until it is reloaded: what went wrong at a click, how angles and units are.

Only modules of this name touch `st.session_state` and the page's address; what must outlive a reload lies on
disk or in the address.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec

import streamlit as st

from balancer.app.services import MovedError, home_of
from balancer.app.units_shown import CHOICES, Vibration
from balancer.errors import BalancerError
from balancer.wording import Direction

DIRECTION, VIBRATION = "direction", "vibration"

_ANGLES, _UNIT = "angles", "vibration"  # in the page's address
_PROBLEM, _NOTICE, _PAGE, _WAY = "_problem", "_notice", "_page", "_way"
_SHOWN = "_vibration"

_P = ParamSpec("_P")


def told(work: Callable[_P, None]) -> Callable[_P, None]:
    """Keep what a person can put right for the page to show; a click that works clears it."""

    @wraps(work)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> None:
        st.session_state[_PROBLEM] = st.session_state[_NOTICE] = ""
        try:
            work(*args, **kwargs)
        except MovedError as error:
            st.session_state[_NOTICE] = str(error)
        except BalancerError as error:
            st.session_state[_PROBLEM] = str(error)

    return wrapped


def get(key: str) -> Any:
    """Give what a widget holds, or what was noted under a key; None when there is nothing."""
    return st.session_state.get(key)


def problem() -> str:
    """Give the sentence of what went wrong at the last click; empty when nothing did."""
    return str(get(_PROBLEM) or "")


def notice() -> str:
    """Give the sentence of why the last click changed nothing; empty when it did."""
    return str(get(_NOTICE) or "")


@told
def forget_problem() -> None:
    """Forget what went wrong before another choice was made."""


def arrive(page: str) -> None:
    """Leave behind what a click on another page had to tell, and bring along how angles and units are.

    Streamlit drops the address and what a widget held when the page changes.
    """
    way = st.session_state[_WAY] = direction()
    if way != st.query_params.get(_ANGLES, "against"):
        st.query_params[_ANGLES] = way
    unit = st.session_state[_SHOWN] = vibration_name()
    if unit != st.query_params.get(_UNIT, next(iter(CHOICES))):
        st.query_params[_UNIT] = unit
    if st.session_state.get(_PAGE, page) != page:
        st.session_state[_PROBLEM] = st.session_state[_NOTICE] = ""
    st.session_state[_PAGE] = page


def say(text: str) -> None:
    """Let the page show a sentence of what went wrong."""
    st.session_state[_PROBLEM] = text


def home() -> Path:
    """Give the folder of the person's data: the usual one, or where the server was told."""
    return home_of(sys.argv)


def direction() -> Direction:
    """How the angles shown and typed count; kept in the page's address, and from page to page."""
    chosen = get(DIRECTION) or st.query_params.get(_ANGLES) or get(_WAY)
    return "with" if chosen == "with" else "against"


def keep_direction() -> None:
    """Note the choice in the page's address."""
    st.query_params[_ANGLES] = st.session_state[_WAY] = direction()


def vibration_name() -> str:
    """Name the unit in which vibration is shown and typed, as in `CHOICES`; kept as `direction` is."""
    chosen = get(VIBRATION) or st.query_params.get(_UNIT) or get(_SHOWN)
    return chosen if chosen in CHOICES else next(iter(CHOICES))


def vibration() -> Vibration:
    """Give the unit in which vibration is shown and typed."""
    return CHOICES[vibration_name()]


def keep_vibration() -> None:
    """Note the choice in the page's address."""
    st.query_params[_UNIT] = st.session_state[_SHOWN] = vibration_name()

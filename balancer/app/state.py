"""What every page remembers until it is reloaded: what went wrong at the last click, and how angles count.

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
from balancer.errors import BalancerError
from balancer.wording import Direction

DIRECTION = "direction"

_ANGLES = "angles"  # in the page's address
_PROBLEM, _NOTICE = "_problem", "_notice"

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


def say(text: str) -> None:
    """Let the page show a sentence of what went wrong."""
    st.session_state[_PROBLEM] = text


def home() -> Path:
    """Give the folder of the person's data: the usual one, or where the server was told."""
    return home_of(sys.argv)


def direction() -> Direction:
    """How the angles shown and typed count; kept in the page's address."""
    chosen = get(DIRECTION) or st.query_params.get(_ANGLES, "against")
    return "with" if chosen == "with" else "against"


def keep_direction() -> None:
    """Note the choice in the page's address."""
    st.query_params[_ANGLES] = direction()

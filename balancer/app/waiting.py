"""What takes longer than a page may: it is shown when it is there, and the page comes back by itself."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from concurrent.futures import Future, wait
from functools import lru_cache
from typing import Any

import streamlit as st

from balancer.app.plain import plain
from balancer.app.worker import Worker

_KEPT = 48  # outcomes kept for all who look
_PATIENCE = 0.3  # s that a page waits before it shows the rest


def when_done(key: Hashable, work: Callable[[], Any], doing: str, *, slow: bool = False) -> Any:
    """Give the outcome of some work; None while it is still going on, and that is said.

    Parameters
    ----------
    key : hashable
        All that the outcome depends on.
    work : callable
        Begun once for a key; it must not touch the page.
    doing : str
        What it does, as a sentence.
    slow : bool, optional
        Whether it takes seconds: quick work does not wait behind it.
    """
    future = _worker(slow).ask(key, work)
    wait([future], _PATIENCE)
    if future.done():
        return future.result()
    _come_back(future, doing)
    return None


@st.fragment(run_every=0.5)
def _come_back(_future: Future[Any], doing: str) -> None:
    st.info(plain(f"This takes some seconds: {doing[:1].lower()}{doing[1:]}"))
    if _future.done():
        st.rerun()


@lru_cache(maxsize=2)
def _worker(slow: bool) -> Worker:
    return Worker(_KEPT)

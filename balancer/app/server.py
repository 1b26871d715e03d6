"""What the server runs: the pages, and beside them what a page cannot be."""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware

from balancer.app import services
from balancer.app.access import entry_of
from balancer.app.door import Door
from balancer.app.live.route import route


@asynccontextmanager
async def _lifespan(app: st.App) -> AsyncIterator[dict[str, Any] | None]:
    """Run the server; at its end, end what is being recorded."""
    try:
        yield None
    finally:
        await run_in_threadpool(services.close_benches)


_door = Middleware(Door, hosts=st.get_option("server.allowedHosts"), entry=entry_of(sys.argv))
app = st.App(Path(__file__).with_name("main.py"), middleware=[_door], lifespan=_lifespan, routes=[route()])

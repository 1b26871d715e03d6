"""The live picture's own way to the browser: a WebSocket beside Streamlit's, since reruns are too slow.

One station works for all who look: each picture is made once, in a thread of its own, and a tab that cannot
keep up gets the newest one when it is ready for it. Nothing that a browser sends is read; who may listen at
all is decided at `app.door`.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from balancer.app import services
from balancer.app.live.message import now_message, slow_message

if TYPE_CHECKING:
    from balancer.app.bench import Bench

_LOG = logging.getLogger(__name__)

PATH = "/bench/live"

RATE = 15.0
"""Pictures a second, at most."""

HEARTBEAT = 1.0
"""Seconds after which something is sent though nothing is new: so the page knows that the server lives."""


@dataclass(frozen=True)
class News:
    """What is to be sent.

    Parameters
    ----------
    number : int
        Rises with every one.
    now : bytes
        What changes with every picture.
    slow_number : int
        Rises with what changes less often.
    slow : bytes
        That; empty when there is nothing.
    """

    number: int
    now: bytes
    slow_number: int
    slow: bytes


class Station:
    """Makes the news while somebody listens.

    Parameters
    ----------
    bench : callable
        Gives the bench.
    """

    def __init__(self, bench: Callable[[], Bench]) -> None:
        self._bench = bench
        self._listeners = 0
        self._work: asyncio.Task[None] | None = None
        self._news = News(0, b"", 0, b"")
        self._come = asyncio.Event()
        self._seen: tuple[object, ...] = ()
        self._sent = 0.0

    @contextmanager
    def listening(self) -> Iterator[None]:
        """Keep the station at work."""
        self._listeners += 1
        if self._work is None or self._work.done():
            self._work = asyncio.get_running_loop().create_task(self._go_on())
        try:
            yield
        finally:
            self._listeners -= 1

    async def newer(self, than: int) -> News | None:
        """Wait for news after those of a number; None when none will come."""
        while self._news.number <= than:
            if self._work is None or self._work.done():
                return None
            await self._come.wait()
        return self._news

    async def _go_on(self) -> None:
        try:
            while self._listeners:
                begun = time.monotonic()
                news = await asyncio.to_thread(self._make)
                if news is not None:
                    self._news = news
                    self._wake()
                await asyncio.sleep(max(1 / RATE - (time.monotonic() - begun), 0.01))
        except Exception:
            # whoever listens is told that the connection is lost, and begins anew
            _LOG.exception("the live picture could not be made")
        finally:
            asyncio.get_running_loop().call_soon(self._wake)  # when this task counts as done

    def _wake(self) -> None:
        self._come.set()
        self._come = asyncio.Event()

    def _make(self) -> News | None:
        """Make the next news; None when nothing is new and it is not yet time to say so."""
        bench = self._bench()
        view, frame = bench.view(), bench.scope.frame()
        if view.state in ("off", "starting"):
            frame = None
        seen = (view.state, view.trouble, None if frame is None else frame.number)
        if seen == self._seen and time.monotonic() - self._sent < HEARTBEAT:
            return None
        self._seen, self._sent = seen, time.monotonic()
        before = self._news
        slow_number, slow = before.slow_number, before.slow
        if frame is None:
            slow = b""
        elif frame.slow_number != slow_number or not slow:
            slow_number, slow = frame.slow_number, slow_message(frame)
        return News(before.number + 1, now_message(view, frame), slow_number, slow)


def route(bench: Callable[[], Bench] | None = None) -> WebSocketRoute:
    """Give the route for the server.

    Parameters
    ----------
    bench : callable, optional
        Gives the bench; that of the folder which the server was started with when left out.
    """
    stations: list[Station] = []

    async def live(socket: WebSocket) -> None:
        if not stations:  # here, since it belongs to the loop that runs now
            stations.append(Station(bench or _bench))
        await socket.accept()
        await _serve(socket, stations[0])

    return WebSocketRoute(PATH, live)


def _bench() -> Bench:
    return services.bench(services.home_of(sys.argv))


async def _serve(socket: WebSocket, station: Station) -> None:
    with station.listening():
        work = [asyncio.ensure_future(_tell(socket, station)), asyncio.ensure_future(_overhear(socket))]
        try:
            await asyncio.wait(work, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in work:
                task.cancel()
            await asyncio.gather(*work, return_exceptions=True)  # what is left: that the browser went away
    with suppress(WebSocketDisconnect, RuntimeError, OSError):  # it is closed already
        await socket.close(1011)


async def _tell(socket: WebSocket, station: Station) -> None:
    number = slow_number = 0
    while (news := await station.newer(number)) is not None:
        if news.slow and news.slow_number != slow_number:
            await socket.send_bytes(news.slow)
        await socket.send_bytes(news.now)
        number, slow_number = news.number, news.slow_number


async def _overhear(socket: WebSocket) -> None:
    """Wait until the browser goes away; what it says goes unread."""
    with suppress(WebSocketDisconnect):
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return

"""Work that takes longer than a page may: done beside it, one after the other, its outcome kept."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any


class Worker:
    """One thread of work for all who look, with the outcomes that were asked for last.

    Parameters
    ----------
    kept : int
        How many outcomes.
    """

    def __init__(self, kept: int = 24) -> None:
        self._kept = kept
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="worker")
        self._lock = threading.Lock()
        self._futures: OrderedDict[Hashable, Future[Any]] = OrderedDict()

    def ask(self, key: Hashable, work: Callable[[], Any]) -> Future[Any]:
        """Give the outcome of some work, which is begun if it was not asked for before.

        Parameters
        ----------
        key : hashable
            All that the outcome depends on.
        work : callable
            Is called once for a key, in the worker's thread; it must not touch the page.

        Returns
        -------
        concurrent.futures.Future
            To be looked at again later; work that raised is begun anew the next time.
        """
        with self._lock:
            future = self._futures.get(key)
            if future is None or (future.done() and (future.cancelled() or future.exception() is not None)):
                future = self._futures[key] = self._pool.submit(work)
            self._futures.move_to_end(key)
            while len(self._futures) > self._kept:
                _, old = self._futures.popitem(last=False)
                old.cancel()  # what nobody waits for any more need not be begun
        return future

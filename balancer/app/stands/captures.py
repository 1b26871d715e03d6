"""What was cut out of the running source for a check; the whole recordings lie on the disk."""

from __future__ import annotations

import threading
from functools import lru_cache
from pathlib import Path

from balancer.app.recordings.service import Upload, numbered

MOST = 8
"""Pieces kept for each check; the oldest goes."""


class Captures:
    """Pieces of the stream by the check that they were made for; any thread may add one."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[Upload, ...]] = {}

    def add(self, check: str, name: str, data: bytes) -> None:
        """Keep one more piece for a check."""
        with self._lock:
            kept = (*self._kept.get(check, ()), Upload(name, data))
            self._kept[check] = kept[-MOST:]

    def of(self, check: str) -> tuple[Upload, ...]:
        """Give the pieces of a check, the oldest first, names told apart."""
        with self._lock:
            kept = self._kept.get(check, ())
        names = numbered([one.name for one in kept])
        return tuple(Upload(name, one.data) for name, one in zip(names, kept, strict=True))

    def forget(self, check: str) -> None:
        """Drop the pieces of a check."""
        with self._lock:
            self._kept.pop(check, None)


@lru_cache(maxsize=8)
def captures(_home: Path) -> Captures:
    """Give those of a person's data folder: the same ones for all tabs."""
    return Captures()

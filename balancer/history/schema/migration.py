"""One numbered change of the schema."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

Step = str | Callable[[sqlite3.Connection], None]


@dataclass(frozen=True)
class Migration:
    """A change from one version of the schema to the next.

    Parameters
    ----------
    number : int
        The version that it leads to, from 1.
    name : str
        What it brings.
    steps : tuple of str or callable
        Single SQL statements, or functions of the connection that must not commit.
    """

    number: int
    name: str
    steps: tuple[Step, ...]

"""Version 2: lists of parts in natural order, and when each was last looked at or disturbed.

Without these a list must sort every label and look through every event.
"""

from __future__ import annotations

import re
import sqlite3

_DIGITS = re.compile(r"\d+")


def natural_key(label: str) -> str:
    """Give a text that sorts P2 before P10, whatever the case.

    Examples
    --------
    >>> sorted(["p10", "P2", "B1"], key=natural_key)
    ['B1', 'P2', 'p10']
    """
    return _DIGITS.sub(lambda found: found[0].rjust(12, "0"), label.casefold())


def _fill_keys(connection: sqlite3.Connection) -> None:
    keys = [(natural_key(label), part) for part, label in connection.execute("SELECT id, label FROM parts")]
    connection.executemany("UPDATE parts SET sort_key = ? WHERE id = ?", keys)


def _latest(part: str, kinds: str) -> str:
    return f"SELECT max(at) FROM events WHERE part = {part} AND removed_at IS NULL AND kind IN ({kinds})"


def _dates(part: str) -> str:
    looked = _latest(part, "'balanced', 'checked'")
    disturbed = _latest(part, "'crashed', 'repaired'")
    return f"UPDATE parts SET looked_at = ({looked}), disturbed_at = ({disturbed})"


STEPS = (
    "ALTER TABLE parts ADD COLUMN sort_key TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE parts ADD COLUMN looked_at TEXT",
    "ALTER TABLE parts ADD COLUMN disturbed_at TEXT",
    _fill_keys,
    _dates("parts.id"),
    # holds all that a list may ask for: rows that it leaves out are never looked up
    """
    CREATE INDEX parts_order
    ON parts(sort_key, id, kind, state, machine, looked_at, disturbed_at, removed_at)
    """,
    # triggers, so that no way of writing an event can forget the two dates
    f"""
    CREATE TRIGGER events_added AFTER INSERT ON events BEGIN
        {_dates("NEW.part")} WHERE id = NEW.part;
    END
    """,
    f"""
    CREATE TRIGGER events_changed AFTER UPDATE ON events BEGIN
        {_dates("NEW.part")} WHERE id = NEW.part;
    END
    """,
    f"""
    CREATE TRIGGER events_gone AFTER DELETE ON events BEGIN
        {_dates("OLD.part")} WHERE id = OLD.part;
    END
    """,
)

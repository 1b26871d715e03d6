"""Version 3: how a propeller is turned on its hub, and when each part was last moved.

A part that was moved since it was looked at is due, too. How those that are fitted already are turned is not
known.
"""

from __future__ import annotations


def _latest(kinds: str) -> str:
    return f"SELECT max(at) FROM events WHERE part = parts.id AND removed_at IS NULL AND kind IN ({kinds})"


_DATES = f"""
    UPDATE parts SET
        looked_at = ({_latest("'balanced', 'checked'")}),
        disturbed_at = ({_latest("'crashed', 'repaired'")}),
        moved_at = ({_latest("'moved'")})
    """

STEPS = (
    "ALTER TABLE parts ADD COLUMN turned_deg REAL CHECK (turned_deg IS NULL OR state = 'fitted')",
    "ALTER TABLE events ADD COLUMN turned_deg REAL CHECK (turned_deg IS NULL OR state = 'fitted')",
    "ALTER TABLE parts ADD COLUMN moved_at TEXT",
    "DROP TRIGGER events_added",
    "DROP TRIGGER events_changed",
    "DROP TRIGGER events_gone",
    _DATES,
    "DROP INDEX parts_order",
    """
    CREATE INDEX parts_order
    ON parts(sort_key, id, kind, state, machine, looked_at, disturbed_at, moved_at, removed_at)
    """,
    f"CREATE TRIGGER events_added AFTER INSERT ON events BEGIN {_DATES} WHERE id = NEW.part; END",
    f"""
    CREATE TRIGGER events_changed AFTER UPDATE ON events BEGIN
        {_DATES} WHERE id IN (OLD.part, NEW.part);
    END
    """,
    f"CREATE TRIGGER events_gone AFTER DELETE ON events BEGIN {_DATES} WHERE id = OLD.part; END",
)

"""The tables, a module per version. One that was ever given away is never changed: a new one follows."""

from __future__ import annotations

from balancer.history.schema import version_1, version_2, version_3
from balancer.history.schema.migration import Migration

MIGRATIONS: tuple[Migration, ...] = (
    Migration(1, "the tables", version_1.STEPS),
    Migration(2, "lists in natural order, and what is due", version_2.STEPS),
    Migration(3, "how a propeller is turned on its hub, and when a part was moved", version_3.STEPS),
)
"""In order; the last one's number is the version of the schema."""

"""What every record has: who it is, when it was last edited, whether it is marked as removed."""

from __future__ import annotations

import re
import unicodedata
import uuid
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Self

from balancer.errors import InputError

_DIGEST = re.compile(r"[0-9a-f]{64}")
_LONGEST_WORDS = 20_000
_STEP = timedelta(microseconds=1)


def new_id() -> str:
    """Make a name for a new record that no other store has given: a random UUID (RFC 9562, version 4)."""
    return str(uuid.uuid4())


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A record of the history.

    Parameters
    ----------
    id : str
        UUID; the same in every store that the record is taken to.
    edited : datetime
        When it was last edited, with its time zone; kept to the microsecond.
    removed : datetime or None
        When it was marked as removed; None for what counts.

    Raises
    ------
    InputError
        If the id is no UUID or a time has no time zone.
    """

    id: str
    edited: datetime
    removed: datetime | None = None

    def __post_init__(self) -> None:
        check_id("id", self.id)
        check_time("the time of the last edit", self.edited)
        if self.removed is not None:
            check_time("the time of removal", self.removed)

    def edited_at(self, now: datetime) -> Self:
        """Give the record as edited now, and always later than before, even if the clock was set back."""
        check_time("the time of the edit", now)
        return replace(self, edited=max(now.astimezone(UTC), self.edited.astimezone(UTC) + _STEP))


def check_id(what: str, value: str) -> None:
    """Refuse what is no UUID in its usual form."""
    try:
        sound = str(uuid.UUID(value)) == value
    except (ValueError, AttributeError, TypeError):
        sound = False
    if not sound:
        raise InputError(f"the {what} {value!r} is no UUID", todo="let the program make it")


def check_time(what: str, value: datetime) -> None:
    """Refuse a time without a time zone, or one that cannot be written as UTC."""
    if value.tzinfo is None or value.utcoffset() is None:
        raise InputError(f"{what} has no time zone", todo="give it as UTC or with its offset")
    if not 1 < value.year < 9999:
        raise InputError(f"{what} lies in the year {value.year}", todo="check the date")


def check_digest(what: str, value: str) -> None:
    """Refuse what is no SHA-256 in hexadecimal digits."""
    if not _DIGEST.fullmatch(value):
        raise InputError(f"the digest of the {what} must be 64 hexadecimal digits, not {value!r}")


def check_words(what: str, value: str) -> None:
    """Refuse words that no file could hold: control characters, halves of characters, a whole book."""
    if len(value) > _LONGEST_WORDS:
        raise InputError(f"{what} is longer than {_LONGEST_WORDS} characters", todo="make it shorter")
    for character in value:
        if unicodedata.category(character) in {"Cc", "Cs"} and character not in "\n\t":
            raise InputError(f"{what} holds the character {character!a}", todo="leave it out")


def check_name(what: str, value: str, longest: int) -> None:
    """Refuse a name that is empty, too long, of several lines, or begins or ends with a space."""
    check_words(what, value)
    if not value or value != value.strip() or "\n" in value or "\t" in value:
        raise InputError(f"{what} must be one line without spaces at its ends", todo="write it anew")
    if len(value) > longest:
        raise InputError(f'{what} "{value}" is longer than {longest} characters', todo="make it shorter")

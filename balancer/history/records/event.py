"""What happened to a part."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

from balancer.errors import InputError
from balancer.history.records.kept import Kept, check_id, check_time, check_words
from balancer.history.records.part import Location

EventKind = Literal["made", "balanced", "checked", "crashed", "repaired", "moved", "carried", "retired"]

LOOKED_AT: tuple[EventKind, ...] = ("balanced", "checked")
"""Events after which it is known how well a part is balanced."""

DISTURBED: tuple[EventKind, ...] = ("crashed", "repaired")
"""Events after which it is not known any more."""


@dataclass(frozen=True, kw_only=True)
class Event(Kept):
    """An event in the life of a part.

    Parameters
    ----------
    part : str
        Id of the part.
    kind : {"made", "balanced", "checked", "crashed", "repaired", "moved", "carried", "retired"}
        What happened; ``carried``: a bell, on which the part of `job` stood on the bench.
    at : datetime
        When, with its time zone.
    words : str
        What the person says about it.
    job : str or None
        Id of the job in which it was balanced or checked.
    where : Location or None
        Where the part has been from then on, if it was moved.
    """

    part: str
    kind: EventKind
    at: datetime
    words: str = ""
    job: str | None = None
    where: Location | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check_id("part", self.part)
        check_time("the time of the event", self.at)
        check_words("what is said of the event", self.words)
        if self.kind not in get_args(EventKind):
            raise InputError(
                f"{self.kind!r} is no kind of event", todo=f"choose one of {', '.join(get_args(EventKind))}"
            )
        if self.job is not None:
            check_id("job", self.job)

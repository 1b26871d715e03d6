"""What the clicks of the page of stands write into the history; knows no Streamlit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from balancer.app.services import MovedError
from balancer.app.typed import typed_kg
from balancer.errors import InputError
from balancer.history.records.kept import new_id
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.removal import remove, restore
from balancer.history.stands import add_stand, get_stand, update_stand
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS


@dataclass(frozen=True)
class Typed:
    """What a person types about a stand.

    Parameters
    ----------
    name, place, words : str
        As typed.
    moving_g : float or None
        All that shakes with the sensor, in g.
    """

    name: str
    place: str = ""
    moving_g: float | None = None
    words: str = ""

    def over(self, stand: StandRecord) -> StandRecord:
        """Give a stand with this in place of what was said of it; an `InputError` for what cannot be."""
        name = " ".join(self.name.split())
        if not name:
            raise InputError("a stand needs a name", todo="type one")
        moving = typed_kg(self.moving_g)
        renamed = stand.renamed(name)
        return replace(renamed, place=self.place.strip(), moving_mass=moving, words=self.words.strip())


def add(store: Store, typed: Typed, now: datetime) -> StandRecord:
    """Keep a new stand; an `InputError` if it has no name or one that is taken."""
    stand = typed.over(StandRecord(id=new_id(), edited=now, name="new"))
    add_stand(store, stand)
    return stand


def change(store: Store, seen: StandRecord, typed: Typed, now: datetime) -> None:
    """Keep what was changed of a stand; `OperationError` if it was changed elsewhere meanwhile."""
    update_stand(store, typed.over(seen), now)


def take_out(store: Store, record: CoefficientRecord, now: datetime) -> None:
    """Mark an influence coefficient as removed: it counts no more, and can be brought back."""
    kept = COEFFICIENTS.get(store, record.id)
    if kept.removed is not None:
        raise MovedError("this coefficient")
    remove(store, kept, now)


def bring_back(store: Store, id: str, now: datetime) -> None:
    """Let an influence coefficient count again."""
    kept = COEFFICIENTS.get(store, id)
    if kept.removed is None:
        raise MovedError("this coefficient")
    restore(store, kept, now)


def the_stand(store: Store, id: str) -> StandRecord | None:
    """Give a stand by its id; None if there is none, or it is marked as removed."""
    try:
        found = get_stand(store, id)
    except InputError:
        return None
    return None if found.removed is not None else found

"""Stands of the history, and their influence coefficients."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from balancer.errors import InputError
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS, STANDS
from balancer.procedure.coefficients import StoredCoefficient, average


def add_stand(store: Store, stand: StandRecord) -> None:
    """Keep a new stand; an `InputError` if its name is taken or its photo is not in the history."""
    with store.transaction():
        check_stand(store, stand)
        STANDS.insert(store, STANDS.row(STANDS.data(stand)))


def update_stand(store: Store, stand: StandRecord, now: datetime) -> StandRecord:
    """Keep what was changed of a stand.

    Parameters
    ----------
    store : Store
        The history.
    stand : StandRecord
        As it is to be, made from what was read.
    now : datetime
        With its time zone.

    Returns
    -------
    StandRecord
        As it is kept: edited now.

    Raises
    ------
    InputError
        As in `add_stand`.
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        check_stand(store, stand)
        return STANDS.revise(store, stand, now)


def check_stand(store: Store, stand: StandRecord) -> None:
    """Refuse a name that is taken and a photo that is not there."""
    if stand.photo and not store.files.holds(stand.photo):
        raise InputError(f"the photo of stand {stand.name} is not in the history", todo="add it first")
    same = "SELECT 1 FROM stands WHERE name = ? COLLATE NOCASE AND id <> ? AND removed_at IS NULL"
    if stand.removed is None and store.row(same, (stand.name, stand.id)):
        raise InputError(f'there is a stand "{stand.name}" already', todo="choose another name")


def get_stand(store: Store, id: str) -> StandRecord:
    """Give a stand by its id; an `InputError` if there is none."""
    return STANDS.get(store, id)


def find_stand(store: Store, name: str) -> StandRecord | None:
    """Give a stand by its name, in any case; None if there is none."""
    row = store.row("SELECT * FROM stands WHERE name = ? COLLATE NOCASE AND removed_at IS NULL", (name,))
    return None if row is None else STANDS.value(dict(row))


def list_stands(store: Store) -> tuple[StandRecord, ...]:
    """Give all stands by name."""
    rows = store.rows("SELECT * FROM stands WHERE removed_at IS NULL ORDER BY name COLLATE NOCASE")
    return tuple(STANDS.value(dict(row)) for row in rows)


def add_coefficient(store: Store, found: CoefficientRecord) -> None:
    """Keep an influence coefficient; an `InputError` if there is no such stand."""
    with store.transaction():
        STANDS.require(store, found.stand)
        COEFFICIENTS.insert(store, COEFFICIENTS.row(COEFFICIENTS.data(found)))


def coefficients_of(store: Store, stand: str, limit: int = 500) -> tuple[CoefficientRecord, ...]:
    """Give the influence coefficients of a stand, those kept last first.

    Parameters
    ----------
    store : Store
        The history.
    stand : str
        Id of the stand.
    limit : int
        How many at most.

    Returns
    -------
    tuple of CoefficientRecord
        Each under the name that the stand has now, for set-ups are compared by it.
    """
    name = STANDS.get(store, stand).name
    rows = store.rows(
        "SELECT * FROM coefficients WHERE stand = ? AND removed_at IS NULL "
        "ORDER BY edited_at DESC, id LIMIT ?",
        (stand, limit),
    )
    return tuple(_under(COEFFICIENTS.value(dict(row)), name) for row in rows)


def averages_of(store: Store, stand: str) -> tuple[StoredCoefficient, ...]:
    """Give the influence coefficients of a stand with those that belong together put together.

    Parameters
    ----------
    store : Store
        The history.
    stand : str
        Id of the stand.

    Returns
    -------
    tuple of StoredCoefficient
        One for each set-up and speed (within 1 %), with the number of jobs and their scatter, the one
        determined last first.
    """
    return tuple(average([one.coefficient for one in group]) for group in belonging(store, stand))


def belonging(store: Store, stand: str) -> list[list[CoefficientRecord]]:
    """Give the influence coefficients of a stand in groups of those that belong together, the last first."""
    groups: list[list[CoefficientRecord]] = []
    for found in coefficients_of(store, stand):
        for group in groups:
            try:
                average([one.coefficient for one in (*group, found)])
            except InputError:  # of another set-up or speed
                continue
            group.append(found)
            break
        else:
            groups.append([found])
    return groups


def _under(found: CoefficientRecord, name: str) -> CoefficientRecord:
    set_up = replace(found.coefficient.set_up, stand=name)
    return replace(found, coefficient=replace(found.coefficient, set_up=set_up))

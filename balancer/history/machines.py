"""Machines of the history."""

from __future__ import annotations

from datetime import datetime

from balancer.errors import InputError
from balancer.history.records.machine import Machine
from balancer.history.store import Store
from balancer.history.tables import MACHINES


def add_machine(store: Store, machine: Machine) -> None:
    """Keep a new machine; an `InputError` if its name is taken."""
    with store.transaction():
        check_machine(store, machine)
        MACHINES.insert(store, MACHINES.row(MACHINES.data(machine)))


def update_machine(store: Store, machine: Machine, now: datetime) -> Machine:
    """Keep what was changed of a machine.

    Parameters
    ----------
    store : Store
        The history.
    machine : Machine
        As it is to be, made from what was read.
    now : datetime
        With its time zone.

    Returns
    -------
    Machine
        As it is kept: edited now.

    Raises
    ------
    InputError
        If the name is taken, or parts are fitted to an arm that would be gone.
    OperationError
        If another program has changed it meanwhile.
    """
    with store.transaction():
        check_machine(store, machine)
        return MACHINES.revise(store, machine, now)


def check_machine(store: Store, machine: Machine) -> None:
    """Refuse a name that is taken, and the loss of arms with parts on them."""
    if machine.removed is not None:
        return
    same = "SELECT 1 FROM machines WHERE name = ? COLLATE NOCASE AND id <> ? AND removed_at IS NULL"
    if store.row(same, (machine.name, machine.id)):
        raise InputError(f'there is a machine "{machine.name}" already', todo="choose another name")
    arms = {arm.number for arm in machine.arms}
    for label, arm in parts_on(store, machine.id):
        if arm not in arms:
            raise InputError(
                f"part {label} is on arm {arm} of {machine.name}", todo="take it off before the arm goes"
            )


def parts_on(store: Store, machine: str) -> tuple[tuple[str, int], ...]:
    """Give label and arm of the parts that are fitted to a machine."""
    rows = store.rows(
        "SELECT label, arm FROM parts WHERE machine = ? AND state = 'fitted' AND removed_at IS NULL "
        "ORDER BY arm, kind",
        (machine,),
    )
    return tuple((row["label"], row["arm"]) for row in rows)


def get_machine(store: Store, id: str) -> Machine:
    """Give a machine by its id; an `InputError` if there is none."""
    return MACHINES.get(store, id)


def find_machine(store: Store, name: str) -> Machine | None:
    """Give a machine by its name, in any case; None if there is none."""
    row = store.row("SELECT * FROM machines WHERE name = ? COLLATE NOCASE AND removed_at IS NULL", (name,))
    return None if row is None else MACHINES.value(dict(row))


def list_machines(store: Store) -> tuple[Machine, ...]:
    """Give all machines by name."""
    rows = store.rows("SELECT * FROM machines WHERE removed_at IS NULL ORDER BY name COLLATE NOCASE")
    return tuple(MACHINES.value(dict(row)) for row in rows)

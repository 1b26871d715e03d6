"""Where the history is: the shared option, opening the store, and what is named in it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from balancer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from balancer.history.records.machine import Machine
    from balancer.history.records.part import PartRecord
    from balancer.history.store import Store

F = TypeVar("F", bound="Callable[..., Any]")

_META = "balancer.home"


def _inherited(context: click.Context, _: click.Parameter, value: str | None) -> str | None:
    """Let a group hand its folder down to its commands."""
    if value is not None:
        context.meta[_META] = value
    home: str | None = context.meta.get(_META)
    return home


home_option = click.option(
    "--home",
    type=click.Path(),
    metavar="DIR",
    callback=_inherited,
    help="Folder of the history, instead of the usual one.",
)


def open_store(home: str | None, *, new: bool = False) -> Store:
    """Open the history; with `new` one is begun where there is none.

    Raises
    ------
    InputError
        If there is none and none is to be begun: a folder that was mistyped does not become a history.
    """
    from balancer.history.store import DATABASE, Store, default_home

    folder = default_home() if home is None else Path(home)
    if not new and not (folder / DATABASE).is_file():
        raise InputError(
            "there is no history here yet",
            todo="begin one with balancer parts add, or balancer demo --home DIR for an example",
            file=folder,
        )
    return Store.open(folder)


def the_part(store: Store, label: str) -> PartRecord:
    """Give the part with a label, one in use first; an `InputError` if there is none."""
    from balancer.history.parts import find_any_part

    found = find_any_part(store, label)
    if found is None:
        raise InputError(f'there is no part "{label}" in the history', todo="look at balancer parts")
    return found


def the_machine(store: Store, name: str | None) -> Machine:
    """Give a machine by its name, or the only one there is; an `InputError` if that is not possible."""
    from balancer.history.machines import find_machine, list_machines

    if name is not None:
        found = find_machine(store, name)
        if found is None:
            raise InputError(f'there is no machine "{name}" in the history', todo="look at balancer machines")
        return found
    machines = list_machines(store)
    if len(machines) != 1:
        count = "no machine" if not machines else f"{len(machines)} machines"
        todo = "add it with balancer machines add" if not machines else "say which one"
        raise InputError(
            f"there is {count} in the history" if not machines else f"there are {count}", todo=todo
        )
    return machines[0]


def machine_name(store: Store, part: PartRecord) -> str:
    """Give the name of the machine that a part is fitted to; empty if none."""
    from balancer.history.machines import get_machine

    return "" if part.where.machine is None else get_machine(store, part.where.machine).name


def moment(said: datetime | None) -> datetime:
    """Give a time with its zone: the one that was said, in the zone of this computer, or now."""
    return datetime.now(UTC) if said is None else said.astimezone()


def day_option(what: str) -> Callable[[F], F]:
    """Give an option for a day or a moment in the past."""
    return click.option(
        "--day",
        "when",
        type=click.DateTime(["%Y-%m-%d", "%Y-%m-%dT%H:%M"]),
        metavar="DAY",
        help=f"{what}, such as 2026-05-31 or 2026-05-31T14:30; now if left out.",
    )

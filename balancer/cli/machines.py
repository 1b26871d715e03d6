"""Commands for machines: the list with what is on each arm, adding one, changing it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from balancer.cli.base import commands, json_option, print_json, print_lines
from balancer.cli.home import home_option, moment, open_store, the_machine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from balancer.history.records.machine import Arm, Machine
    from balancer.history.store import Store


@commands.group(invoke_without_command=True)
@home_option
@json_option
@click.pass_context
def machines(context: click.Context, home: str | None, as_json: bool) -> None:
    """List the machines with what is on each arm."""
    if context.invoked_subcommand is not None:
        if as_json:
            raise click.UsageError(f"give --json after {context.invoked_subcommand}")
        return
    from balancer.history.machines import list_machines

    with open_store(home) as store:
        _show(store, list_machines(store), as_json)


@machines.command()
@click.argument("name")
@click.option("--arms", type=click.IntRange(1, 99), required=True, help="How many, numbered from 1.")
@click.option(
    "--hands",
    metavar="HAND,HAND...",
    help="How each arm's propeller turns from the front, such as ccw,cw,ccw,cw; by turns if left out.",
)
@click.option("--words", default="", help="What else there is to say.")
@home_option
@json_option
def add(name: str, arms: int, hands: str | None, words: str, home: str | None, as_json: bool) -> None:
    """Add a machine with its arms."""
    from balancer.history.machines import add_machine
    from balancer.history.records.kept import new_id
    from balancer.history.records.machine import Machine

    made = Machine(id=new_id(), edited=moment(None), name=name, arms=_arms(arms, hands), words=words)
    with open_store(home, new=True) as store:
        add_machine(store, made)
        _show(store, (made,), as_json)


@machines.command()
@click.argument("name")
@click.option("--name", "new_name", help="Another name.")
@click.option("--arms", type=click.IntRange(1, 99), help="How many, numbered from 1.")
@click.option("--hands", metavar="HAND,HAND...", help="How each arm's propeller turns from the front.")
@click.option("--words", help="What else there is to say.")
@home_option
@json_option
def change(
    name: str,
    new_name: str | None,
    arms: int | None,
    hands: str | None,
    words: str | None,
    home: str | None,
    as_json: bool,
) -> None:
    """Change what is said of a machine; what is not named stays as it is."""
    from balancer.history.machines import update_machine

    with open_store(home) as store, store.transaction():
        old = the_machine(store, name)
        new = replace(
            old,
            name=new_name or old.name,
            arms=_arms(arms or len(old.arms), hands) if arms or hands else old.arms,
            words=old.words if words is None else words,
        )
        changed = update_machine(store, new, moment(None)) if new != old else old
        _show(store, (changed,), as_json)


def _arms(count: int, hands: str | None) -> tuple[Arm, ...]:
    from balancer.history.records.machine import Arm

    said = [hand.strip() for hand in hands.split(",")] if hands else ["ccw", "cw"] * count
    if hands and len(said) != count:
        raise click.UsageError(f"--hands names {len(said)} arms, but there are {count}")
    if any(hand not in {"ccw", "cw"} for hand in said):
        raise click.UsageError("--hands takes ccw and cw only, separated by commas")
    return tuple(Arm(number, "ccw" if hand == "ccw" else "cw") for number, hand in enumerate(said[:count], 1))


def _show(store: Store, machines: Sequence[Machine], as_json: bool) -> None:
    from balancer.contract.history import machines_json
    from balancer.history.machines import parts_on
    from balancer.wording.history import machines_lines

    fitted = {machine.id: parts_on(store, machine.id) for machine in machines}
    if as_json:
        print_json(machines_json(machines, fitted))
        return
    print_lines(machines_lines(machines, fitted))

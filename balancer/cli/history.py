"""Commands for the upkeep of the history: is it sound, compute again, backups, archives, removal, stands."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import ABOVE_0, commands, json_option, print_json, print_lines, progress
from balancer.cli.home import home_option, moment, open_store, the_part

if TYPE_CHECKING:
    from collections.abc import Sequence

    from balancer.history.recompute import Recomputed
    from balancer.procedure.coefficients import StoredCoefficient
    from balancer.procedure.trust import Trust

_WHAT = click.argument("what", type=click.Choice(["part", "machine", "stand", "job"]))
_NUMBER = click.option(
    "--number", type=click.IntRange(1), default=1, help="Of a part's jobs, the earliest is 1."
)


@commands.group()
def history() -> None:
    """Look after the history: is it sound, backups, archives, removal, stands."""


@history.command()
@click.option("--quick", is_flag=True, help="Do not read every file.")
@home_option
@json_option
@click.pass_context
def check(context: click.Context, quick: bool, home: str | None, as_json: bool) -> None:
    """Tell whether the history is sound; exit status 1 if something is lost or damaged."""
    from balancer.contract.history import health_json
    from balancer.history.check import check as check_store
    from balancer.wording.upkeep import health_lines

    with open_store(home) as store:
        health = check_store(store, contents=not quick)
    if as_json:
        print_json(health_json(health))
    else:
        print_lines([f"{store.home}:", *health_lines(health)])
    context.exit(0 if health.sound else 1)


@history.command()
@click.option("--part", "label", help="Only the recordings of this part.")
@home_option
@json_option
def recompute(label: str | None, home: str | None, as_json: bool) -> None:
    """Measure the stored recordings again and show what comes out otherwise; what is kept stays."""
    from balancer.contract.history import recomputed_json
    from balancer.history.parts import get_part
    from balancer.history.recompute import recompute as again
    from balancer.history.runs import runs_of_part
    from balancer.wording.upkeep import recomputed_lines

    with open_store(home) as store:
        ids = None
        if label is not None:
            ids = [run.id for run in runs_of_part(store, the_part(store, label).id, limit=1_000_000)]
        found: list[Recomputed] = []
        for one in again(store, ids):
            progress(f"{len(found) + 1} measured again")
            found.append(one)
        labels = {id: get_part(store, id).label for id in {one.run.part for one in found}}
    if as_json:
        print_json(recomputed_json(found, labels))
        return
    print_lines(recomputed_lines(found, labels))


@history.command()
@click.argument("folder", type=click.Path())
@home_option
@json_option
def backup(folder: str, home: str | None, as_json: bool) -> None:
    """Copy the history to a new folder, while other programs may go on writing."""
    from balancer.contract.history import backed_up_json
    from balancer.history.store import backup as copy_store
    from balancer.wording.upkeep import backed_up_lines

    with open_store(home) as store:
        done = copy_store(store, folder)
    if as_json:
        print_json(backed_up_json(done))
        return
    print_lines(backed_up_lines(done))


@history.command("export")
@click.argument("file", metavar="FILE.zip", type=click.Path())
@home_option
@json_option
def export_(file: str, home: str | None, as_json: bool) -> None:
    """Write the whole history to one zip of open formats."""
    from balancer.contract.history import exported_json
    from balancer.history.archive import export_store
    from balancer.wording.upkeep import exported_lines

    with open_store(home) as store:
        done = export_store(store, file, moment(None))
    if as_json:
        print_json(exported_json(done))
        return
    print_lines(exported_lines(done))


@history.command("import")
@click.argument("file", metavar="FILE.zip", type=click.Path())
@home_option
@json_option
def import_(file: str, home: str | None, as_json: bool) -> None:
    """Join an exported history with this one: nothing is doubled, nothing measured is replaced."""
    from balancer.contract.history import imported_json
    from balancer.history.archive import import_store
    from balancer.wording.upkeep import imported_lines

    with open_store(home, new=True) as store:
        done = import_store(store, file)
    if as_json:
        print_json(imported_json(done))
        return
    print_lines(imported_lines(done))


@history.command()
@_WHAT
@click.argument("name")
@_NUMBER
@home_option
def remove(what: Any, name: str, number: int, home: str | None) -> None:
    """Mark a part, machine, stand or job as removed; it can be restored until it is purged.

    NAME is the label of a part, also for one of its jobs. A part goes with its jobs, runs and events.
    """
    from balancer.history.removal import named_record
    from balancer.history.removal import remove as mark

    with open_store(home) as store, store.transaction():
        mark(store, named_record(store, what, name, removed=False, number=number), moment(None))
    again = f"balancer history restore {what} {shlex.quote(name)}"
    again += f" --number {number}" if what == "job" else ""
    print_lines([f"{what} {name} is marked as removed; {again} brings it back."])


@history.command()
@_WHAT
@click.argument("name")
@_NUMBER
@home_option
def restore(what: Any, name: str, number: int, home: str | None) -> None:
    """Bring back what was marked as removed."""
    from balancer.history.removal import named_record
    from balancer.history.removal import restore as unmark

    with open_store(home) as store, store.transaction():
        unmark(store, named_record(store, what, name, removed=True, number=number), moment(None))
    print_lines([f"{what} {name} is back."])


@history.command()
@home_option
@json_option
def marked(home: str | None, as_json: bool) -> None:
    """Show what is marked as removed and what a purge would delete."""
    from balancer.contract.history import marked_json
    from balancer.history.removal import marked as would_go
    from balancer.history.removal import marked_names
    from balancer.wording.upkeep import marked_lines, names_lines

    with open_store(home) as store:
        found, names = would_go(store), marked_names(store)
    if as_json:
        named = [{"what": what, "name": name} for what, name in names]
        print_json({**marked_json(found, gone=False), "names": named})
        return
    print_lines([*marked_lines(found), *names_lines(names)])


@history.command()
@click.option("--yes", is_flag=True, help="Do not ask.")
@home_option
@json_option
def purge(yes: bool, home: str | None, as_json: bool) -> None:
    """Delete for good what is marked as removed, after showing it and asking."""
    from balancer.contract.history import marked_json
    from balancer.history.removal import marked as would_go
    from balancer.history.removal import marked_names
    from balancer.history.removal import purge as delete
    from balancer.wording.upkeep import marked_lines, names_lines

    if as_json and not yes:
        raise click.UsageError("--json does not ask, so it needs --yes")
    with open_store(home) as store:
        found = would_go(store)
        if not as_json:
            print_lines([*marked_lines(found), *names_lines(marked_names(store))])
        if not found.total and not as_json:
            return
        if not yes and not click.confirm("Delete this for good? There is no way back but a backup"):
            print_lines(["Nothing was deleted."])
            return
        gone = delete(store)
    if as_json:
        print_json(marked_json(gone, gone=True))
        return
    print_lines(marked_lines(gone, gone=True))


@history.group(invoke_without_command=True)
@home_option
@json_option
@click.pass_context
def stands(context: click.Context, home: str | None, as_json: bool) -> None:
    """List the stands with their influence coefficients, and how far each is to be trusted today."""
    from balancer.contract.history import stands_json
    from balancer.history.stands import averages_of, list_stands
    from balancer.wording.upkeep import stands_lines

    if context.invoked_subcommand is not None:
        if as_json:
            raise click.UsageError("give --json to the list alone")
        return
    with open_store(home) as store:
        found = [(stand, _judged(averages_of(store, stand.id))) for stand in list_stands(store)]
    if as_json:
        print_json(stands_json(found))
        return
    print_lines(stands_lines(found))


def _judged(stored: Sequence[StoredCoefficient]) -> list[tuple[StoredCoefficient, Trust]]:
    """Judge each coefficient for a job today with its own set-up and speed."""
    from balancer.procedure.trust import trust

    today = moment(None).date()
    return [(one, trust(one, one.set_up, one.speed, today, with_phase=one.has_phase)) for one in stored]


@stands.command("add")
@click.argument("name")
@click.option("--moving-g", type=ABOVE_0, help="All that shakes with the sensor, weighed.")
@click.option("--sensor-place", default="", help="Where the sensor sits.")
@click.option("--words", default="", help="What else there is to say.")
@click.option("--photo", type=click.Path(), help="A picture of it, kept in the history.")
@home_option
def add_stand_(
    name: str, moving_g: float | None, sensor_place: str, words: str, photo: str | None, home: str | None
) -> None:
    """Add a stand: the bench fixture together with its sensor."""
    from balancer.history.records.kept import new_id
    from balancer.history.records.stand import StandRecord
    from balancer.history.stands import add_stand
    from balancer.recording.files import read_file
    from balancer.units import kg_from_g
    from balancer.wording.upkeep import stands_lines

    with open_store(home, new=True) as store:
        stand = StandRecord(
            id=new_id(),
            edited=moment(None),
            name=name,
            place=sensor_place,
            moving_mass=None if moving_g is None else kg_from_g(moving_g),
            words=words,
            photo="" if photo is None else store.files.keep(read_file(photo)),
        )
        add_stand(store, stand)
    print_lines(stands_lines([(stand, ())]))


@stands.command()
@click.argument("name")
@click.argument("job", type=click.Path(), metavar="JOB.json")
@home_option
def take(name: str, job: str, home: str | None) -> None:
    """Take over the influence coefficient that a job found, without keeping the job itself."""
    from dataclasses import replace

    from balancer.errors import InputError
    from balancer.history.records.kept import new_id
    from balancer.history.records.stand import CoefficientRecord
    from balancer.history.stands import add_coefficient, find_stand
    from balancer.procedure.job_coefficients import found_coefficient
    from balancer.procedure.job_file import read_job
    from balancer.wording.coefficients import coefficient_lines

    now = moment(None)
    with open_store(home) as store:
        stand = find_stand(store, name)
        if stand is None:
            raise InputError(f'there is no stand "{name}"', todo="add it with balancer history stands add")
        try:
            found = found_coefficient(read_job(job), now.date())
        except InputError as error:
            raise error.at(job) from None
        found = replace(found, set_up=replace(found.set_up, stand=stand.name))
        add_coefficient(store, CoefficientRecord(id=new_id(), edited=now, stand=stand.id, coefficient=found))
    print_lines(coefficient_lines(found))

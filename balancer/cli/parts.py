"""Commands for parts and machines: lists, a part's page, adding and changing, what happened to it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import ABOVE_0, angles_option, commands, json_option, print_json, print_lines
from balancer.cli.home import (
    day_option,
    home_option,
    machine_name,
    moment,
    open_store,
    the_machine,
    the_part,
)
from balancer.cli.places import part_options, places_of

if TYPE_CHECKING:
    from balancer.core.places import Places
    from balancer.history.records.part import BellSizes, Location, PartRecord, PropellerSizes
    from balancer.history.store import Store

KINDS = ("propeller", "bell", "adapter")
_LABEL = click.argument("label")


@commands.group(invoke_without_command=True)
@click.option("--kind", type=click.Choice(KINDS), help="Only these.")
@click.option("--machine", help="Only those on this machine.")
@click.option("--state", type=click.Choice(["fitted", "spare", "retired"]), help="Only these.")
@click.option(
    "--due",
    type=click.IntRange(1, 120),
    metavar="MONTHS",
    help="Only what is due: checked so long ago, or not since it crashed, was repaired or moved.",
)
@click.option("--limit", type=click.IntRange(1), default=200, show_default=True, help="Most to list.")
@home_option
@json_option
@click.pass_context
def parts(
    context: click.Context,
    kind: Any,
    machine: str | None,
    state: Any,
    due: int | None,
    limit: int,
    home: str | None,
    as_json: bool,
) -> None:
    """List the parts of the history: where each is, when it was last checked, what is due.

    What is due: parts never balanced or checked, those that crashed, were repaired or moved since, and those
    checked last so many months ago or more (6 if --due does not say otherwise).
    """
    from balancer.contract.history import parts_json
    from balancer.core.due import USUAL_MONTHS
    from balancer.history.queries import PartFilter, count_parts, list_parts, months_before
    from balancer.wording.history import parts_lines

    if context.invoked_subcommand is not None:
        if kind or machine or state or due or as_json:
            raise click.UsageError(
                f"these options belong after {context.invoked_subcommand}, or to the list alone"
            )
        return
    with open_store(home) as store:
        before = months_before(moment(None), due or USUAL_MONTHS)
        only = PartFilter(
            kind=kind,
            state=state,
            machine=None if machine is None else the_machine(store, machine).id,
            due_before=None if due is None else before,
        )
        found, total = list_parts(store, only, limit), count_parts(store, only)
    if as_json:
        print_json(parts_json(found, before, total))
        return
    print_lines(parts_lines(found, before, total))


_FACTS = (
    click.option("--mass-g", type=ABOVE_0, help="Of the part alone, weighed."),
    click.option("--diameter-mm", type=ABOVE_0, help="Of a propeller."),
    click.option("--diameter-in", type=ABOVE_0, help="The same in inches."),
    click.option("--pitch-mm", type=ABOVE_0, help="Of a propeller."),
    click.option("--pitch-in", type=ABOVE_0, help="The same in inches."),
    click.option("--hand", type=click.Choice(["ccw", "cw"]), help="A propeller turns so, from the front."),
    click.option("--material", help="Of a propeller."),
    click.option("--motor", help="Size of a bell's motor, as its maker says."),
    click.option("--rim-mm", type=ABOVE_0, help="Radius of a bell's rim."),
    click.option("--magnets", type=click.IntRange(2, 200), help="Of a bell."),
    click.option("--grade", type=ABOVE_0, help="Balance quality grade asked for; 6.3 if left out."),
    click.option("--words", help="What else there is to say."),
    click.option("--photo", type=click.Path(), help="A picture of it, kept in the history."),
    part_options,
)


def _facts(command: Any) -> Any:
    for option in reversed(_FACTS):
        command = option(command)
    return command


@parts.command()
@_LABEL
@click.option("--kind", type=click.Choice(KINDS), required=True)
@_facts
@click.option("--machine", help="That it is fitted to; the only one if left out.")
@click.option("--arm", type=click.IntRange(1, 99), help="That it is fitted to; a spare if left out.")
@home_option
@json_option
def add(
    label: str, kind: Any, machine: str | None, arm: int | None, home: str | None, as_json: bool, **said: Any
) -> None:
    """Add a part. LABEL is what you write on its tape, up to 12 characters.

    A propeller needs --hand, --blades and a diameter. Where masses may go (--blade-mm, --ring-mm, --screws)
    can be said later; a job needs it.
    """
    from balancer.history.parts import add_part
    from balancer.history.records.kept import new_id
    from balancer.history.records.part import SPARE, PartRecord

    now = moment(None)
    with open_store(home, new=True) as store:
        part = PartRecord(
            id=new_id(),
            edited=now,
            label=label,
            kind=kind,
            sizes=_sizes(kind, said, None),
            places=_places(kind, said),
            where=SPARE if arm is None and machine is None else _fitted(store, machine, arm),
            **_common(store, said),
        )
        add_part(store, part)
        _show(store, part, as_json, "added")


@parts.command()
@_LABEL
@click.option("--label", "new_label", help="Another label.")
@_facts
@click.option("--bare", is_flag=True, help="All tape and other pieces were taken off it.")
@home_option
@json_option
def change(
    label: str, new_label: str | None, bare: bool, home: str | None, as_json: bool, **said: Any
) -> None:
    """Change what is said of a part; what is not named stays as it is."""
    from balancer.history.parts import take_all_off, update_part

    now = moment(None)
    with open_store(home) as store, store.transaction():
        part = the_part(store, label)
        part = take_all_off(store, part, now) if bare else part
        changed = replace(
            part,
            label=new_label or part.label,
            sizes=_sizes(part.kind, said, part.sizes),
            places=_places(part.kind, _with_blades(said, part)) or part.places,
            **_common(store, said),
        )
        changed = update_part(store, changed, now) if changed != part else part
        _show(store, changed, as_json, "changed")


def _with_blades(said: dict[str, Any], part: PartRecord) -> dict[str, Any]:
    """Let new places have the blades that the propeller is known to have."""
    from balancer.history.records.part import PropellerSizes

    known = part.sizes.blades if isinstance(part.sizes, PropellerSizes) else None
    return said if said["blades"] else {**said, "blades": known}


def _common(store: Store, said: dict[str, Any]) -> dict[str, Any]:
    """Give what every part can have, as far as it was said."""
    from balancer.recording.files import read_file
    from balancer.units import kg_from_g

    given: dict[str, Any] = {}
    if said["mass_g"] is not None:
        given["mass"] = kg_from_g(said["mass_g"])
    if said["grade"] is not None:
        given["grade"] = said["grade"] * 1e-3
    if said["words"] is not None:
        given["words"] = said["words"]
    if said["photo"] is not None:
        given["photo"] = store.files.keep(read_file(said["photo"]))
    return given


def _length(said: dict[str, Any], what: str) -> float | None:
    millimetres, inches = said[f"{what}_mm"], said[f"{what}_in"]
    if millimetres is not None and inches is not None:
        raise click.UsageError(f"--{what}-mm and --{what}-in say the same: give one of them")
    if millimetres is None and inches is None:
        return None
    from balancer.units import m_from_mm, mm_from_in

    return m_from_mm(millimetres if inches is None else mm_from_in(inches))


def _sizes(kind: str, said: dict[str, Any], old: Any) -> PropellerSizes | BellSizes | None:
    """Give the sizes: those said, over those known before."""
    from balancer.history.records.part import BellSizes, PropellerSizes
    from balancer.units import m_from_mm

    if kind == "propeller":
        new = {
            "diameter": _length(said, "diameter"),
            "blades": said["blades"],
            "hand": said["hand"],
            "pitch": _length(said, "pitch"),
            "material": said["material"],
        }
        given = {name: value for name, value in new.items() if value is not None}
        missing = [name for name in ("diameter", "blades", "hand") if old is None and name not in given]
        if missing:
            raise click.UsageError(f"a propeller needs its {', '.join(missing)}")
        return PropellerSizes(**given) if old is None else replace(old, **given)
    if kind == "bell":
        radius = None if said["rim_mm"] is None else m_from_mm(said["rim_mm"])
        new = {"radius": radius, "motor": said["motor"], "magnets": said["magnets"]}
        given = {name: value for name, value in new.items() if value is not None}
        return BellSizes(**given) if old is None else replace(old, **given)
    return None


def _places(kind: str, said: dict[str, Any]) -> Places | None:
    """Give where masses may go, None if nothing was said of it; a propeller's ring is its own hub."""
    named = [said[option] for option in ("blade_mm", "ring_mm", "screws")]
    if all(option is None for option in named):
        return None
    if kind != "propeller" and said["blades"]:
        raise click.UsageError(f"a {kind} has no blades")
    places = places_of(said)
    name = "hub" if kind == "propeller" else "rim"
    return replace(places, rings=tuple(replace(ring, name=name) for ring in places.rings))


def _fitted(store: Store, machine: str | None, arm: int | None, turned_deg: float | None = None) -> Location:
    from math import radians

    from balancer.history.records.part import Location

    if arm is None:
        raise click.UsageError("say on which arm, with --arm")
    turned = None if turned_deg is None else radians(turned_deg % 360)
    return Location("fitted", the_machine(store, machine).id, arm, turned)


def _show(store: Store, part: PartRecord, as_json: bool, done: str) -> None:
    from balancer.contract.history import part_json
    from balancer.wording.history import part_lines

    machine = machine_name(store, part)
    if as_json:
        print_json({"part": part_json(part, machine)})
        return
    first, *others = part_lines(part, machine, "against")
    print_lines([f"{done}: {first}", *others])


@parts.command()
@_LABEL
@angles_option
@home_option
@json_option
def show(label: str, angles: Any, home: str | None, as_json: bool) -> None:
    """Show a part's page: facts, what is due, its jobs like with like, what changed, what happened."""
    from balancer.contract.history import story_json
    from balancer.history.parts import get_part
    from balancer.history.story import story_of
    from balancer.wording.history import story_page

    with open_store(home) as store:
        part = the_part(store, label)
        story = story_of(store, part.id, moment(None).astimezone().date())
        bells = {one.bell: get_part(store, one.bell).label for one in story.determinations if one.bell}
        machine = machine_name(store, part)
    if as_json:
        print_json(story_json(story, machine, bells))
        return
    print_lines(story_page(story, machine, bells, angles))


@parts.command()
@_LABEL
@click.option("--machine", help="That it goes to; the only one if left out.")
@click.option("--arm", type=click.IntRange(1, 99), help="That it goes to.")
@click.option(
    "--turned-deg",
    type=float,
    help="Of a propeller on an arm: its mark from that of the bell, against the rotation; not known if left "
    "out.",
)
@click.option("--spare", is_flag=True, help="It goes into the box.")
@click.option("--retired", is_flag=True, help="It is no longer used.")
@click.option("--words", default="", help="What there is to say about it.")
@day_option("When")
@home_option
@json_option
def move(
    label: str,
    machine: str | None,
    arm: int | None,
    turned_deg: float | None,
    spare: bool,
    retired: bool,
    words: str,
    when: Any,
    home: str | None,
    as_json: bool,
) -> None:
    """Say where a part is now: on an arm (and how a propeller is turned there), in the box, or retired."""
    from balancer.history.parts import move_part
    from balancer.history.records.part import RETIRED, SPARE

    fitted = machine is not None or arm is not None
    if fitted + spare + retired != 1:
        raise click.UsageError("say one of: --arm (and --machine), --spare, --retired")
    if turned_deg is not None and not fitted:
        raise click.UsageError("--turned-deg belongs to --arm")
    with open_store(home) as store:
        where = _fitted(store, machine, arm, turned_deg) if fitted else SPARE if spare else RETIRED
        part = move_part(
            store,
            the_part(store, label),
            where,
            moment(None),
            words,
            at=None if when is None else moment(when),
        )
        _show(store, part, as_json, "moved")


@parts.command()
@_LABEL
@click.argument("kind", type=click.Choice(["balanced", "checked", "crashed", "repaired", "made"]))
@click.option("--words", default="", help="What there is to say about it.")
@day_option("When")
@home_option
@json_option
def event(label: str, kind: Any, words: str, when: Any, home: str | None, as_json: bool) -> None:
    """Say what happened to a part.

    After a crash or a repair it is due for a check. A job that is kept with `balancer job save` says by
    itself that it was balanced or checked.
    """
    from balancer.history.events import note_event
    from balancer.history.story import story_of
    from balancer.wording.history import due_lines

    now = moment(None)
    at = now if when is None else moment(when)
    with open_store(home) as store:
        part = the_part(store, label)
        note_event(store, part.id, kind, at, now, words)
        story = story_of(store, part.id, now.astimezone().date())
    if as_json:
        print_json({"part": part.label, "event": kind, "due": story.due.now})
        return
    print_lines([f"{part.label}: {kind}.", *due_lines(story)])

"""Words for which propeller goes on which motor: a table, what to swap, the cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.units import gmm_from_kgm
from balancer.wording.basics import Direction, angle_text, finding_line, significant

if TYPE_CHECKING:  # what is matched need not be loaded for words about it
    from balancer.core.matching import Match, Pairing

UNSCREWING_CAUTION = (
    "Before you unscrew anything: disarm, unplug the battery, let the motors cool. Fit no blade that is "
    "cracked, nicked or repaired. Check the hand of every propeller and that its printed side faces forward, "
    "and tighten it as its maker says. Before it turns again: eyes protected, nobody in the plane of the "
    "propellers, the cut-off within reach; bring the speed up slowly."
)

MARKS_NOTE = (
    "The angles count from the mark on the bell to the mark on the propeller, and hold only while both marks "
    "are where they were when the parts were indexed."
)

_UNITS = MappingProxyType(
    {"force": ("N in hover", 1.0), "unbalance": ("g mm", 1e6), "grade": ("mm/s of grade", 1e3)}
)
_HEAD = ("motor", "propeller", "its mark at", "left, g mm", "grade", "what to do")


def match_lines(matches: Sequence[Match], chosen: Match, direction: Direction = "against") -> list[str]:
    """Say what to do and what it brings, with the other choices below.

    Parameters
    ----------
    matches : sequence of Match
        From `core.matching.match`.
    chosen : Match
        The one to show in full, such as that of `core.matching.choose`.
    direction : {"against", "with"}, optional
        How the person counts angles.

    Returns
    -------
    list of str
        A table, findings, spares, the choices by number of motors touched, and the cautions if there is
        anything to unscrew.
    """
    before = matches[0] if matches[0].gain is not None and matches[0].moves == 0 else None
    lines = [_opening(chosen), *table(chosen, before, direction)]
    lines += [finding_line(finding) for finding in chosen.findings]
    lines += _spares(chosen, direction)
    if len(matches) > 1:
        lines += ["By number of motors touched:", *(f"  {_choice(one, one is chosen)}" for one in matches)]
    return [*lines, MARKS_NOTE, UNSCREWING_CAUTION] if chosen.moves else lines


def table(match: Match, before: Match | None = None, direction: Direction = "against") -> list[str]:
    """Give the arrangement as a table for people, one motor a line.

    Parameters
    ----------
    match : Match
        The arrangement.
    before : Match, optional
        What is fitted now, so that the table can say where each propeller comes from.
    direction : {"against", "with"}, optional
        How the person counts angles.

    Returns
    -------
    list of str
        Aligned lines, the head first.
    """
    places = {} if before is None else {one.propeller.name: one.motor.name for one in before.pairings}
    rows = [_HEAD, *(_row(pairing, places, direction) for pairing in match.pairings)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]


def _row(pairing: Pairing, places: Mapping[str, str], direction: Direction) -> tuple[str, ...]:
    left = pairing.left
    return (
        pairing.motor.name,
        pairing.propeller.name,
        angle_text(pairing.angle, direction),
        f"{significant(gmm_from_kgm(left.amplitude))} ± {significant(gmm_from_kgm(left.sd_amplitude), 2)}",
        f"G{1e3 * pairing.grade:.1f}",
        _move(pairing, places, direction) + _tape(pairing),
    )


def _move(pairing: Pairing, places: Mapping[str, str], direction: Direction) -> str:
    if pairing.move == "stays":
        return "leave it"
    if pairing.move == "turn":
        return f"turn it on the hub to {angle_text(pairing.angle, direction)}"
    name = pairing.propeller.name
    if not places:
        return f"fit {name}"
    return f"fit {name} from {places.get(name, 'the spares')}"


def _tape(pairing: Pairing) -> str:
    if pairing.placement is None or not pairing.placement.pieces:
        return ""
    count = len(pairing.placement.pieces)
    return f", then {count} piece{'s' if count > 1 else ''} of its correction"


def _opening(match: Match) -> str:
    if match.moves == 0:
        return "Leave every propeller where it is:"
    motors = len(match.pairings)
    of_all = f"all {motors} motors" if match.moves == motors else f"{match.moves} of {motors} motors"
    return f"Touch {of_all}:"


def _choice(match: Match, chosen: bool) -> str:
    unit, factor = _UNITS[match.measure]
    text = (
        f"{match.moves}: worst {significant(factor * match.worst)}, all together "
        f"{significant(factor * match.total)} {unit}"
    )
    return f"{text} (shown above)" if chosen else text


def _spares(match: Match, direction: Direction) -> list[str]:
    if not match.spares:
        return []
    words = [
        f"{one.propeller.name} (best on {one.motor.name} at {angle_text(one.angle, direction)}: "
        f"{significant(gmm_from_kgm(one.left.amplitude))} g mm)"
        for one in match.spares
    ]
    return [f"Spares: {', '.join(words)}."]

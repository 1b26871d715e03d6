"""What the page of matching says, as values: the verdict, a card for each arm, pictures, files to keep."""

from __future__ import annotations

import json
from dataclasses import dataclass
from types import MappingProxyType

from balancer.app.matching.service import Answer, arm_number
from balancer.app.plain import Download, degrees, in_page_words, with_signs
from balancer.contract.history import match_json
from balancer.core.matching import Match, Pairing
from balancer.figures import standalone
from balancer.figures.dial import HAND_WORDS
from balancer.figures.machine import MOST_ARMS, ArmView, machine_picture
from balancer.history.own import Own
from balancer.history.records.part import PropellerSizes
from balancer.units import degrees_0_360, gmm_from_kgm, rpm_from_rad_s
from balancer.wording import Direction, capital, finding_text, piece_text, significant
from balancer.wording.history import day, source_lines
from balancer.wording.matching import match_lines

PICTURE_NOTE = (
    "Seen from above, where the air comes from. The arms are set evenly round by their numbers: go by the "
    "number, not by the place. Triangle: mark of the bell; dot: mark of the propeller."
)

TAPE_NOTE = (
    "Fit and turn the propellers first, note it here, then put the tape on as a job on the stand, which "
    "measures what it really takes away. Angles of tape count from the mark on the propeller."
)

_UNITS = MappingProxyType({"force": ("N", 1.0), "unbalance": ("g mm", 1e6), "grade": ("mm/s of grade", 1e3)})
_MOVES = ("fit", "turn")
_NOTHING = 0.5  # percent
_NO_GAIN = "What it gains cannot be said, since not every arm carries a propeller that is known."


@dataclass(frozen=True)
class Card:
    """One arm: what is on it, what is to be done, what is on it then.

    Parameters
    ----------
    title : str
        Arm and how it turns.
    todo : str
        What hands do there, or that it stays.
    now, then : str
        Propeller, mark and what the pair leaves.
    tape : tuple of str
        Pieces to put on afterwards.
    touched : bool
        Whether there is anything to do.
    """

    title: str
    todo: str
    now: str
    then: str
    tape: tuple[str, ...] = ()
    touched: bool = False


def verdict(told: Answer, shown: Match) -> str:
    """Answer in a line whether it is worth it to lay hands on the machine."""
    deeds = _deeds(told, shown)
    if shown.moves == 0 or shown.gain is None:
        return deeds
    return f"{'Worth it' if shown.gain.sure else 'Not sure to be worth it'}: {deeds[:1].lower()}{deeds[1:]}"


def reasons(shown: Match, grade_mm_s: float | None = None) -> str:
    """Say what an arrangement gains and how sure that is.

    Parameters
    ----------
    shown : Match
        The arrangement that is looked at.
    grade_mm_s : float, optional
        The grade that was said to be good enough.

    Returns
    -------
    str
        One sentence or two.
    """
    gains = [
        _gain(finding.code, dict(finding.figures)) or finding_text(finding) for finding in shown.findings
    ]
    enough = grade_mm_s is not None and all(1e3 * one.grade <= grade_mm_s for one in shown.pairings)
    within = [f"Every arm is within G{grade_mm_s:g}, which you said is good enough."] if enough else []
    return " ".join([*within, *(gains or [_NO_GAIN])])


def _gain(code: str, figures: dict[str, object]) -> str:
    percent = figures.get("gain_percent", 0.0)
    if code != "match_leave_as_is" or not isinstance(percent, float):
        return ""
    if percent < _NOTHING:
        return "No other arrangement is better as far as the measurements can tell."
    upper = figures["upper_percent"]
    return (
        f"It is not worth it: the best arrangement of all would take {percent:.0f} % away (at most "
        f"{upper:.0f} %), which is too little, or no more than the measurements can tell."
    )


def _deeds(told: Answer, match: Match) -> str:
    if match.moves == 0:
        return "Leave every propeller where it is"
    fit, turn = ([one.propeller.name for one in match.pairings if one.move == move] for move in _MOVES)
    on = {fitted.propeller for fitted in told.among.fitted}
    what = [f"{'swap' if set(fit) <= on else 'fit'} {_names(fit)}"] if fit else []
    what += [f"turn {_names(turn)} on the hub"] if turn else []
    deeds = " and ".join(what)
    motors = len(match.pairings)
    of_all = f"all {motors} motors" if match.moves == motors else f"{match.moves} of {motors} motors"
    return f"{capital(deeds)} ({of_all})"


def _names(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def choice_text(told: Answer, match: Match) -> str:
    """Name an arrangement among those that may be looked at."""
    moves = "none" if match.moves == 0 else str(match.moves)
    return f"{moves} (advised)" if match is told.chosen else moves


def costs_text(match: Match) -> str:
    """Say what an arrangement leaves, in the measure that was chosen."""
    unit, factor = _UNITS[match.measure]
    worst, total = significant(factor * match.worst), significant(factor * match.total)
    return f"Leaves {worst} {unit} on the worst arm, {total} {unit} on all arms together."


def cards(told: Answer, shown: Match, direction: Direction) -> list[Card]:
    """Give one card for each arm that is known, in the order of the arms."""
    return [_card(told, one, direction) for one in shown.pairings]


def _card(told: Answer, one: Pairing, direction: Direction) -> Card:
    pieces = () if one.placement is None else one.placement.pieces
    return Card(
        title=f"{one.motor.name.capitalize()}, turns {HAND_WORDS[one.motor.hand]}",
        todo=_todo(told, one, direction),
        now=f"Now: {_now(told, one.motor.name, direction)}",
        then=f"Then: {_pair(one, direction)}",
        tape=tuple(with_signs(piece_text(piece, direction)) for piece in pieces),
        touched=one.move != "stays",
    )


def _now(told: Answer, motor: str, direction: Direction) -> str:
    first = told.matches[0]  # it touches nothing, if it is known for every motor what is on it
    for pairing in first.pairings if first.moves == 0 else ():
        if pairing.motor.name == motor:
            return _pair(pairing, direction)
    for fitted in told.among.fitted:
        if fitted.motor == motor:
            return f"{fitted.propeller}, mark at {degrees(fitted.angle, direction)}"
    return "no propeller"


def _todo(told: Answer, one: Pairing, direction: Direction) -> str:
    at = degrees(one.angle, direction)
    if one.move == "stays":
        return "Leave it"
    if one.move == "turn":
        return f"Turn {one.propeller.name} on the hub: its mark to {at}"
    on = {fitted.propeller: fitted.motor for fitted in told.among.fitted}
    return f"Fit {one.propeller.name} from {on.get(one.propeller.name, 'the spares')}, its mark at {at}"


def _pair(one: Pairing, direction: Direction) -> str:
    left, sd = gmm_from_kgm(one.left.amplitude), gmm_from_kgm(one.left.sd_amplitude)
    return (
        f"{one.propeller.name}, mark at {degrees(one.angle, direction)}, leaves {significant(left)} ± "
        f"{significant(sd, 2)} g mm (G{1e3 * one.grade:.1f})"
    )


def pictures(told: Answer, shown: Match, direction: Direction) -> tuple[str, str]:
    """Draw the machine as it is and as it is to be; a picture is empty where there are too many arms."""
    if len(told.machine.arms) > MOST_ARMS:
        return "", ""
    now = {arm_number(one.motor): (one.propeller, one.angle) for one in told.among.fitted}
    then = {arm_number(one.motor.name): one for one in shown.pairings}
    blades = {
        own.part.label: own.part.sizes.blades
        for own in told.among.sources
        if isinstance(own.part.sizes, PropellerSizes)
    }
    before, after = [], []
    for arm in told.machine.arms:
        label, angle = now.get(arm.number, (told.labels.get(arm.number, ""), None))
        known = arm.number in then
        view = ArmView(
            arm.number,
            arm.hand,
            label,
            None if angle is None else degrees_0_360(angle),
            blades.get(label, 2),
            "" if known else "not known",
        )
        before.append(view)
        after.append(_after(told, then[arm.number], blades, direction) if known else view)
    return (
        machine_picture(before, title="Now", direction=direction),
        machine_picture(after, title="Then", direction=direction),
    )


def _after(told: Answer, one: Pairing, blades: dict[str, int], direction: Direction) -> ArmView:
    notes = {"stays": "stays", "turn": f"turn to {degrees(one.angle, direction)}", "fit": _from(told, one)}
    name = one.propeller.name
    return ArmView(
        arm_number(one.motor.name),
        one.motor.hand,
        name,
        degrees_0_360(one.angle),
        blades.get(name, 2),
        notes[one.move],
        one.move != "stays",
    )


def _from(told: Answer, one: Pairing) -> str:
    on = {fitted.propeller: fitted.motor for fitted in told.among.fitted}
    return f"from {on.get(one.propeller.name, 'the spares')}"


def sources(told: Answer, direction: Direction) -> list[str]:
    """Say where each part's own unbalance comes from."""
    return [_source(own, direction) for own in told.among.sources]


def _source(own: Own, direction: Direction) -> str:
    vector = own.vector
    on = f" on bell {own.bell}, the bell's own share taken off" if own.bell else ""
    return (
        f"{own.part.kind} {own.part.label}: {significant(gmm_from_kgm(vector.amplitude))} ± "
        f"{significant(gmm_from_kgm(vector.sd_amplitude), 2)} g mm at {degrees(vector.lag, direction)}, "
        f"measured {day(own.when)} at {rpm_from_rad_s(own.speed):.0f} rpm{on}"
    )


def spares(shown: Match, direction: Direction) -> list[str]:
    """Say where each spare would leave least, for the day when a blade breaks."""
    return [
        f"{one.propeller.name}: best on {one.motor.name} with its mark at {degrees(one.angle, direction)}, "
        f"where it would leave {significant(gmm_from_kgm(one.left.amplitude))} g mm"
        for one in shown.spares
    ]


def downloads(told: Answer, shown: Match, direction: Direction) -> list[Download]:
    """Give the answer as data, as text and as pictures."""
    data = json.dumps(match_json(told.matches, told.chosen, told.among), indent=2, ensure_ascii=False)
    lines = [*source_lines(told.among), *match_lines(told.matches, shown, direction)]
    files = [
        Download("Data (JSON)", "matching.json", "application/json", data),
        Download("Text", "matching.txt", "text/plain", "\n".join(map(in_page_words, lines)) + "\n"),
    ]
    for name, svg in zip(("now", "then"), pictures(told, shown, direction), strict=True):
        if svg:
            label = f"Picture, {name} (SVG)"
            files.append(Download(label, f"machine-{name}.svg", "image/svg+xml", standalone(svg)))
    return files

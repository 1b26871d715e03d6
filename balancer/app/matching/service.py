"""What the page of matching shows, as values: the question, what the history answers, noting it as done."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from balancer.app.guided.entries import stock_of
from balancer.app.plain import Refusal
from balancer.app.services import MovedError
from balancer.core import matching
from balancer.core.matching import Match, Pairing, Taping
from balancer.errors import BalancerError, InputError
from balancer.history.machines import get_machine
from balancer.history.own import Candidates, candidates
from balancer.history.parts import find_part, move_part, update_part
from balancer.history.queries import digest_of, propellers_on
from balancer.history.records.machine import Machine
from balancer.history.records.part import Location, PartRecord
from balancer.history.store import Store
from balancer.units import kgm_from_gmm, rad_s_from_rpm

_SAME_ANGLE = math.radians(0.05)  # closer than anyone can tell


@dataclass(frozen=True)
class Question:
    """What is asked of the history.

    Parameters
    ----------
    machine : str
        Id of the machine.
    positions : int
        In how many ways a propeller goes on its hub; 0: at any angle.
    first_deg : float
        Its mark in the first of them, from the bell's mark against the rotation.
    goal : {"worst", "sum"}
        What is made least.
    measure : {"force", "unbalance", "grade"}
        In what the arms are compared.
    rpm : float or None
        In hover; that of the jobs if None.
    grade_mm_s : float or None
        Balance quality grade that is good enough for every arm.
    mounting_gmm : float
        How much a mounting varies.
    tape : str
        Kind of tape that may go on once all is fitted; empty for none.
    tape_width_mm : float
        Its width.
    pieces : int
        Most of them on a pair.
    turned : tuple of (int, float)
        Arms whose propeller the person says stands otherwise than the history takes it to, and at how many
        degrees from the bell's mark against the rotation.
    """

    machine: str
    positions: int = 2
    first_deg: float = 0.0
    goal: matching.Goal = "worst"
    measure: matching.Measure = "force"
    rpm: float | None = None
    grade_mm_s: float | None = None
    mounting_gmm: float = 0.0
    tape: str = ""
    tape_width_mm: float = 10.0
    pieces: int = 2
    turned: tuple[tuple[int, float], ...] = ()

    @property
    def hub(self) -> matching.Hub:
        """How a propeller can be turned."""
        return matching.Hub(self.positions, math.radians(self.first_deg))

    @property
    def taping(self) -> Taping | None:
        """What may be put on."""
        return Taping(stock_of(self.tape, self.tape_width_mm), self.pieces) if self.tape else None


@dataclass(frozen=True, eq=False)
class Answer:
    """What the history answers.

    Parameters
    ----------
    state : str
        Of the history when it was asked (`history.queries.digest_of`).
    machine : Machine
        As it was then.
    among : Candidates
        What was matched, as it stands now, and what was left out.
    matches : tuple of Match
        From fewest motors touched to most.
    chosen : Match
        The one to recommend.
    labels : mapping of int to str
        The propeller now on each arm, known or not.
    """

    state: str
    machine: Machine
    among: Candidates
    matches: tuple[Match, ...]
    chosen: Match
    labels: Mapping[int, str]


def answer(store: Store, question: Question) -> Answer | Refusal:
    """Find which propeller belongs on which motor; takes seconds with tape.

    Parameters
    ----------
    store : Store
        The history.
    question : Question
        What is asked.

    Returns
    -------
    Answer or Refusal
        What to do, or why it cannot be told.
    """
    try:
        with store.snapshot():
            state = digest_of(store)
            machine = get_machine(store, question.machine)
            rpm = question.rpm
            among = candidates(store, machine, question.hub, None if rpm is None else rad_s_from_rpm(rpm))
            among = _as_said(among, dict(question.turned))
            labels = propellers_on(store, machine.id)
        found = matching.match(
            among.motors,
            among.propellers,
            among.fitted,
            goal=question.goal,
            measure=question.measure,
            taping=question.taping,
            mounting=kgm_from_gmm(question.mounting_gmm),
        )
    except BalancerError as error:
        return Refusal(str(error))
    grade = question.grade_mm_s
    chosen = matching.choose(found, None if grade is None else grade * 1e-3)
    return Answer(state, machine, among, found, chosen, labels)


def _as_said(among: Candidates, said: Mapping[int, float]) -> Candidates:
    """Let what the person says of how propellers stand count before what the history knows or assumes."""
    seen = {
        one.propeller: math.radians(said[arm])
        for one in among.fitted
        if (arm := arm_number(one.motor)) in said
    }
    return replace(
        among,
        fitted=tuple(replace(one, angle=seen.get(one.propeller, one.angle)) for one in among.fitted),
        assumed=tuple(label for label in among.assumed if label not in seen),
    )


def arm_number(motor: str) -> int:
    """Give the number of the arm that a motor of `history.own` is named after."""
    return int(motor.removeprefix("arm "))


def to_note(told: Answer, match: Match) -> tuple[Pairing, ...]:
    """Give what an arrangement changes in the history: what moves, and what the person says of the others."""
    known = {own.part.label: own.part.where.turned for own in told.among.sources}
    return tuple(
        one
        for one in match.pairings
        if one.move != "stays"
        or (one.propeller.name not in told.among.assumed and not _alike(known[one.propeller.name], one.angle))
    )


def _alike(known: float | None, angle: float) -> bool:
    return known is not None and abs(math.remainder(known - angle, math.tau)) < _SAME_ANGLE


def done(store: Store, told: Answer, match: Match, now: datetime) -> None:
    """Note that the propellers stand now as an arrangement says: all of them, or none.

    Parameters
    ----------
    store : Store
        The history.
    told : Answer
        What was shown.
    match : Match
        Which of its arrangements.
    now : datetime
        With its time zone.

    Raises
    ------
    MovedError
        If the history has changed since it was asked.
    InputError
        If there is nothing to note.
    """
    noted = to_note(told, match)
    if not noted:
        raise InputError("nothing is to be moved", todo="leave every propeller where it is")
    with store.transaction():
        if digest_of(store) != told.state:
            raise MovedError("the history")
        targets = {one.propeller.name: one for one in noted if one.move != "stays"}
        leaving = [label for label in _taken_off(told, match) if label not in targets]
        # first all off, for no arm carries two
        off = {label: _off(store, _the_part(store, label), now) for label in (*targets, *leaving)}
        for label in leaving:
            move_part(store, off[label], Location(), now, f"taken off {told.machine.name} in matching")
        for label, one in targets.items():
            move_part(store, off[label], _where(told, one), now, "matching")
        for one in noted:
            if one.move == "stays":  # it was not moved, only looked at
                part = _the_part(store, one.propeller.name)
                update_part(store, replace(part, where=_where(told, one)), now)


def _where(told: Answer, one: Pairing) -> Location:
    return Location("fitted", told.machine.id, arm_number(one.motor.name), one.angle % math.tau)


def _taken_off(told: Answer, match: Match) -> Sequence[str]:
    """Give the propellers that are on arms to which another one goes."""
    on = {one.motor: one.propeller for one in told.among.fitted}
    return [on[one.motor.name] for one in match.pairings if one.move == "fit" and one.motor.name in on]


def _the_part(store: Store, label: str) -> PartRecord:
    found = find_part(store, label)
    if found is None:
        raise MovedError("the history")
    return found


def _off(store: Store, part: PartRecord, now: datetime) -> PartRecord:
    return update_part(store, replace(part, where=Location()), now)

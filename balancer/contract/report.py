"""Reports as plain data for scripts: the JSON objects of ``balancer report --json``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from balancer.contract.basics import findings_json
from balancer.contract.job import piece_json
from balancer.core.vectors import UncertainComplex
from balancer.history.records.codecs import PART
from balancer.units import degrees_0_360, g_from_kg, gmm_from_kgm, rpm_from_rad_s
from balancer.wording import CAUTIONS
from balancer.wording.sentences import SENTENCES

if TYPE_CHECKING:  # what is gathered need not be loaded for its plain data
    from collections.abc import Sequence

    from balancer.findings import Finding
    from balancer.history.records.event import Event
    from balancer.report.card import Left, MachineSheet, Outcome, PartCard, Polar, TrendData


def card_json(card: PartCard) -> dict[str, Any]:
    """Put a part's card into an object.

    Parameters
    ----------
    card : PartCard
        The card.

    Returns
    -------
    dict
        ``part`` (id, label, kind, mass, sizes as in the store's archive), ``where``, ``hand``, ``pieces``,
        ``last_balanced``, ``due``, ``latest`` (the latest job of which it is known what it left, or None),
        ``jobs`` (the latest first), ``older_jobs``, ``loose_runs``, ``trend``, ``events``, ``made_at``,
        ``cautions``. Angles count against the rotation; what is not known is None.
    """
    part = card.part
    return {
        "part": {
            "id": part.id,
            "label": part.label,
            "kind": part.kind,
            "mass_g": None if part.mass is None else g_from_kg(part.mass),
            "sizes": PART.out(part)["sizes"],
            "words": part.words,
            "grade_asked_mm_s": part.grade * 1e3,
        },
        "where": {
            "state": part.where.state,
            "machine": card.machine or None,
            "arm": None if card.arm is None else card.arm.number,
            "arm_hand": None if card.arm is None else card.arm.hand,
            "wrong_hand": card.wrong_hand,
        },
        "hand": card.hand,
        "pieces": [piece_json(one) for one in part.pieces],
        "last_balanced": None if card.balanced is None else card.balanced.isoformat(),
        "due": _due(card),
        "latest": None if card.latest is None else _outcome(card.latest),
        "jobs": [_outcome(one) for one in card.outcomes],
        "older_jobs": card.earlier_jobs,
        "loose_runs": card.loose_runs,
        "trend": None if card.trend is None else _trend(card.trend),
        "events": [_event(event) for event in card.events],
        "made_at": card.made.isoformat(),
        "cautions": list(CAUTIONS),
    }


def sheet_json(sheet: MachineSheet) -> dict[str, Any]:
    """Put a machine's sheet into an object.

    Parameters
    ----------
    sheet : MachineSheet
        The sheet.

    Returns
    -------
    dict
        ``machine`` (id, name, words), ``arms`` (each with ``arm``, ``hand`` and ``parts``, cards as in
        `card_json`), ``made_at``, ``cautions``.
    """
    machine = sheet.machine
    return {
        "machine": {"id": machine.id, "name": machine.name, "words": machine.words},
        "arms": [
            {
                "arm": arm.arm.number,
                "hand": arm.arm.hand,
                "parts": [card_json(card) for card in arm.cards],
            }
            for arm in sheet.arms
        ],
        "made_at": sheet.made.isoformat(),
        "cautions": list(CAUTIONS),
    }


def _due(card: PartCard) -> dict[str, Any]:
    due = card.due
    return {
        "now": due.now,
        "reasons": [
            {"reason": why, "since": None if when is None else when.isoformat()} for why, when in due.reasons
        ],
        "last_checked": None if due.checked is None else due.checked.isoformat(),
        "next": None if due.next is None else due.next.isoformat(),
        "findings": _said(due.findings),
    }


def _outcome(one: Outcome) -> dict[str, Any]:
    return {
        "id": one.id,
        "date": one.when.date().isoformat(),
        "at": one.when.isoformat(),
        "stand": one.stand or None,
        "state": one.state,
        "problem": one.problem or None,
        "stored_coefficient": one.stored,
        "hand": one.hand,
        "mass_g": g_from_kg(one.mass),
        "grade_asked_mm_s": one.grade * 1e3,
        "speed_rpm": None if one.speed is None else rpm_from_rad_s(one.speed),
        "permissible_gmm": None if one.permissible is None else gmm_from_kgm(one.permissible),
        "found": _left(one.found),
        "left": _left(one.left),
        "pieces": [piece_json(piece) for piece in one.pieces],
        "polar": None if one.polar is None else _polar(one.polar),
        "runs": one.runs,
        "not_counted": one.set_aside,
        "findings": _said(one.findings),
    }


def _left(left: Left | None) -> dict[str, Any] | None:
    if left is None:
        return None
    verdict = left.verdict
    return {
        "state": verdict.state,
        "unbalance_gmm": gmm_from_kgm(verdict.size),
        "sd_unbalance_gmm": gmm_from_kgm(left.vector.sd_amplitude),
        "bound_95_gmm": gmm_from_kgm(verdict.claim),
        "measured_gmm": gmm_from_kgm(left.vector.amplitude),
        "angle_deg": degrees_0_360(left.vector.lag) if left.with_phase else None,
        "grade_mm_s": left.grade * 1e3,
        "grade_bound_95_mm_s": left.claim_grade * 1e3,
        "certainty": verdict.certainty,
    }


def _polar(polar: Polar) -> dict[str, Any]:
    return {
        "channel": polar.channel or None,
        "unit": polar.unit or None,
        "permissible": polar.permissible,
        "vectors": [
            {"purpose": one.purpose, "runs": list(one.runs), **_vector(one.value)} for one in polar.vectors
        ],
    }


def _vector(value: UncertainComplex) -> dict[str, float]:
    return {
        "amplitude": value.amplitude,
        "phase_deg": degrees_0_360(value.lag),
        "sd_amplitude": value.sd_amplitude,
    }


def _trend(trend: TrendData) -> dict[str, Any]:
    return {
        "points": [
            {
                "date": one.point.when.isoformat(),
                "stand": one.point.stand or None,
                "what": "left" if one.left else "found",
                "unbalance_gmm": gmm_from_kgm(one.point.value),
                "lower_95_gmm": gmm_from_kgm(one.point.lower),
                "upper_95_gmm": gmm_from_kgm(one.point.upper),
                "grade_mm_s": one.point.grade * 1e3,
            }
            for one in trend.points
        ],
        "grades": [
            {"grade_mm_s": grade * 1e3, "permissible_gmm": gmm_from_kgm(allowed)}
            for grade, allowed in trend.lines
        ],
        "mass_g": g_from_kg(trend.mass),
        "speed_rpm": rpm_from_rad_s(trend.speed),
        "findings": _said(trend.findings),
    }


def _event(event: Event) -> dict[str, Any]:
    return {"at": event.at.isoformat(), "kind": event.kind, "words": event.words, "job": event.job}


def _said(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Put findings into a list; those that only another version of the program has words for left out."""
    return findings_json([one for one in findings if one.code in SENTENCES])

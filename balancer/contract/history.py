"""The history as plain data: objects of `parts`, `machines`, `history` and `match` with --json."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

from balancer.contract.basics import findings_json
from balancer.contract.job import piece_json
from balancer.core.grade import grade_of
from balancer.history.records.codecs import EVENT, MACHINE, PART, STAND, instant
from balancer.units import degrees_0_360, g_from_kg, gmm_from_kgm, mm_from_m, rpm_from_rad_s
from balancer.wording.history import change_findings
from balancer.wording.upkeep import trust_word

if TYPE_CHECKING:  # what is done need not be loaded for words about it
    from balancer.core.matching import Match, Pairing
    from balancer.core.vectors import UncertainComplex
    from balancer.history.archive import Exported, Imported
    from balancer.history.check import Health
    from balancer.history.keeping import KeptJob
    from balancer.history.own import Candidates
    from balancer.history.queries import ListedPart
    from balancer.history.recompute import Recomputed
    from balancer.history.records.machine import Machine
    from balancer.history.records.part import PartRecord
    from balancer.history.records.stand import StandRecord
    from balancer.history.removal import Marked
    from balancer.history.store import BackedUp
    from balancer.history.story import Determination, Story
    from balancer.procedure.coefficients import StoredCoefficient
    from balancer.procedure.trust import Trust


def parts_json(parts: Sequence[ListedPart], before: datetime, total: int) -> dict[str, Any]:
    """Put a list of parts into the object of ``balancer parts --json``.

    Parameters
    ----------
    parts : sequence of ListedPart
        Those shown.
    before : datetime
        What was last looked at before this time is due.
    total : int
        How many there are in all.

    Returns
    -------
    dict
        ``{"parts": [...], "total"}``; ``due`` is None, ``disturbed``, ``moved``, ``never`` or ``age``.
    """
    return {"parts": [_listed(part, before) for part in parts], "total": total}


def _listed(part: ListedPart, before: datetime) -> dict[str, Any]:
    return {
        "id": part.id,
        "label": part.label,
        "kind": part.kind,
        "mass_g": None if part.mass is None else g_from_kg(part.mass),
        "diameter_mm": None if part.diameter is None else mm_from_m(part.diameter),
        "hand": part.hand or None,
        "state": part.state,
        "machine": part.machine or None,
        "arm": part.arm,
        "looked_at": None if part.looked_at is None else instant(part.looked_at),
        "disturbed_at": None if part.disturbed_at is None else instant(part.disturbed_at),
        "moved_at": None if part.moved_at is None else instant(part.moved_at),
        "due": part.due(before),
    }


def part_json(part: PartRecord, machine: str) -> dict[str, Any]:
    """Put a part into an object: as it is kept, with the name of its machine."""
    return {**PART.out(part), "machine": machine or None}


def machines_json(
    machines: Sequence[Machine], fitted: Mapping[str, Sequence[tuple[str, int]]]
) -> dict[str, Any]:
    """Put machines, with label and arm of their parts, into the object of ``balancer machines --json``."""
    return {
        "machines": [
            {**MACHINE.out(one), "fitted": [{"part": p, "arm": arm} for p, arm in fitted.get(one.id, ())]}
            for one in machines
        ]
    }


def story_json(story: Story, machine: str, bells: Mapping[str, str]) -> dict[str, Any]:
    """Put a part's story into the object of ``balancer parts show --json``.

    Parameters
    ----------
    story : Story
        The story.
    machine : str
        Name of the machine that it is fitted to; empty if none.
    bells : mapping of str to str
        Label of each bell that it stood on, by id.

    Returns
    -------
    dict
        ``part``, ``events``, ``jobs`` (each with ``found`` and ``left`` as vectors in g mm and degrees),
        ``runs`` (how many), ``change``, ``trend``, ``due``, ``findings``.
    """
    change, trend, due = story.change, story.trend, story.due
    return {
        "part": part_json(story.page.part, machine),
        "events": [EVENT.out(event) for event in story.page.events],
        "jobs": [_determination(one, bells) for one in story.determinations],
        "runs": story.page.run_count,
        "change": None
        if change is None
        else {
            "state": change.state,
            "difference": vector_json(change.difference[0]),
            "probability": change.probability,
            "detectable_gmm": gmm_from_kgm(change.detectable[0]),
            "against": change.against,
        },
        "trend": None
        if trend is None
        else {
            "seen": trend.seen,
            "per_year": vector_json(trend.per_year),
            "probability": trend.probability,
            "years": trend.years,
        },
        "due": {
            "now": due.now,
            "reasons": [
                {"reason": reason, "since": None if when is None else when.isoformat()}
                for reason, when in due.reasons
            ],
            "next": None if due.next is None else due.next.isoformat(),
        },
        "findings": findings_json(
            [*due.findings, *(story.series.findings if story.series else ()), *change_findings(story)]
        ),
    }


def _determination(one: Determination, bells: Mapping[str, str]) -> dict[str, Any]:
    grade = None
    if one.left is not None and one.speed is not None:
        grade = 1e3 * grade_of(one.left.amplitude, one.mass, one.speed)
    return {
        "id": one.record.id,
        "started_at": instant(one.when),
        "stand": one.stand or None,
        "bell": bells.get(one.bell) if one.bell else None,
        "runs": one.runs,
        "speed_rpm": None if one.speed is None else rpm_from_rad_s(one.speed),
        "rotor_mass_g": g_from_kg(one.mass),
        "found": None if one.found is None else vector_json(one.found),
        "left": None if one.left is None else vector_json(one.left),
        "grade_mm_s": grade,
        "permissible_gmm": None if one.permissible is None else gmm_from_kgm(one.permissible),
        "good": one.good,
        "stored_coefficient": one.stored,
        "put_on": [piece_json(piece) for piece in one.record.frame.fitted],
    }


def vector_json(vector: UncertainComplex) -> dict[str, float]:
    """Put an unbalance in kg m into size and angle with their standard uncertainties."""
    return {
        "unbalance_gmm": gmm_from_kgm(vector.amplitude),
        "angle_deg": degrees_0_360(vector.lag),
        "sd_unbalance_gmm": gmm_from_kgm(vector.sd_amplitude),
        "sd_angle_deg": math.degrees(vector.sd_lag),
    }


def kept_json(kept: KeptJob) -> dict[str, Any]:
    """Put what keeping a job came to into the object of ``balancer job save --json``."""
    return {
        "job": kept.record.id,
        "new_runs": kept.new_runs,
        "event": kept.event,
        "new_stand": None if kept.new_stand is None else kept.new_stand.name,
        "coefficient_kept": kept.coefficient is not None,
    }


def health_json(health: Health) -> dict[str, Any]:
    """Put what a check found into the object of ``balancer history check --json``."""
    return {"sound": health.sound, **{key: _plain(value) for key, value in asdict(health).items()}}


def recomputed_json(found: Sequence[Recomputed], labels: Mapping[str, str]) -> dict[str, Any]:
    """Put what measuring again came to into the object of ``balancer history recompute --json``."""
    return {
        "measured_again": len(found),
        "differ": [
            {
                "run": one.run.id,
                "part": labels.get(one.run.part),
                "at": instant(one.run.at),
                "problem": None if one.problem is None else str(one.problem),
                "other_samples": one.other_samples,
                "changed": [{"channel": each.channel, "share": each.share} for each in one.changed],
            }
            for one in found
            if not one.same
        ],
    }


def backed_up_json(done: BackedUp) -> dict[str, Any]:
    """Put what a backup holds into the object of ``balancer history backup --json``."""
    return {"folder": str(done.folder), "files": done.files, "damaged": list(done.damaged)}


def exported_json(done: Exported) -> dict[str, Any]:
    """Put what an archive holds into the object of ``balancer history export --json``."""
    return {
        "file": str(done.path),
        "records": dict(done.rows),
        "files": done.files,
        "missing": list(done.missing),
    }


def imported_json(done: Imported) -> dict[str, Any]:
    """Put what an import came to into the object of ``balancer history import --json``."""
    return {
        "added": dict(done.added),
        "updated": dict(done.updated),
        "unchanged": dict(done.unchanged),
        "older": dict(done.older),
        "files": done.files,
        "conflicts": [asdict(one) for one in done.conflicts],
        "missing": list(done.missing),
        "ignored": list(done.ignored),
    }


def marked_json(marked: Marked, *, gone: bool) -> dict[str, Any]:
    """Put what is marked as removed, or was deleted, into an object."""
    return {"deleted": gone, "records": dict(marked.rows), "files": len(marked.files)}


def stands_json(
    stands: Sequence[tuple[StandRecord, Sequence[tuple[StoredCoefficient, Trust]]]],
) -> dict[str, Any]:
    """Put stands with their coefficients into the object of ``balancer history stands --json``."""
    return {
        "stands": [
            {
                **STAND.out(stand),
                "coefficients": [
                    {
                        **stored.to_json(),
                        "trust": trust_word(trusted),
                        "expected_left_percent": 100 * trusted.expected_left,
                        "findings": findings_json(trusted.findings),
                    }
                    for stored, trusted in coefficients
                ],
            }
            for stand, coefficients in stands
        ]
    }


def match_json(matches: Sequence[Match], chosen: Match, among: Candidates) -> dict[str, Any]:
    """Put arrangements into the object of ``balancer match --json``.

    Parameters
    ----------
    matches : sequence of Match
        From fewest motors touched to most.
    chosen : Match
        The one to recommend.
    among : Candidates
        What was matched, and what was left out.

    Returns
    -------
    dict
        ``recommended`` is the index in ``arrangements``; costs are in N, g mm or mm/s as ``measure`` says;
        ``fitted`` is what is on the arms now, where a mark that is ``assumed`` is taken to be in line.
    """
    return {
        "recommended": next(index for index, one in enumerate(matches) if one is chosen),
        "arrangements": [_match(one) for one in matches],
        "fitted": [
            {
                "motor": one.motor,
                "propeller": one.propeller,
                "mark_at_deg": degrees_0_360(one.angle),
                "assumed": one.propeller in among.assumed,
            }
            for one in among.fitted
        ],
        "own": [
            {"part": own.part.label, "bell": own.bell or None, "at": instant(own.when)}
            | vector_json(own.vector)
            for own in among.sources
        ],
        "left_out": findings_json(among.left_out),
    }


_COSTS = {"force": ("n", 1.0), "unbalance": ("gmm", 1e6), "grade": ("mm_s", 1e3)}


def _match(match: Match) -> dict[str, Any]:
    unit, factor = _COSTS[match.measure]
    gain = match.gain
    return {
        "goal": match.goal,
        "measure": match.measure,
        "motors_touched": match.moves,
        f"worst_{unit}": factor * match.worst,
        f"sum_{unit}": factor * match.total,
        "gain": None
        if gain is None
        else {
            f"before_{unit}": factor * gain.before,
            f"expected_{unit}": factor * gain.expected,
            f"lower_{unit}": factor * gain.lower,
            f"upper_{unit}": factor * gain.upper,
            "sure": gain.sure,
        },
        "pairings": [_pairing(one) for one in match.pairings],
        "spares": [_pairing(one) for one in match.spares],
        "findings": findings_json(match.findings),
    }


def _pairing(one: Pairing) -> dict[str, Any]:
    return {
        "motor": one.motor.name,
        "propeller": one.propeller.name,
        "mark_at_deg": degrees_0_360(one.angle),
        "left": vector_json(one.left),
        "grade_mm_s": 1e3 * one.grade,
        "force_n": one.force,
        "move": one.move,
        "put_on": [] if one.placement is None else [piece_json(piece) for piece in one.placement.pieces],
    }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value

"""Sentences, figures and pictures that only the page needs; what both faces say is in `balancer.wording`."""

from __future__ import annotations

import cmath
import json
import math
from collections.abc import Sequence
from functools import lru_cache

from balancer.app.guided.keeping import Kept, Worked
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.plain import Download, Headline, in_page_words
from balancer.app.units_shown import IN_M_S2, Vibration
from balancer.contract.job import step_json
from balancer.core.grade import grade_of
from balancer.core.pieces import Piece, Placement, cutting_error
from balancer.core.runs import Amplitude
from balancer.errors import InputError
from balancer.figures import rotor_picture, standalone
from balancer.figures.dial import HAND_WORDS
from balancer.findings import Finding
from balancer.pictures import job_picture, rotor_view, staying, step_picture
from balancer.procedure.job import Job
from balancer.procedure.job_file import FORM, job_to_data
from balancer.procedure.noise_floor import noise_floor
from balancer.procedure.step import Step
from balancer.units import g_from_kg, gmm_from_kgm, rpm_from_rad_s
from balancer.wording import (
    CONVENTION,
    CONVENTION_WITH,
    Direction,
    angle_text,
    capital,
    counted,
    finding_text,
    piece_text,
    significant,
    tape_text,
)
from balancer.wording.job import run_lines as lines_of_runs
from balancer.wording.job import step_title
from balancer.wording.tape import hand_text
from balancer.wording.trial import trial_basis


def part_text(job: Job) -> str:
    """Say what is on the bench: ``Propeller P-3``."""
    return f"{job.part.kind.capitalize()} {job.part.name}".strip()


def job_text(job: Job) -> str:
    """Say how it turns, what it weighs, and which grade it is to reach."""
    speed = "" if job.speed is None else f" at {rpm_from_rad_s(job.speed):.0f} rpm"
    stand = f"; stand: {job.stand.name}" if job.stand.name else ""
    mass = significant(g_from_kg(job.part.mass))
    return (
        f"Turns {HAND_WORDS[job.part.hand]}{speed}, seen from the front; {mass} g turn; "
        f"grade G{job.part.grade * 1e3:g} is asked for{stand}."
    )


def listed(kept: Kept) -> str:
    """Say of a job in the list where it stands."""
    stands = f"{'' if kept.step.ends else 'next: '}{step_title(kept.step)}"
    return f"{_runs(kept)}; {stands}; {kept.changed:%d %b %H:%M}"


def in_short(kept: Kept) -> str:
    """Say of a job in the list of all jobs what it is; where it stands would have to be worked out."""
    stand = f"; stand: {kept.job.stand.name}" if kept.job.stand.name else ""
    return f"{_runs(kept)}{stand}; {kept.changed:%d %b %Y %H:%M}"


def _runs(kept: Kept) -> str:
    runs = len(kept.job.runs)
    return counted(runs, "run") if runs else "no run yet"


def piece_lines(pieces: Sequence[Piece], direction: Direction) -> list[str]:
    """Say where each piece goes, with the letter that it has in the picture."""
    return _lettered(_said(pieces, direction), len(pieces))


def _lettered(lines: Sequence[str], total: int, first: int = 0) -> list[str]:
    """Put before each line the letter that its piece has in the picture, where several are drawn."""
    return [(f"{chr(ord('A') + first + n)}: " if total > 1 else "") + line for n, line in enumerate(lines)]


def _said(pieces: Sequence[Piece], direction: Direction) -> list[str]:
    return [piece_text(piece, direction) for piece in pieces]


def fit_groups(step: Step, direction: Direction) -> list[tuple[str, list[str]]]:
    """Say what comes off, what stays and what goes on, each under its heading; empty groups are left out."""
    new = step.put_on
    off, on, stays = (_said(pieces, direction) for pieces in (step.taken_off, new, staying(step)))
    total = len(on) + len(stays)
    groups = [
        # as in the picture, which shows what comes off when nothing goes on
        ("Take off", off if new else _lettered(off, len(off))),
        ("Leave on", _lettered(stays, total, len(on)) if new else stays),
        ("Put on", _lettered(on, total)),
    ]
    return [(head, lines) for head, lines in groups if lines]


def short_lines(step: Step, direction: Direction) -> dict[str, list[str]]:
    """Say what comes off and what goes on in so few words that they can be written large, by its heading."""
    new, off = step.put_on, step.taken_off
    total = len(new) + len(staying(step))
    return {
        "Take off": _lettered([_short(piece, direction) for piece in off], 0 if new else len(off)),
        "Put on": _lettered([_short(piece, direction) for piece in new], total),
    }


def _short(piece: Piece, direction: Direction) -> str:
    milligrams = f"{significant(1e6 * piece.amount)} mg"
    layers = "" if piece.strip is None or piece.strip.layers == 1 else f"{piece.strip.layers} layers of "
    what = {
        "tape": "" if piece.strip is None else f"{layers}{1e3 * piece.strip.length:.0f} mm tape",
        "removed": f"{milligrams} off",
        "mass": milligrams,
    }.get(piece.kind, f"{piece.kind} of {milligrams}")
    where = f" on {piece.where}" if piece.where else ""
    if piece.along_blade:
        return f"{what}{where}, {1e3 * piece.radius:.0f} mm out"
    return f"{what}{where}, at {angle_text(piece.angle, direction)}"


def fit_notes(step: Step, job: Job, direction: Direction) -> list[str]:
    """Say how the angles count, what the size of a trial rests on, and for which tape the lengths are."""
    if not step.put_on:
        return []
    notes = [CONVENTION if direction == "against" else CONVENTION_WITH]
    if step.trial is not None:
        notes.append(trial_basis(step.trial))
    elif step.placements:
        notes.append(hand_text(step.placements[0]))
    if job.stock.tape is not None:
        notes.append(f"Lengths are for {tape_text(job.stock.tape)}.")
    return notes


def alternative_title(other: Placement) -> str:
    """Say what another choice of pieces would leave."""
    pieces = counted(other.total, "piece")
    return f"With {pieces} instead {significant(gmm_from_kgm(abs(other.left)), 2)} g mm are left"


def alternative_lines(other: Placement, direction: Direction) -> list[str]:
    """Say where the pieces of another choice go."""
    return _said((*other.kept, *other.pieces), direction) or ["Nothing is on."]


def headlines(kept: Kept) -> tuple[Headline, ...]:
    """Give the figures of a step that are read from two metres away."""
    step, job = kept.step, kept.job
    said = dict(step.why.figures)
    if step.action == "fit" and "then_gmm" in said:
        hands = gmm_from_kgm(cutting_error(step.placements[0])) if step.placements else 0.0
        then = math.hypot(float(said["then_gmm"]), hands)
        return (
            Headline("Left now (g mm)", significant(float(said["left_gmm"])), _UNBALANCE),
            Headline("Then about (g mm)", significant(then, 2), _THEN),
            *_permissible(job),
        )
    if step.verdict is None or not step.ends:
        return ()
    claim = step.verdict.claim
    shown = [
        Headline("Left (g mm)", significant(gmm_from_kgm(step.verdict.size)), _UNBALANCE),
        Headline(
            "At most (g mm)",
            significant(gmm_from_kgm(claim)),
            "What may be claimed with 95 % certainty: the doubt of the measurement is in it.",
        ),
        *_permissible(job),
    ]
    if job.speed is not None:
        grade = significant(grade_of(claim, job.part.mass, job.speed) * 1e3, 2)
        shown.append(Headline("At most grade", f"G{grade}", f"With 95 % certainty. {_GRADE}"))
    return tuple(shown)


_UNBALANCE = "Unbalance is mass times radius: 1 g mm is a tenth of a gram at 10 mm."
_THEN = (
    "What these pieces leave, and what hands usually add: a strip cut 1 mm wrong, laid 1 mm off along a "
    "blade or 5 degrees off on a ring."
)
_GRADE = (
    "Balance quality grade of ISO 21940-11: less is smoother. The standard does not list model propellers; "
    "G6.3 is its grade for fans."
)


def _permissible(job: Job) -> tuple[Headline, ...]:
    if job.speed is None:
        return ()
    allowed = gmm_from_kgm(job.part.permissible(job.speed))
    return (Headline("Permissible (g mm)", significant(allowed), f"For G{job.part.grade * 1e3:g}. {_GRADE}"),)


def run_lines(job: Job, direction: Direction, vibration: Vibration = IN_M_S2) -> list[str]:
    """Say what each run showed."""
    lines = lines_of_runs(job, direction, unit=vibration.word, scale=vibration.factor)
    return [capital(line) for line in lines]


def doubts(job: Job, number: int) -> list[str]:
    """Say what was noticed in a run that needs a look."""
    run = job.runs[number - 1]
    noticed = (*run.findings, *run.signs)
    return [in_page_words(finding_text(one)) for one in noticed if one.severity != "info"]


def noticed(kept: Kept) -> tuple[Finding, ...]:
    """Give what was noticed on the way to a step; before the first run, at the check of the sensor."""
    check = kept.job.check
    if kept.job.runs or check is None:
        return kept.step.findings
    return tuple(one for one in check.findings if one.severity != "info")


def truth_lines(kept: Kept, direction: Direction) -> list[str]:
    """Lay open what the simulated bench hides."""
    if kept.simulated is None:
        return []
    hidden, left = kept.simulated.hidden, kept.simulated.left(kept.job.masses)
    lines = [
        f"The part hides {_vector(hidden, direction)}.",
        f"Exactly right would be to add {_vector(-hidden, direction)}.",
    ]
    if kept.step.solution is not None:
        found = kept.step.solution.answer.correction.value
        lines.append(f"The measurements say {_vector(found, direction)}.")
    if kept.job.fitted:
        gone = 100 * (1 - abs(left) / abs(hidden))
        way = f"takes {gone:.1f} % of it away" if gone >= 0 else f"adds {-gone:.1f} % to it"
        lines.append(f"What is on now {way}: {significant(gmm_from_kgm(abs(left)))} g mm are left.")
    return lines


def _vector(unbalance: complex, direction: Direction) -> str:
    size = significant(gmm_from_kgm(abs(unbalance)))
    return f"{size} g mm at {angle_text(cmath.phase(unbalance), direction)}"


def channels(job: Job) -> tuple[str, ...]:
    """Give the names of the sensor's axes, as far as there are runs."""
    count = len(job.runs[0].run.readings) if job.runs else 0
    names = () if job.set_up is None else job.set_up.channels
    return names if len(names) == count else tuple(f"{n + 1}" for n in range(count))


def strongest(job: Job) -> int:
    """Give the axis that shakes most in the first run; 0 while there is none."""
    if not job.runs:
        return 0
    readings = job.runs[0].run.readings
    sizes = [r.value if isinstance(r, Amplitude) else r.amplitude for r in readings]
    return sizes.index(max(sizes))


def rotor_drawing(kept: Kept, direction: Direction, tip: float | None = None) -> str | None:
    """Draw the step at the part, a propeller with its radius in m; None if it cannot be drawn."""
    return _rotor(kept.worked, direction, tip)


@lru_cache(maxsize=16)
def _rotor(worked: Worked, direction: Direction, tip: float | None) -> str | None:
    """Draw once for all looks at a job that is as it was: finding places for the words takes its time."""
    try:
        view = rotor_view(worked.job.part, tip=tip, direction=direction)
        return step_picture(worked.step, view, worked.job.fitted)
    except InputError:  # more blades than a drawing shows, or a piece longer than the way round
        return None


def polar_drawing(
    kept: Kept, channel: int, direction: Direction, vibration: Vibration = IN_M_S2
) -> str | None:
    """Draw the runs as vectors; None while there is none, or when they have no phase."""
    return _polar(kept.worked, channel, direction, vibration)


@lru_cache(maxsize=16)
def _polar(worked: Worked, channel: int, direction: Direction, vibration: Vibration) -> str | None:
    job, counted = worked.job, worked.facts.counted
    return job_picture(
        [(one.number, one.run) for one in counted],
        unit=vibration.word,
        scale=vibration.factor,
        solution=worked.step.solution,
        permissible=None if job.speed is None else job.part.permissible(job.speed),
        floor=noise_floor(job, counted, channel),
        channel=channel,
        direction=direction,
        hand=job.part.hand,
    )


def no_polar_text(job: Job) -> str:
    """Say why there is no polar picture."""
    if not job.runs:
        return "The polar picture of the shaking comes with the first run."
    return "Without a mark there is no angle to the readings, so there is no polar picture."


def downloads(kept: Kept, drawings: Sequence[tuple[str, str | None]]) -> tuple[Download, ...]:
    """Give the files to take away: the job, the figures of this step, and the pictures by their names."""
    job = {"form": FORM, **job_to_data(kept.job)}
    files = [
        Download("The job (JSON)", "job.json", _JSON, _json(job)),
        Download("This step (JSON)", "step.json", _JSON, _json(step_json(kept.step, kept.job))),
    ]
    for name, svg in drawings:
        if svg is not None:
            label = f"{name.capitalize()} picture (SVG)"
            files.append(Download(label, f"{name}.svg", "image/svg+xml", standalone(svg)))
    return tuple(files)


_JSON = "application/json"


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2)


def reason_to_set_aside(step: Step) -> str:
    """Give the reason that stands in the box when the step proposes to set runs aside."""
    return finding_text(step.why).split(":")[0][:80]


def bare_drawing(part: SimulatedPart, direction: Direction) -> str:
    """Draw a part of the simulated bench with nothing on it."""
    return rotor_picture(rotor_view(part.part, tip=part.tip, direction=direction))

"""Sentences, figures and pictures that only the page needs; what both faces say is in `balancer.wording`."""

from __future__ import annotations

import cmath
import json
from collections.abc import Sequence

from balancer.app.guided.keeping import Kept
from balancer.app.guided.trainer import SimulatedPart
from balancer.app.plain import Download, Headline
from balancer.contract.job import step_json
from balancer.core.grade import grade_of
from balancer.core.pieces import Piece, Placement
from balancer.core.runs import Amplitude
from balancer.errors import InputError
from balancer.figures import rotor_picture, standalone
from balancer.findings import Finding
from balancer.pictures import job_picture, rotor_view, step_picture
from balancer.procedure.job import Job
from balancer.procedure.job_file import FORM, job_to_data
from balancer.procedure.step import Step
from balancer.units import gmm_from_kgm, rpm_from_rad_s
from balancer.wording import (
    CAUTIONS,
    CONVENTION,
    CONVENTION_WITH,
    Direction,
    angle_text,
    finding_text,
    piece_text,
    significant,
    tape_text,
)
from balancer.wording.job import job_lines, step_title
from balancer.wording.tape import hand_text
from balancer.wording.trial import trial_basis

AT_THE_ROTOR = CAUTIONS[4:6]
"""The cautions for the moment in which a hand with tape goes near the rotor."""

HANDS = {"ccw": "counter-clockwise", "cw": "clockwise"}


def part_text(job: Job) -> str:
    """Say what is on the bench: ``Propeller P-3``."""
    return f"{job.part.kind.capitalize()} {job.part.name}".strip()


def job_text(job: Job) -> str:
    """Say how it turns, what it weighs, and which grade it is to reach."""
    speed = "" if job.speed is None else f" at {rpm_from_rad_s(job.speed):.0f} rpm"
    stand = f"; stand: {job.stand.name}" if job.stand.name else ""
    return (
        f"Turns {HANDS[job.part.hand]}{speed}, seen from the front; {significant(1e3 * job.part.mass)} g "
        f"turn; grade G{job.part.grade * 1e3:g} is asked for{stand}."
    )


def listed(kept: Kept) -> str:
    """Say of a job in the list where it stands."""
    runs = len(kept.job.runs)
    made = "no run yet" if not runs else "1 run" if runs == 1 else f"{runs} runs"
    return f"{made}; {'' if kept.step.ends else 'next: '}{step_title(kept.step)}; {kept.changed:%d %b %H:%M}"


def piece_lines(pieces: Sequence[Piece], direction: Direction) -> list[str]:
    """Say where each piece goes, with the letter that it has in the picture."""
    letters = [f"{chr(ord('A') + n)}: " if len(pieces) > 1 else "" for n in range(len(pieces))]
    return [letter + piece_text(piece, direction) for letter, piece in zip(letters, pieces, strict=True)]


def fit_groups(step: Step, direction: Direction) -> list[tuple[str, list[str]]]:
    """Say what comes off, what stays and what goes on, each under its heading; empty groups are left out."""
    new = step.put_on
    stays = [piece for piece in step.pieces if all(piece is not other for other in new)]
    groups = [
        ("Take off", [piece_text(piece, direction) for piece in step.taken_off]),
        ("Leave on", [piece_text(piece, direction) for piece in stays]),
        ("Put on", piece_lines(new, direction)),
    ]
    return [(head, lines) for head, lines in groups if lines]


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
    pieces = "1 piece" if other.total == 1 else f"{other.total} pieces"
    return f"With {pieces} instead {significant(gmm_from_kgm(abs(other.left)), 2)} g mm are left"


def alternative_lines(other: Placement, direction: Direction) -> list[str]:
    """Say where the pieces of another choice go."""
    on = (*other.kept, *other.pieces)
    return [piece_text(piece, direction) for piece in on] or ["Nothing is on."]


def headlines(kept: Kept) -> tuple[Headline, ...]:
    """Give the figures of a step that are read from two metres away."""
    step, job = kept.step, kept.job
    said = dict(step.why.figures)
    if step.action == "fit" and "then_gmm" in said:
        return (
            Headline("Left now (g mm)", significant(float(said["left_gmm"])), _UNBALANCE),
            Headline("Then left (g mm)", significant(float(said["then_gmm"]), 2), _UNBALANCE),
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
_GRADE = (
    "Balance quality grade of ISO 21940-11: less is smoother. The standard does not list model propellers; "
    "G6.3 is its grade for fans."
)


def _permissible(job: Job) -> tuple[Headline, ...]:
    if job.speed is None:
        return ()
    allowed = gmm_from_kgm(job.part.permissible(job.speed))
    return (Headline("Permissible (g mm)", significant(allowed), f"For G{job.part.grade * 1e3:g}. {_GRADE}"),)


def run_lines(job: Job, direction: Direction) -> list[str]:
    """Say what each run showed."""
    lines = [line.strip() for line in job_lines(job, direction)[1 : 1 + len(job.runs)]]
    return [line[:1].upper() + line[1:] for line in lines]


def doubts(job: Job, number: int) -> list[str]:
    """Say what was noticed in a run that needs a look."""
    run = job.runs[number - 1]
    return [finding_text(one) for one in (*run.findings, *run.signs) if one.severity != "info"]


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


def rotor_drawing(kept: Kept, direction: Direction) -> str | None:
    """Draw the step at the part; None if such a part cannot be drawn."""
    tip = None if kept.simulated is None else kept.simulated.tip
    try:
        view = rotor_view(kept.job.part, tip=tip, direction=direction)
        return step_picture(kept.step, view, kept.job.fitted)
    except InputError:  # more blades than a drawing shows, or a piece longer than the way round
        return None


def polar_drawing(kept: Kept, channel: int, direction: Direction) -> str | None:
    """Draw the runs as vectors; None while there is none, or when they have no phase."""
    job = kept.job
    counted = kept.worked.facts.counted
    return job_picture(
        [(one.number, one.run) for one in counted],
        unit="m/s²",
        solution=kept.step.solution,
        permissible=None if job.speed is None else job.part.permissible(job.speed),
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

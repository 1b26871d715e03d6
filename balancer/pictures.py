"""Which pictures a result has: value objects of the procedure put into the drawings of `figures`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from balancer.core import pieces as core
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.figures import NamedCircle, Piece, PolarPoint, RotorView, polar_picture, rotor_picture
from balancer.figures.palette import PieceRole, Role
from balancer.figures.rotor_view import Form
from balancer.figures.run_up import Curve, SweepView, run_up_picture
from balancer.procedure.noise_floor import TURNS, NoiseFloor
from balancer.procedure.solve import Solution
from balancer.procedure.story import Story
from balancer.simulator.presets import COASTAL_RIM, COASTAL_TIP
from balancer.units import mm_from_m, rpm_from_rad_s
from balancer.wording import Direction, piece_label

if TYPE_CHECKING:  # what is shown need not be loaded for the other pictures
    from balancer.core.runs import Run
    from balancer.procedure.part import Part
    from balancer.procedure.run_up import RunUp
    from balancer.procedure.step import Step

Hand = Literal["ccw", "cw"]


def runs_picture(
    solution: Solution,
    *,
    unit: str,
    channel: int = 0,
    direction: Direction = "against",
    hand: Hand = "ccw",
) -> str:
    """Draw the 1x vectors of all runs of one channel, with the permissible circle where it is known.

    Parameters
    ----------
    solution : Solution
        Solved from runs with phase.
    unit : str
        Unit of the readings; empty when not known.
    channel : int
        Which channel, from 0.
    direction : {"against", "with"}
        How the angles shown count.
    hand : {"ccw", "cw"}
        How the rotor turns, seen from the front.

    Returns
    -------
    str
        SVG text.

    Raises
    ------
    InputError
        If the runs have no phase.
    """
    vectors = [run.readings[channel] for run in solution.runs]
    points = []
    for index, vector in enumerate(vectors):
        if not isinstance(vector, UncertainComplex):
            raise InputError("runs without phase have no polar picture", todo="use runs with a mark")
        label = solution.runs[index].purpose or ("as-is" if index == 0 else f"run {index + 1}")
        points.append(PolarPoint(label, vector.value, vector.covariance, _role(index, label)))
    circles = _permissible(solution, solution.residual.permissible, channel)
    title = "1x vector of each run"
    return polar_picture(points, unit=unit, circles=circles, title=title, direction=direction, hand=hand)


def _permissible(solution: Solution, permissible: float | None, channel: int) -> tuple[NamedCircle, ...]:
    if permissible is None:
        return ()
    return (NamedCircle("permissible", permissible * solution.answer.influence[channel].amplitude),)


def _role(index: int, label: str) -> Role:
    if index == 0:
        return "as_is"
    return "check" if label in ("check", "trim") else "trial"


def job_picture(  # noqa: PLR0913 - each is a fact of its own, and all but one go by name
    runs: Sequence[tuple[int, Run]],
    *,
    unit: str,
    solution: Solution | None = None,
    permissible: float | None = None,
    floor: NoiseFloor | None = None,
    channel: int = 0,
    scale: float = 1.0,
    direction: Direction = "against",
    hand: Hand = "ccw",
) -> str | None:
    """Draw the 1x vectors of a job's runs, as far as it has gone.

    Parameters
    ----------
    runs : sequence of (int, Run)
        Those that count, with their numbers in the job.
    unit : str
        Unit of what is drawn; empty when not known.
    solution : Solution or None
        What they amount to by now; without it nothing is known of the permissible circle.
    permissible : float or None
        Permissible residual unbalance in kg m.
    floor : NoiseFloor or None
        What noise alone amounts to in this channel.
    scale : float
        Turns readings into `unit`.
    channel, direction, hand
        As in `runs_picture`.

    Returns
    -------
    str or None
        SVG text; None while there is no run, or when the runs have no phase.
    """
    points = []
    for number, run in runs:
        vector = run.readings[channel]
        if not isinstance(vector, UncertainComplex):
            return None
        role = _role(0 if not run.masses else number, run.purpose)
        shown = vector.times(scale)
        points.append(PolarPoint(f"{number} {run.purpose}", shown.value, shown.covariance, role))
    if not points:
        return None
    circles = () if solution is None else _permissible(solution, permissible, channel)
    if floor is not None:
        circles = (*circles, NamedCircle(_FLOORS[floor.known_from], floor.amplitude, "noise"))
    circles = tuple(replace(circle, radius=scale * circle.radius) for circle in circles)
    title = "1x vector of each run" if len(points) > 1 else "1x vector of the run"
    return polar_picture(points, unit=unit, circles=circles, title=title, direction=direction, hand=hand)


_FLOORS = {"rest": f"noise at rest, {TURNS} turns", "runs": "noise of the surest run"}


def rotor_view(
    part: Part, *, tip: float | None = None, direction: Direction = "against", title: str = ""
) -> RotorView:
    """Give a part as it is drawn, without pieces.

    Parameters
    ----------
    part : Part
        Any; what has no blades is drawn as a bell.
    tip : float or None
        Radius in m of a propeller; None: a little beyond where tape may lie.
    direction : {"against", "with"}
        How the degrees shown count.
    title : str
        Written above.

    Returns
    -------
    RotorView
        The view.

    Raises
    ------
    InputError
        If it cannot be drawn, such as seven blades.
    """
    places = part.places
    rings = [ring.radius for ring in places.rings]
    if not places.blades:
        reach = max([*rings, *(1.1 * spots.radius for spots in places.spots)])
        return RotorView("bell", mm_from_m(reach), hand=part.hand, direction=direction, title=title)
    reach = tip or _BEYOND * max(blade.outer for blade in places.blades)
    hub = rings[0] if rings and rings[0] < reach else None
    return RotorView(
        "propeller",
        mm_from_m(reach),
        blades=len(places.blades),
        hand=part.hand,
        hub_radius_mm=None if hub is None else mm_from_m(hub),
        first_blade_deg=math.degrees(places.blades[0].angle),
        direction=direction,
        title=title,
    )


_BEYOND = 1.1  # times the outermost tape: there a blade of unknown length is drawn to end


_PUT_ON = {
    "trial": "Trial run: where it goes",
    "correction": "Correction: where it goes",
    "trim": "Trim: what is added",
}


def step_picture(step: Step, view: RotorView, fitted: Sequence[core.Piece] = ()) -> str:
    """Draw a step at the part: what goes on or, when nothing does, what comes off; else what is on now.

    Parameters
    ----------
    step : Step
        From `next_step`.
    view : RotorView
        The part.
    fitted : sequence of balancer.core.pieces.Piece
        What is on now.

    Returns
    -------
    str
        SVG text.
    """
    if step.action == "fit":
        new = step.put_on
        if not new:
            return _on_view(_in_role(step.taken_off, "remove"), view, "What comes off")
        role: PieceRole = "trial" if step.purpose == "trial" else "add"
        stays = _in_role(staying(step), "on")
        return _on_view((*_in_role(new, role), *stays), view, _PUT_ON[step.purpose])
    trial = step.action == "spin" and step.purpose == "trial"
    title = "On the rotor already" if fitted else "The part as found"
    return _on_view(_in_role(fitted, "trial" if trial else "on"), view, title)


def staying(step: Step) -> tuple[core.Piece, ...]:
    """Give the pieces of a step that are on already; in the picture they follow those that go on."""
    new = step.put_on
    return tuple(piece for piece in step.pieces if all(piece is not other for other in new))


def _in_role(pieces: Sequence[core.Piece], role: PieceRole) -> tuple[Piece, ...]:
    return tuple(_piece(piece, role) for piece in pieces)


def _on_view(pieces: Sequence[Piece], view: RotorView, title: str) -> str:
    # what was typed in may lie anywhere
    reach = max([view.radius_mm, *(piece.radius_mm for piece in pieces)])
    return rotor_picture(replace(view, radius_mm=reach, pieces=tuple(pieces), title=title))


def pieces_picture(
    pieces: Sequence[core.Piece],
    *,
    rotor: RotorView,
    role: PieceRole = "add",
    title: str = "",
) -> str:
    """Draw pieces at their places on a rotor.

    Parameters
    ----------
    pieces : sequence of balancer.core.pieces.Piece
        What goes on; removed material is drawn as such, whatever the role of the others.
    rotor : RotorView
        The rotor without pieces.
    role : {"trial", "add", "remove", "on"}
        What is done with them.
    title : str
        Written above.

    Returns
    -------
    str
        SVG text.
    """
    return rotor_picture(replace(rotor, pieces=_in_role(pieces, role), title=title))


_LOOSE_MM = 4.0  # what is no strip is drawn as a sign; only its place is measured
_FORMS: dict[core.Kind, Form] = {"drop": "drop", "washer": "washer", "removed": "spot"}


def _piece(piece: core.Piece, role: PieceRole) -> Piece:
    length, width = (
        (_LOOSE_MM, _LOOSE_MM)
        if piece.strip is None
        else (mm_from_m(piece.strip.length), mm_from_m(piece.strip.tape.width))
    )
    return Piece(
        angle_deg=math.degrees(piece.angle),
        radius_mm=mm_from_m(piece.radius),
        length_mm=length,
        width_mm=width,
        label=f"{piece_label(piece)}, {piece.where}",
        role=_role_of(piece, role),
        on_ring=piece.strip is not None and not piece.along_blade,
        form="strip" if piece.strip is not None else _FORMS.get(piece.kind, "mass"),
    )


def _role_of(piece: core.Piece, role: PieceRole) -> PieceRole:
    """Give the role of a piece: material taken off is never added, and what is off stays off."""
    if piece.kind != "removed":
        return role
    return "gone" if role == "on" else "remove"


def story_pictures(story: Story) -> dict[str, str]:
    """Draw the story: the propeller with its trial and its correction, and the polar picture.

    Parameters
    ----------
    story : Story
        The story.

    Returns
    -------
    dict of str to str
        SVG text by file name.
    """
    rotor = RotorView(
        kind="propeller",
        radius_mm=mm_from_m(COASTAL_TIP),
        blades=story.bench.rotor.blades,
        hand=story.bench.rotor.hand,
        hub_radius_mm=mm_from_m(COASTAL_RIM),
    )
    return {
        "propeller.svg": pieces_picture(story.pieces, rotor=rotor, title="Correction: where the tape goes"),
        "trial.svg": pieces_picture(
            (story.trial_piece,), rotor=rotor, role="trial", title="Trial run: where the tape goes"
        ),
        "polar.svg": runs_picture(story.outcome, unit="m/s²", hand=rotor.hand),
    }


def sweep_picture(shown: RunUp, *, unit: str = "", scale: float = 1.0) -> str:
    """Draw a sweep: the two channels in which 1x is largest.

    Parameters
    ----------
    shown : RunUp
        What was read.
    unit : str
        Unit of what is drawn; empty: that of the recording.
    scale : float
        Turns what was read into `unit`.

    Returns
    -------
    str
        SVG, one line.
    """
    track = shown.track
    order = np.argsort(track.speeds)
    size = np.max(np.abs(track.once), axis=1)
    strongest = sorted(np.argsort(-size)[:2].tolist())
    rpm = tuple(rpm_from_rad_s(s) for s in track.speeds[order].tolist())
    curves = tuple(
        Curve(track.channels[k], rpm, tuple(complex(scale * v) for v in track.once[k, order]))
        for k in strongest
    )
    proposed = shown.proposed
    view = SweepView(
        curves=curves,
        unit=unit or track.unit,
        resonances_rpm=tuple(60 * mode.frequency for mode in shown.resonances),
        keep_out_rpm=tuple((rpm_from_rad_s(a), rpm_from_rad_s(b)) for a, b in shown.avoid),
        proposed_rpm=None if proposed is None else rpm_from_rad_s(proposed.speed),
        hover_rpm=None if proposed is None or proposed.hover is None else rpm_from_rad_s(proposed.hover),
    )
    return run_up_picture(view)

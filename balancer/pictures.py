"""Which pictures a result has: value objects of the procedure put into the drawings of `figures`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.figures import NamedCircle, Piece, PolarPoint, RotorView, polar_picture, rotor_picture
from balancer.figures.palette import PieceRole, Role
from balancer.procedure.solve import Solution
from balancer.procedure.story import Story
from balancer.procedure.strips import LaidStrip
from balancer.simulator.presets import COASTAL_RIM, COASTAL_TIP
from balancer.units import g_from_kg, mm_from_m
from balancer.wording import Direction, significant

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
    circles = []
    if solution.residual.permissible is not None:
        radius = solution.residual.permissible * solution.answer.influence[channel].amplitude
        circles.append(NamedCircle("permissible", radius))
    title = "1x vector of each run"
    return polar_picture(points, unit=unit, circles=circles, title=title, direction=direction, hand=hand)


def _role(index: int, label: str) -> Role:
    if index == 0:
        return "as_is"
    return "check" if label in ("check", "trim") else "trial"


def strips_picture(
    strips: Sequence[LaidStrip],
    *,
    rotor: RotorView,
    role: PieceRole = "add",
    title: str = "",
) -> str:
    """Draw strips of tape at their places on a rotor.

    Parameters
    ----------
    strips : sequence of LaidStrip
        What goes on.
    rotor : RotorView
        The rotor without pieces.
    role : {"trial", "add", "remove"}
        What is done with them.
    title : str
        Written above.

    Returns
    -------
    str
        SVG text.
    """
    pieces = tuple(_piece(item, role) for item in strips)
    return rotor_picture(replace(rotor, pieces=pieces, title=title))


def _piece(item: LaidStrip, role: PieceRole) -> Piece:
    layers = f", {item.strip.layers} layers" if item.strip.layers > 1 else ""
    return Piece(
        angle_deg=math.degrees(item.angle),
        radius_mm=mm_from_m(item.radius),
        length_mm=mm_from_m(item.strip.length),
        width_mm=mm_from_m(item.strip.tape.width),
        label=f"{significant(g_from_kg(item.strip.mass) * 1e3)} mg of tape{layers}, {item.where}",
        role=role,
        on_ring=not item.along_blade,
    )


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
        "propeller.svg": strips_picture(story.strips, rotor=rotor, title="Correction: where the tape goes"),
        "trial.svg": strips_picture(
            (story.trial_strip,), rotor=rotor, role="trial", title="Trial run: where the tape goes"
        ),
        "polar.svg": runs_picture(story.outcome, unit="m/s²", hand=rotor.hand),
    }

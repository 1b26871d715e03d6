"""Sentences, figures and pictures that only the page needs; what both faces say is in `balancer.wording`."""

from __future__ import annotations

import cmath
import json
import re
from dataclasses import dataclass, replace

from balancer.app.services import BenchJob, Result, RotorFacts
from balancer.contract import solution_json
from balancer.core.pieces import Piece
from balancer.core.vectors import UncertainComplex
from balancer.figures import PolarPoint, polar_picture, rotor_picture, standalone
from balancer.figures.palette import PieceRole
from balancer.pictures import pieces_picture, runs_picture
from balancer.procedure.measure import ChannelResult, Measurement
from balancer.procedure.solve import Residual
from balancer.units import degrees_0_360, g_from_kg, gmm_from_kgm, mm_from_m, rpm_from_rad_s
from balancer.wording import CAUTIONS, Direction, angle_text, piece_text, significant

AT_THE_ROTOR = CAUTIONS[4:6]
"""The cautions for the moment in which a hand with tape goes near the rotor."""

HANDS = {"ccw": "counter-clockwise", "cw": "clockwise"}


@dataclass(frozen=True)
class Headline:
    """A figure shown large: what it is with its unit, its value, and a sentence of explanation."""

    label: str
    value: str
    help: str


@dataclass(frozen=True)
class Download:
    """A file to take away."""

    label: str
    name: str
    mime: str
    text: str


def plain(text: str) -> str:
    r"""Make any text safe for Markdown: it comes out as written, whatever a file or a person put in.

    Examples
    --------
    >>> plain("*bold* ![](http://a)")
    '\\*bold\\* \\!\\[\\]\\(http\\:\\/\\/a\\)'
    """
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", " ".join(text.split()))


def rotor_text(rotor: RotorFacts, speed: float) -> str:
    """Say what is on the bench and how it turns."""
    what = "A 12-inch propeller on its motor" if rotor.part == "propeller" else "A bare motor bell"
    return f"{what}, turning {HANDS[rotor.hand]} at {rpm_from_rad_s(speed):.0f} rpm"


def strongest(measured: Measurement) -> int:
    """Give the channel that shakes most."""
    sizes = [channel.amplitude.value for channel in measured.channels]
    return sizes.index(max(sizes))


def shake_text(channel: ChannelResult, direction: Direction) -> str:
    """Say how one sensor axis shakes once per turn."""
    size = f"{significant(channel.amplitude.value)} {_unit(channel)} on axis {channel.name}"
    if channel.once is None:
        return size
    return f"{size}, at {angle_text(channel.once.lag, direction)}"


def _unit(channel: ChannelResult) -> str:
    return channel.unit.replace("^2", "²")


def correction_headlines(result: Result, direction: Direction) -> tuple[Headline, ...]:
    """Give the figures of what to add: to the rotor as it came, or on top after a check run."""
    answer = result.solution.answer
    wanted = answer.next_correction if result.checked else answer.correction
    radius = result.solution.radius
    return (
        Headline(
            "Add (g)",
            significant(g_from_kg(wanted.amplitude / radius)),
            "Mass that would cancel the unbalance, if it could sit at exactly this radius and angle.",
        ),
        Headline("At radius (mm)", f"{mm_from_m(radius):g}", "Distance from the shaft."),
        Headline(
            "At angle (°)",
            f"{degrees_0_360(wanted.lag if direction == 'against' else -wanted.lag):.0f}",
            f"From the mark, counted {direction} the rotation, seen from the front.",
        ),
    )


def residual_headlines(result: Result) -> tuple[Headline, ...]:
    """Give the unbalance and its grade: as it came, and what is left once a check run was made."""
    if not result.checked:
        return _unbalance(result.found, "Came with (g mm)", "Came with grade")
    left = _unbalance(result.solution.residual, "Left (g mm)", "Grade reached")
    return (*left, *_unbalance(result.found, "Came with (g mm)", "Came with grade"))


def _unbalance(residual: Residual, label: str, grade: str) -> tuple[Headline, ...]:
    amount = Headline(
        label,
        significant(gmm_from_kgm(residual.unbalance)),
        "Unbalance is mass times radius: 1 g mm is a tenth of a gram at 10 mm.",
    )
    if residual.grade is None:
        return (amount, Headline(grade, "–", "Give the rotor mass, and the grade can be told."))
    explained = "Balance quality grade of ISO 21940-11: less is smoother; G6.3 is usual for fans."
    return (amount, Headline(grade, f"G{significant(residual.grade * 1e3, 2)}", explained))


def change_text(result: Result, channel: int) -> str:
    """Say how much of the once-per-turn shaking went from the first to the last run, on one axis."""
    before, after = (one.channels[channel] for one in (result.measured[0], result.measured[-1]))
    share = 100 * (1 - after.amplitude.value / before.amplitude.value)
    way = f"down by {share:.1f} %" if share >= 0 else f"up by {-share:.1f} %"
    return (
        f"The once-per-turn shaking on axis {before.name} went {way}: from "
        f"{significant(before.amplitude.value)} to {significant(after.amplitude.value)} {_unit(before)}."
    )


def piece_lines(pieces: tuple[Piece, ...], direction: Direction) -> list[str]:
    """Say where each piece goes, with the letter that it has in the picture."""
    letters = [f"{chr(ord('A') + n)}: " if len(pieces) > 1 else "" for n in range(len(pieces))]
    return [letter + piece_text(piece, direction) for letter, piece in zip(letters, pieces, strict=True)]


def truth_lines(job: BenchJob, direction: Direction) -> list[str]:
    """Lay open what the simulated bench hid."""
    hidden, advised = job.hidden, job.result.solution.answer.correction.value
    gone = 1 - abs(job.truly_left) / abs(hidden)
    return [
        f"The rotor hid {_vector(hidden, direction)}.",
        f"The exact answer was to add {_vector(-hidden, direction)}; "
        f"the measurements said {_vector(advised, direction)}.",
        f"The tape took {100 * gone:.1f} % of the hidden unbalance away; "
        f"{significant(gmm_from_kgm(abs(job.truly_left)))} g mm are left.",
    ]


def _vector(unbalance: complex, direction: Direction) -> str:
    return (
        f"{significant(gmm_from_kgm(abs(unbalance)))} g mm at {angle_text(cmath.phase(unbalance), direction)}"
    )


def first_picture(job: BenchJob, channel: int, direction: Direction) -> str:
    """Draw the 1x vector of the as-is run."""
    shown = job.runs[0].measurement.channels[channel]
    assert shown.once is not None
    point = PolarPoint("as-is", shown.once.value, shown.once.covariance, "as_is")
    return polar_picture(
        [point],
        unit=_unit(shown),
        title="1x vector of the as-is run",
        direction=direction,
        hand=job.rotor.hand,
    )


def polar(result: Result, channel: int, direction: Direction) -> str | None:
    """Draw the 1x vectors of all runs; None when the readings have no phase."""
    if not isinstance(result.solution.runs[0].readings[channel], UncertainComplex):
        return None
    unit = _unit(result.measured[0].channels[channel])
    return runs_picture(
        result.solution, unit=unit, channel=channel, direction=direction, hand=result.rotor.hand
    )


def rotor_drawing(
    rotor: RotorFacts,
    pieces: tuple[Piece, ...],
    direction: Direction,
    *,
    role: PieceRole = "add",
    title: str = "",
) -> str:
    """Draw pieces on the rotor, or the bare rotor when there are none."""
    view = replace(rotor.view, direction=direction, title=title)
    return pieces_picture(pieces, rotor=view, role=role, title=title) if pieces else rotor_picture(view)


def layout_titles(result: Result) -> list[str]:
    """Give a title for the drawing of each layout."""
    many = len(result.layouts) > 1
    return [
        f"Candidate {n}: where the tape would go" if many else "Where the tape goes"
        for n in range(1, len(result.layouts) + 1)
    ]


def downloads(result: Result, channel: int, direction: Direction) -> tuple[Download, ...]:
    """Give the files to take away: figures for scripts, pictures for the workshop wall."""
    figures = json.dumps(solution_json(result.solution), ensure_ascii=False, allow_nan=False, indent=2)
    files = [Download("All figures (JSON)", "solution.json", "application/json", figures)]
    for number, (pieces, title) in enumerate(zip(result.layouts, layout_titles(result), strict=True), 1):
        many = f" {number}" if len(result.layouts) > 1 else ""
        svg = standalone(rotor_drawing(result.rotor, pieces, direction, title=title))
        files.append(Download(f"Tape drawing{many} (SVG)", f"tape{many.strip()}.svg", "image/svg+xml", svg))
    circle = polar(result, channel, direction)
    if circle is not None:
        files.append(Download("Polar picture (SVG)", "polar.svg", "image/svg+xml", standalone(circle)))
    return tuple(files)

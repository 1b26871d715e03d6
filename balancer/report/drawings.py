"""The pictures of a card."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from balancer.core.pieces import Piece
from balancer.core.residual import Point
from balancer.errors import InputError
from balancer.figures import NamedCircle, PolarPoint, RotorView, polar_picture
from balancer.figures.palette import Role
from balancer.figures.svg import escape
from balancer.figures.trend import TrendPoint, TrendView, chart_points, trend_picture
from balancer.history.records.part import BellSizes, PartRecord, PropellerSizes
from balancer.pictures import pieces_picture
from balancer.procedure.part import Hand
from balancer.report.card import PartCard, Polar, TrendData
from balancer.units import gmm_from_kgm, mm_from_m
from balancer.wording.basics import Direction
from balancer.wording.report import grade_text, vector_label

_MARKED = frozenset({"crashed", "repaired"})


@dataclass(frozen=True)
class Drawing:
    """A picture, or why there is none.

    Parameters
    ----------
    title : str
        What it shows.
    svg : str
        The picture; empty for none.
    missing : str
        Why there is none, as a sentence; empty where there is one.
    """

    title: str
    svg: str
    missing: str = ""


def polar_drawing(polar: Polar, hand: Hand, direction: Direction) -> Drawing:
    """Draw the 1x vectors of a job with the permissible circle."""
    checks = sum(one.purpose == "check" for one in polar.vectors)
    points, seen = [], 0
    for one in polar.vectors:
        seen += one.purpose == "check"
        label = vector_label(one, seen if one.purpose == "check" and checks > 1 else None)
        points.append(PolarPoint(label, one.value.value, one.value.covariance, _role(one.purpose)))
    circles = [] if polar.permissible is None else [NamedCircle("permissible", polar.permissible)]
    axis = f", axis {polar.channel}" if polar.channel else ""
    title = f"1x vector of each run{axis}"
    drawn = polar_picture(
        points, unit=polar.unit, circles=circles, title=title, direction=direction, hand=hand
    )
    return Drawing("Vibration before and after", titled(drawn, title))


def _role(purpose: str) -> Role:
    if purpose == "as-is":
        return "as_is"
    return "check" if purpose in ("check", "trim") else "trial"


def pieces_drawing(
    part: PartRecord, pieces: Sequence[Piece], hand: Hand | None, direction: Direction, title: str
) -> Drawing:
    """Draw a part from the front with the pieces that are on it."""
    missing = _why_not(part, hand)
    if missing or hand is None:
        return Drawing(title, "", missing)
    try:
        view = _view(part, hand, direction)
        drawn = pieces_picture(pieces, rotor=view, title=title)
    except InputError as error:
        return Drawing(title, "", f"No drawing: {error.what}.")
    return Drawing(title, titled(as_fitted(drawn), title))


def _why_not(part: PartRecord, hand: Hand | None) -> str:
    if part.kind == "adapter":
        return "There is no drawing of an adapter: its pieces are listed in words."
    if _radius(part) is None:
        return "No drawing: the radius of the part is not known."
    return "" if hand else "No drawing: it is not known which way the part turns."


def _radius(part: PartRecord) -> float | None:
    """Give the radius of a part in m: from its sizes, else as far as its places reach."""
    if isinstance(part.sizes, PropellerSizes):
        return part.sizes.diameter / 2
    if isinstance(part.sizes, BellSizes) and part.sizes.radius is not None:
        return part.sizes.radius
    places = part.places
    return None if places is None else max((ring.radius for ring in places.rings), default=None)


def _view(part: PartRecord, hand: Hand, direction: Direction) -> RotorView:
    radius = _radius(part)
    assert radius is not None
    if not isinstance(part.sizes, PropellerSizes):
        return RotorView("bell", mm_from_m(radius), hand=hand, direction=direction)
    places = part.places
    rings = () if places is None else places.rings
    return RotorView(
        "propeller",
        mm_from_m(radius),
        blades=part.sizes.blades,
        hand=hand,
        hub_radius_mm=next((mm_from_m(ring.radius) for ring in rings if ring.radius < radius), None),
        first_blade_deg=math.degrees(places.blades[0].angle) if places and places.blades else 0.0,
        direction=direction,
    )


def as_fitted(svg: str) -> str:
    """Say of pieces that they are on a part, where the drawing says to add them.

    Whoever read "add" on a card would fit the same piece a second time.
    """
    svg = re.sub(r">((?:[A-Z]: )?)[Aa]dd(?=[ <])", r">\1on it:", svg)
    svg = re.sub(r">((?:[A-Z]: )?)[Rr]emove(?=[ <])", r">\1taken off:", svg)
    svg = svg.replace("on it:<", "on it<").replace("taken off:<", "taken off<")
    head, rest = svg.split(">", 1)
    head = re.sub(r"\. Add(?= )", ". On it:", head)
    head = re.sub(r"\. Remove(?= )", ". Taken off:", head)
    return f"{head}>{rest}"


def trend_drawing(card: PartCard, trend: TrendData) -> Drawing:
    """Draw the unbalance of a part over time, with crashes and repairs."""
    points = chart_points([_trend_point(one.left, one.point) for one in trend.points])
    first = min(point.when for point in points)
    events = tuple(
        (event.at.date(), event.kind)
        for event in reversed(card.events)
        if event.kind in _MARKED and event.at.date() >= first
    )
    view = TrendView(
        points=points,
        lines=tuple((grade_text(grade), gmm_from_kgm(allowed)) for grade, allowed in trend.lines),
        asked=grade_text(trend.asked),
        events=events,
    )
    return Drawing("Unbalance over time", titled(trend_picture(view), "Unbalance over time"))


def _trend_point(left: bool, point: Point) -> TrendPoint:
    value, lower, upper = (gmm_from_kgm(v) for v in (point.value, point.lower, point.upper))
    return TrendPoint(point.when, value, lower, upper, left)


def titled(svg: str, title: str) -> str:
    """Give a picture a title of its own, beside the description that it has."""
    head, rest = svg.split(">", 1)
    return f"{head}><title>{escape(title)}</title>{rest}"

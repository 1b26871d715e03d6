"""The rotor picture: where the tape goes, on the rotor as it is seen from the front."""

from __future__ import annotations

from itertools import pairwise

from balancer.figures import shapes, svg
from balancer.figures.dial import (
    DIRECTION_WORDS,
    HAND_WORDS,
    MARGIN,
    RING,
    WIDTH,
    Dial,
    frame,
    heading,
)
from balancer.figures.labels import Box, Scene, Stroke
from balancer.figures.lens import SIDE, lens, magnification
from balancer.figures.rotor_view import PIECE_WORDS, Piece, RotorView

_TIP = 116.0
_SIZE = 11.5


def rotor_picture(view: RotorView) -> str:
    """Draw a rotor with its pieces, as it lies before the person: from the front, the mark at the top.

    Angles count against the rotation from the mark, so 90 deg is drawn a quarter turn clockwise from the top
    on a rotor that turns counter-clockwise, and a quarter turn counter-clockwise on one that turns clockwise
    (``dial`` derives it).

    Parameters
    ----------
    view : RotorView
        The rotor, its pieces, and how it turns.

    Returns
    -------
    str
        SVG, one line, without ids.

    Raises
    ------
    InputError
        When the view is made: see RotorView and Piece.
    """
    title, top = heading(view.title) if view.title else ("", 4.0)
    dial = Dial(complex(WIDTH / 2, top + 44 + RING), _TIP / view.radius_mm, view.hand)
    around, boxes = frame(dial, top, view.direction)
    bottom = dial.centre.imag + RING + 38
    rows, height = _details(view, dial.scale, bottom)
    return svg.document(
        WIDTH,
        height,
        _sentence(view),
        title,
        around,
        shapes.body(dial, view),
        *(_leader(dial, one) for one in view.pieces),
        *(shapes.piece(dial, view, one) for one in view.pieces),
        _labels(dial, view, boxes),
        _foot(dial, bottom - 20),
        rows,
    )


def _leader(dial: Dial, one: Piece) -> str:
    """Draw the line from the shaft through the piece to its place on the ring of degrees."""
    end = dial.at(one.angle_deg, RING / dial.scale)
    pointer = svg.arrow_head(end, end - dial.centre, 8, fill=one.style.colour)
    return svg.line(dial.centre, end, **svg.stroke(one.style.colour, 1, "3 3")) + pointer


def _letter(view: RotorView, number: int) -> str:
    return f"{chr(ord('A') + number)}: " if 1 < len(view.pieces) <= 26 else ""


def _labels(dial: Dial, view: RotorView, boxes: list[Box]) -> str:
    centres = [dial.at(one.angle_deg, one.radius_mm) for one in view.pieces]
    words = [_label_words(view, n, one) for n, one in enumerate(view.pieces)]
    wanted = [
        (
            centre,
            max(svg.text_width(w, _SIZE) for w in pair) + 4,
            29.0,
            (dial.centre - centre) * (1j if view.kind == "propeller" else 1),
        )
        for pair, centre in zip(words, centres, strict=True)
    ]
    placed = _scene(dial, view, boxes).place_all(wanted)
    return "".join(
        _label(pair, centre, box, _clear(dial, one))
        for pair, centre, box, one in zip(words, centres, placed, view.pieces, strict=True)
    )


def _clear(dial: Dial, one: Piece) -> float:
    """Give how far from its middle a piece may hide the pointer to it, in px."""
    return shapes.SIGN if one.form != "strip" else dial.scale * min(one.length_mm, one.width_mm) / 2


def _label_words(view: RotorView, number: int, one: Piece) -> tuple[str, str]:
    place = one.place(view.direction)
    # between the arms of a bell there is room for a short word only; the row below says it all
    return _letter(view, number) + PIECE_WORDS[
        one.role
    ], place if view.kind == "propeller" else place.split()[-1]


def _scene(dial: Dial, view: RotorView, boxes: list[Box]) -> Scene:
    reach = complex(WIDTH / 2 - 4, RING + 30)
    leaders = ((dial.centre, dial.at(one.angle_deg, RING / dial.scale)) for one in view.pieces)
    return Scene(
        Box(dial.centre - reach, dial.centre + reach),
        (*boxes, *(_piece_box(dial, view, one) for one in view.pieces), _hub_box(dial, view)),
        (*_blade_edges(dial, view), *_circles(dial, view), *leaders),
        tuple(dial.at(one.angle_deg, one.radius_mm) for one in view.pieces),
    )


def _label(words: tuple[str, str], anchor: complex, box: Box, clear: float) -> str:
    """Write the two lines, with a pointer to the piece (which begins `clear` px before its centre) if far."""
    rows = (
        svg.text(word, box.centre + 1j * (14 * n - 7), _SIZE, bold=n == 0) for n, word in enumerate(words)
    )
    way = (anchor - box.centre) / abs(anchor - box.centre)
    ends = box.centre + way * (box.reach(way) + 2), anchor - way * clear
    far = box.distance(anchor) > 20 + clear
    return (svg.line(*ends, **svg.stroke("currentColor", 0.8)) if far else "") + "".join(rows)


def _piece_box(dial: Dial, view: RotorView, one: Piece) -> Box:
    corners = [shapes.corner(dial, view, one, a, b) for a in (-1, 1) for b in (-1, 1)]
    xs, ys = [c.real for c in corners], [c.imag for c in corners]
    return Box(complex(min(xs) - 2, min(ys) - 2), complex(max(xs) + 2, max(ys) + 2))


def _hub_box(dial: Dial, view: RotorView) -> Box:
    return Box.centred(dial.centre, 2 * view.hub * dial.scale, 2 * view.hub * dial.scale)


def _blade_edges(dial: Dial, view: RotorView) -> list[Stroke]:
    outline = ((0.0, -0.04), (0.25, -0.10), (0.95, -0.03), (0.95, 0.03), (0.25, 0.07), (0.0, 0.04))
    blades = (
        [shapes.blade_point(dial, view, angle, *place) for place in outline]
        for angle in shapes.blade_angles(view)
    )
    return [edge for points in blades for edge in pairwise(points)]


def _circles(dial: Dial, view: RotorView) -> list[Stroke]:
    """Give the ring of degrees and, of a bell, the rim and the arms, as straight lines."""
    ring = pairwise(dial.at(10 * n, RING / dial.scale) for n in range(37))
    if view.kind == "propeller":
        return list(ring)
    walls = (dial.at(10 * n, share * view.radius_mm) for share in (1.0, 0.91, 0.82) for n in range(37))
    arms = ((dial.centre, dial.at(360 / shapes.SLOTS * n, 0.8 * view.radius_mm)) for n in range(shapes.SLOTS))
    return [*ring, *pairwise(walls), *arms]


def _foot(dial: Dial, y: float) -> str:
    """Draw the scale bar and say from where the rotor is seen."""
    length = svg.nice_step(70 / dial.scale / 2, 1, (1, 2, 5, 10))
    start = complex(MARGIN, y + 6)
    end = start + length * dial.scale
    ink = svg.stroke("currentColor", 1.6)
    ticks = "".join(svg.line(p - 3j, p + 3j, **ink) for p in (start, end))
    return (
        svg.line(start, end, data_part="scale-bar", **ink)
        + ticks
        + svg.text(f"{svg.short(length, 3)} mm", start - 9j, _SIZE, "start")
        + svg.text("seen from the front", complex(WIDTH - MARGIN, y), _SIZE, "end")
    )


def _details(view: RotorView, scale: float, top: float) -> tuple[str, float]:
    """Draw a row for every piece: enlarged where it is small, and in words."""
    drawn, y = [], top
    for number, one in enumerate(view.pieces):
        factor = magnification(scale, one)
        left = MARGIN + (SIDE + 14 if factor > 1 else 0)
        head = _letter(view, number) + view.task(one)
        bold = svg.wrap(head[:1].upper() + head[1:], WIDTH - MARGIN - left, 13.5, 3)
        plain = [f"centre: {one.place(view.direction)}", *_sizes(view, one, factor)]
        if factor > 1:
            drawn.append(lens(view, one, scale * factor, complex(MARGIN, y)))
        drawn += [
            svg.text(row, complex(left, y + 12 + 18 * n), 13.5, "start", bold=n < len(bold))
            for n, row in enumerate([*bold, *plain])
        ]
        y += SIDE + 12 if factor > 1 else 18 * len([*bold, *plain]) + 10
    return "".join(drawn), y


def _sizes(view: RotorView, one: Piece, factor: int) -> list[str]:
    size = view.size(one)
    return [*size.split(", "), f"drawn {factor} times larger"] if factor > 1 else [size]


def _sentence(view: RotorView) -> str:
    pieces = [f"{view.task(p)}, centre at {p.place(view.direction)}, {view.size(p)}" for p in view.pieces]
    title = f"{view.title}. " if view.title else ""
    return (
        f"{title}{view.name[:1].upper()}{view.name[1:]}, seen from the front, "
        f"turning {HAND_WORDS[view.hand]}; the mark is at the top, "
        f"angles count {DIRECTION_WORDS[view.direction]}. "
        + ". ".join(p[:1].upper() + p[1:] for p in pieces or ["nothing is fitted"])
        + "."
    )

"""The parts of a page: how a part stands, before and after, what is on it, its trend, jobs and events."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from balancer.core.pieces import Piece
from balancer.report.card import Left, MachineSheet, Outcome, PartCard
from balancer.report.drawings import Drawing, pieces_drawing, polar_drawing, trend_drawing
from balancer.report.markup import Html, element, joined, typed, typed_block
from balancer.units import gmm_from_kgm
from balancer.wording import report as words
from balancer.wording.basics import CAUTIONS, FITTING_CAUTION, Direction, finding_text, significant
from balancer.wording.history import turned_text
from balancer.wording.tape import piece_text

Row = Sequence[str]


def heading(level: int, *content: str) -> Html:
    """Write a heading."""
    return element(f"h{level}", *content)


def dated(text: str) -> Html:
    """Mark the days in a text, so that none is broken at the end of a line.

    Examples
    --------
    >>> dated("not before 2027-01-03 <")
    'not before <time>2027-01-03</time> &lt;'
    """
    pieces = re.split(r"(\d{4}-\d\d-\d\d)", text)
    return joined(*(element("time", one) if n % 2 else one for n, one in enumerate(pieces)))


def table(head: Row, rows: Sequence[Row], caption: str = "") -> Html:
    """Write a table: the first cell of each row is its heading."""
    return element(
        "div",
        element(
            "table",
            element("caption", caption) if caption else Html(""),
            element("thead", element("tr", *(element("th", cell, scope="col") for cell in head))),
            element("tbody", *(_row(row) for row in rows)),
        ),
        class_="scroll",
        tabindex="0",
        role="region",
        aria_label=caption or "table",
    )


def _row(row: Row) -> Html:
    first, *others = row
    return element("tr", element("th", first, scope="row"), *(element("td", cell) for cell in others))


def listed(lines: Sequence[str]) -> Html:
    """Write lines as a list."""
    return element("ul", *(element("li", line) for line in lines)) if lines else Html("")


def paragraphs(lines: Sequence[str], class_: str = "") -> Html:
    """Write lines as paragraphs."""
    return joined(*(element("p", line, class_=class_) for line in lines))


def figure(drawing: Drawing) -> Html:
    """Put a picture on the page, or say why there is none."""
    if not drawing.svg:
        return element("p", drawing.missing, class_="quiet")
    # the pictures of balancer.figures escape their words themselves
    return element("figure", Html(drawing.svg))


def cautions(level: int) -> Html:
    """Write what matters when a hand goes near the rotor again."""
    return element(
        "section",
        heading(level, "Before you fit, move or take off anything"),
        listed(CAUTIONS),
        element("p", words.REPORT_CAUTION),
        class_="note cautions",
    )


def short_caution() -> Html:
    """Write the caution of one card among many."""
    return element("div", element("p", FITTING_CAUTION), class_="note")


def standing(card: PartCard) -> Html:
    """Show how a part stands, in four figures."""
    latest = card.latest
    left = None if latest is None else latest.left
    shown = (
        ("Left in it (95 %)", words.claim_text(left)),
        ("Grade (95 %)", words.reached_text(left)),
        ("Last balanced", words.date_text(card.balanced)),
        ("Next check", words.due_text(card)),
    )
    return joined(
        element(
            "ul",
            *(element("li", element("span", name), element("b", dated(value))) for name, value in shown),
            class_="figures",
        ),
        _warnings(card),
    )


def _warnings(card: PartCard) -> Html:
    lines = [words.WRONG_HAND] if card.wrong_hand else []
    lines += [finding_text(one) for one in card.due.findings if one.severity == "warning"]
    lines += [words.PIECES_UNNAMED] if unnamed_outcome(card) is not None else []
    return element("div", paragraphs(lines, "bad"), class_="note") if lines else Html("")


def _piece_list(pieces: Sequence[Piece], direction: Direction) -> Html:
    # the isolates keep a name that runs from right to left from turning the numbers after it
    isolated = [replace(one, where=f"\u2068{one.where}\u2069" if one.where else "") for one in pieces]
    return listed(words.piece_lines(isolated, direction))


def facts(card: PartCard, direction: Direction) -> Html:
    """Say what the part is, where, and how it sits there."""
    part = card.part
    rows: list[Row] = [
        ("What it is", words.sizes_text(part)),
        *_typed_facts(card),
        ("Turns", words.hand_text(card)),
        ("Where it is", _where(card)),
        *_seat(card, direction),
        ("Grade asked for", f"{words.asked_text(part.grade)}. {words.STANDARD_NOTE}"),
    ]
    body = element("tbody", *(_row(row) for row in rows))
    return joined(
        element("table", element("caption", "The part"), body),
        typed_block(part.words) if part.words.strip() else Html(""),
    )


def _typed_facts(card: PartCard) -> list[Row]:
    sizes = card.part.sizes
    found = (("Material", getattr(sizes, "material", "")), ("Motor", getattr(sizes, "motor", "")))
    return [(name, typed(text)) for name, text in found if text]


def _seat(card: PartCard, direction: Direction) -> list[Row]:
    turned = turned_text(card.part.where, direction)
    return [("On its hub", turned)] if turned else []


def _where(card: PartCard) -> Html:
    if card.arm is None:
        return joined(words.place_text(card))
    return joined(f"on arm {card.arm.number} of ", typed(card.machine))


def before_and_after(card: PartCard, level: int, direction: Direction) -> Html:
    """Show the latest job: figures, what makes them less sure, and the polar picture beside them."""
    title = heading(level, "Before and after")
    if not card.outcomes:
        return element("section", title, element("p", words.NEVER_ON_BENCH))
    latest = card.latest or card.outcomes[0]
    nothing_on = "Nothing was put on." if latest.left is not None and not latest.pieces else ""
    lines = [line for line in (nothing_on, _judgement(latest), words.state_text(latest)) if line]
    figures = joined(
        _newer(card.outcomes[: card.outcomes.index(latest)]),
        _job_line(latest),
        _compared(latest),
        paragraphs(lines),
        listed([words.said(one) for one in latest.findings]),
    )
    return element(
        "section",
        title,
        element("div", element("div", figures), _polar(latest, direction), class_="pair"),
    )


def _polar(one: Outcome, direction: Direction) -> Html:
    if one.polar is not None:
        return figure(polar_drawing(one.polar, one.hand, direction))
    if not one.runs:
        return Html("")
    return element("p", "The runs have no phase, so there is no polar picture.", class_="quiet")


def bound_note(*cards: PartCard) -> Html:
    """Say what a 95 % bound claims, where one is shown."""
    if all(card.latest is None for card in cards):
        return Html("")
    return element("p", words.BOUND_NOTE, class_="quiet")


def _newer(newer: Sequence[Outcome]) -> Html:
    if not newer:
        return Html("")
    return element(
        "p",
        f"A newer job, of {words.date_text(newer[0].when)}, tells nothing yet: {words.state_text(newer[0])}",
    )


def _job_line(one: Outcome) -> Html:
    stand = joined("on the stand ", typed(one.stand)) if one.stand else "on a stand without a name"
    day, speed = words.date_text(one.when), words.speed_text(one.speed)
    told = " A stored influence coefficient of the stand stood in for a trial." if one.stored else ""
    return element("p", f"{day}, ", stand, f", at {speed}, {words.runs_text(one)}.{told}")


def _compared(one: Outcome) -> Html:
    pair = (one.found, one.left)
    allowed = words.NOT_KNOWN if one.permissible is None else words.gmm_text(one.permissible, 3)
    rows: list[Row] = [
        ("Best estimate", *map(words.size_text, pair)),
        ("Standard uncertainty", *map(_sd, pair)),
        ("95 % bound", *map(_bound, pair)),
        ("Grade of the estimate", *(_grade(None if one is None else one.grade) for one in pair)),
        ("Grade of the bound", *(_grade(None if one is None else one.claim_grade) for one in pair)),
        (f"Permissible at {words.grade_text(one.grade)}", allowed, allowed),
    ]
    return table(("", "As found", "As left"), rows, "Unbalance before and after")


def _grade(grade: float | None) -> str:
    return words.NOT_KNOWN if grade is None else words.grade_text(grade)


def _bound(left: Left | None) -> str:
    return words.NOT_KNOWN if left is None else f"≤ {words.gmm_text(left.verdict.claim)}"


def _sd(left: Left | None) -> str:
    if left is None:
        return words.NOT_KNOWN
    return f"± {significant(gmm_from_kgm(left.vector.sd_amplitude), 2)} g mm"


def _judgement(one: Outcome) -> str:
    return "" if one.left is None else words.verdict_text(one.left)


def on_it(card: PartCard, level: int, direction: Direction) -> Html:
    """Show what is on the part now, drawn and in words, with its trend beside it."""
    pieces, unnamed = card.part.pieces, unnamed_outcome(card)
    text = [_piece_list(pieces, direction)] if pieces else [element("p", words.NOTHING_ON)]
    if unnamed is not None:
        text.append(element("p", f"On at the end of the job of {words.date_text(unnamed.when)}:"))
        text.append(_piece_list(unnamed.pieces, direction))
    if pieces or unnamed is not None:
        text.append(element("p", words.convention(direction), class_="quiet"))
    return element(
        "section",
        heading(level, "What is on it"),
        element(
            "div",
            figure(part_drawing(card, unnamed, direction)),
            element("div", *text, trend(card, level)),
            class_="pair",
        ),
    )


def part_drawing(card: PartCard, unnamed: Outcome | None, direction: Direction) -> Drawing:
    """Draw what the record names; where it names nothing, what the latest job left on."""
    if unnamed is None or card.part.pieces:
        return pieces_drawing(card.part, card.part.pieces, card.hand, direction, "What is on it")
    title = "On at the end of the latest job"
    return pieces_drawing(card.part, unnamed.pieces, unnamed.hand, direction, title)


def unnamed_outcome(card: PartCard) -> Outcome | None:
    """Give the latest job if it left pieces on that the part's record does not name."""
    newest = card.outcomes[0] if card.outcomes else None
    if newest is None or newest.state != "known":
        return None
    # the part may carry older pieces, too
    named = {piece_text(one) for one in card.part.pieces}
    return None if named.issuperset(piece_text(one) for one in newest.pieces) else newest


def trend(card: PartCard, level: int) -> Html:
    """Show the unbalance over time."""
    title = heading(level, "Trend")
    if card.trend is None or not card.trend.points:
        return element("section", title, element("p", "There is no trend yet: nothing is known in g mm."))
    return element(
        "section",
        title,
        figure(trend_drawing(card, card.trend)),
        paragraphs(words.trend_lines(card.trend), "quiet"),
    )


def jobs(card: PartCard, level: int) -> Html:
    """List all jobs."""
    if not card.outcomes:
        return Html("")
    rows = [
        (
            dated(words.date_text(one.when)),
            joined(*((typed(one.stand), ", ") if one.stand else ()), words.speed_text(one.speed)),
            _brief(one.found),
            _brief(one.left),
            str(len(one.pieces)),
        )
        for one in card.outcomes
    ]
    older = [f"{card.earlier_jobs} older jobs are not listed."] if card.earlier_jobs else []
    loose = [f"{card.loose_runs} runs were made outside any job."] if card.loose_runs else []
    head = ("Date", "Stand and speed", "As found", "As left", "Pieces")
    return element(
        "section",
        heading(level, "Jobs"),
        table(head, rows, "All jobs: 95 % bounds, and the pieces that were on at the end"),
        paragraphs([*older, *loose], "quiet"),
    )


def _brief(left: Left | None) -> str:
    return _bound(left) if left is None else f"{_bound(left)}, {words.grade_text(left.claim_grade)}"


def story(card: PartCard, level: int) -> Html:
    """List what happened to the part."""
    if not card.events:
        return Html("")
    rows = [
        (dated(words.date_text(e.at)), words.event_text(e), typed(e.words) if e.words else "")
        for e in card.events
    ]
    return element(
        "section", heading(level, "Events"), table(("Date", "What", "Words"), rows, "What happened to it")
    )


def arms(sheet: MachineSheet) -> Html:
    """Show all arms in one table."""
    head = ("Arm", "Part", "Left in g mm", "Grade", "Last balanced", "Due")
    return element(
        "div",
        element(
            "table",
            element("caption", "What is on each arm, and how it stands (95 % bounds)"),
            element("thead", element("tr", *(element("th", cell, scope="col") for cell in head))),
            *(_arm(arm.arm.number, arm.arm.hand, arm.cards) for arm in sheet.arms),
            class_="arms",
        ),
        class_="scroll",
        tabindex="0",
        role="region",
        aria_label="Arms",
    )


def _arm(number: int, hand: str, cards: Sequence[PartCard]) -> Html:
    rows = [_part_cells(card) for card in cards] or [(element("td", "nothing is fitted", colspan="5"),)]
    first = element(
        "th",
        f"{number} ",
        element("span", words.HAND_WORDS[hand], class_="quiet hand"),
        scope="rowgroup",
        rowspan=str(len(rows)),
    )
    return element(
        "tbody",
        *(element("tr", *((first,) if n == 0 else ()), *cells) for n, cells in enumerate(rows)),
    )


def _part_cells(card: PartCard) -> tuple[Html, ...]:
    left = None if card.latest is None else card.latest.left
    kind = words.KIND_WORDS[card.part.kind]
    link = element("a", typed(card.part.label), href=f"#{anchor(card)}")
    cells = (
        words.NOT_KNOWN if left is None else f"≤ {significant(gmm_from_kgm(left.verdict.claim), 2)}",
        "" if left is None else words.grade_text(left.claim_grade),
        dated(words.date_text(card.balanced)),
        joined(dated(words.due_text(card)), element("b", f" {words.WRONG_HAND}") if card.wrong_hand else ""),
    )
    return (
        element("td", f"{kind} ", link),
        *(element("td", cell) for cell in cells),
    )


def anchor(card: PartCard) -> str:
    """Give the name by which a card is found in its page."""
    return f"part-{card.part.id}"

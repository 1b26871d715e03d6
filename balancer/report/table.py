"""Reports for a spreadsheet: CSV (RFC 4180) in UTF-8 with a byte order mark, in the trade's units.

A cell of text that a spreadsheet would take for a formula gets an apostrophe in front; numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from datetime import datetime

from balancer.report.card import ArmSheet, Left, MachineSheet, Outcome, PartCard
from balancer.units import g_from_kg, gmm_from_kgm, rpm_from_rad_s
from balancer.wording.report import WRONG_HAND, said, state_text
from balancer.wording.tape import piece_text

Cell = str | int | float | None

BYTE_ORDER_MARK = "\ufeff"
"""By it a spreadsheet knows UTF-8, and reads umlauts as they are."""

# the last four are the wide forms that East Asian spreadsheets take for the same signs
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

_PART = (
    "part",
    "kind",
    "hand",
    "mass_g",
    "grade_asked_mm_s",
    "on_it_angles_against_rotation",
    "last_balanced",
    "last_checked",
    "due",
    "due_reasons",
    "caution",
)
_SIZES = ("gmm", "sd_gmm", "bound_95_gmm", "grade_mm_s", "grade_bound_95_mm_s")
_JOB = (
    "job_date",
    "stand",
    "speed_rpm",
    "permissible_gmm",
    *(f"found_{name}" for name in _SIZES),
    *(f"left_{name}" for name in _SIZES),
    "put_on_angles_against_rotation",
    "remarks",
)
_ARM = ("machine", "arm", "arm_hand")


def card_csv(card: PartCard) -> str:
    """Write a part's card as a table: a row for each job, or one row without any.

    Parameters
    ----------
    card : PartCard
        The card.

    Returns
    -------
    str
        The text of a CSV file, with its byte order mark.
    """
    part = _part(card)
    jobs = card.outcomes or (None,)
    return _csv((*_PART, *_JOB), (part | _job(one) for one in jobs))


def sheet_csv(sheet: MachineSheet) -> str:
    """Write a machine's sheet as a table: a row for each part with its latest job, or for an empty arm.

    Parameters
    ----------
    sheet : MachineSheet
        The sheet.

    Returns
    -------
    str
        The text of a CSV file, with its byte order mark.
    """
    rows = (row for arm in sheet.arms for row in _arm(sheet.machine.name, arm))
    return _csv((*_ARM, *_PART, *_JOB), rows)


def _arm(machine: str, arm: ArmSheet) -> list[dict[str, Cell]]:
    place: dict[str, Cell] = {"machine": machine, "arm": arm.arm.number, "arm_hand": arm.arm.hand}
    return [place | _part(card) | _job(card.latest) for card in arm.cards] or [place]


def _part(card: PartCard) -> dict[str, Cell]:
    part = card.part
    return {
        "part": part.label,
        "kind": part.kind,
        "hand": card.hand,
        "mass_g": None if part.mass is None else g_from_kg(part.mass),
        "grade_asked_mm_s": part.grade * 1e3,
        "on_it_angles_against_rotation": "; ".join(map(piece_text, part.pieces)),
        "last_balanced": _day(card.balanced),
        "last_checked": "" if card.due.checked is None else card.due.checked.isoformat(),
        "due": "yes" if card.due.now else "no",
        "due_reasons": " ".join(why for why, _ in card.due.reasons),
        "caution": WRONG_HAND if card.wrong_hand else "",
    }


def _job(one: Outcome | None) -> dict[str, Cell]:
    if one is None:
        return {}
    remarks = [state_text(one), *(said(finding) for finding in one.findings)]
    return {
        "job_date": _day(one.when),
        "stand": one.stand,
        "speed_rpm": None if one.speed is None else rpm_from_rad_s(one.speed),
        "permissible_gmm": None if one.permissible is None else gmm_from_kgm(one.permissible),
        **_sizes("found", one.found),
        **_sizes("left", one.left),
        "put_on_angles_against_rotation": "; ".join(map(piece_text, one.pieces)),
        "remarks": " ".join(filter(None, remarks)),
    }


def _sizes(when: str, left: Left | None) -> dict[str, Cell]:
    if left is None:
        return {}
    sizes = (
        gmm_from_kgm(left.verdict.size),
        gmm_from_kgm(left.vector.sd_amplitude),
        gmm_from_kgm(left.verdict.claim),
        left.grade * 1e3,
        left.claim_grade * 1e3,
    )
    return {f"{when}_{name}": size for name, size in zip(_SIZES, sizes, strict=True)}


def _day(when: datetime | None) -> str:
    return "" if when is None else when.date().isoformat()


def _csv(head: tuple[str, ...], rows: Iterable[Mapping[str, Cell]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([cell(row.get(name)) for name in head] for row in rows)
    return BYTE_ORDER_MARK + text.getvalue()


def cell(value: Cell) -> str | int | float:
    r"""Make a value safe for a cell.

    Parameters
    ----------
    value : str, int, float or None
        Text with anything in it, a number, or nothing.

    Returns
    -------
    str, int or float
        A number to six digits; text that can be no formula.

    Examples
    --------
    >>> cell("=HYPERLINK(1)"), cell(-0.25), cell("P1"), cell(None)
    ("'=HYPERLINK(1)", -0.25, 'P1', '')
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return float(f"{value:.6g}") if isinstance(value, float) else value

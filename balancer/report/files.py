"""Reports as the text of files: a page to read and to print, a table for a spreadsheet, data for scripts."""

from __future__ import annotations

import json
from typing import Any, Literal

from balancer.contract.report import card_json, sheet_json
from balancer.report.card import MachineSheet, PartCard
from balancer.report.page import card_page, sheet_page
from balancer.report.table import card_csv, sheet_csv
from balancer.wording.basics import Direction

Suffix = Literal[".html", ".csv", ".json"]

SUFFIXES: tuple[Suffix, ...] = (".html", ".csv", ".json")
"""Endings of the files that a report can be."""


def report_text(found: PartCard | MachineSheet, suffix: Suffix, direction: Direction = "against") -> str:
    """Write a report as the text of a file.

    Parameters
    ----------
    found : PartCard or MachineSheet
        What was gathered.
    suffix : {".html", ".csv", ".json"}
        Which kind of file.
    direction : {"against", "with"}
        How the angles of the page count; those of tables and data count against the rotation.

    Returns
    -------
    str
        The text.
    """
    if suffix == ".json":
        return json.dumps(report_json(found), ensure_ascii=False, allow_nan=False, indent=2) + "\n"
    if isinstance(found, PartCard):
        return card_csv(found) if suffix == ".csv" else card_page(found, direction)
    return sheet_csv(found) if suffix == ".csv" else sheet_page(found, direction)


def report_json(found: PartCard | MachineSheet) -> dict[str, Any]:
    """Put a report into an object for scripts."""
    return card_json(found) if isinstance(found, PartCard) else sheet_json(found)

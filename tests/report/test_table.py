"""CSV and JSON, read back with general-purpose readers."""

import csv
import io
import json

import pandas as pd
import pytest

from balancer.contract.report import card_json, sheet_json
from balancer.core.stopping import judge
from balancer.history.records.part import LONGEST_LABEL
from balancer.report.table import BYTE_ORDER_MARK, card_csv, cell, sheet_csv
from balancer.units import gmm_from_kgm, kgm_from_gmm
from balancer.wording.report import card_lines, grade_text, sheet_lines
from tests.report import stories


def read(text):
    # RFC 4180: every line ends in CR LF, every row has as many cells
    assert text.startswith(BYTE_ORDER_MARK)
    assert text.endswith("\r\n")
    rows = list(csv.reader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline=""), strict=True))
    assert {len(row) for row in rows} == {len(rows[0])}
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def test_a_card_has_a_row_for_each_job(craft):
    rows = read(card_csv(craft.P1))
    assert [row["job_date"] for row in rows] == ["2026-07-03", "2026-03-04"]
    for row, one in zip(rows, craft.P1.outcomes, strict=True):
        assert float(row["left_bound_95_gmm"]) == pytest.approx(
            gmm_from_kgm(one.left.verdict.claim), rel=1e-5
        )
        assert float(row["found_gmm"]) == pytest.approx(gmm_from_kgm(one.found.verdict.size), rel=1e-5)
        assert float(row["permissible_gmm"]) == pytest.approx(gmm_from_kgm(one.permissible), rel=1e-5)
        assert row["stand"] == one.stand
        assert row["put_on_angles_against_rotation"].count("mg)") == len(one.pieces)


def test_pandas_reads_numbers_as_numbers_and_umlauts_as_they_are(craft, hostile):
    frame = pd.read_csv(io.BytesIO(sheet_csv(craft.sheet).encode()), encoding="utf-8-sig")
    for name in frame.columns:
        if name.endswith(("_gmm", "_mm_s", "_g", "_rpm")):
            assert frame[name].dtype.kind == "f", name
    assert list(frame["part"].dropna()) == ["M1", "P1", "M2", "P2", "P3"]
    assert list(frame["arm"]) == [1, 1, 2, 2, 3, 4, 5, 6]
    frame = pd.read_csv(io.BytesIO(sheet_csv(hostile.sheet).encode()), encoding="utf-8-sig")
    assert set(frame["machine"]) == {stories.MACHINE}
    assert frame["part"][0] == stories.HOSTILE[0]
    assert frame["stand"][0] == 'עמדה <i>"1"</i>'


def test_no_cell_is_a_formula(hostile):
    """OWASP, CSV Injection: cells that begin with = + - @, tab or carriage return."""
    for text in (sheet_csv(hostile.sheet), *(card_csv(card) for card in hostile.cards)):
        for row in read(text):
            for value in row.values():
                assert not value.startswith(("=", "+", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))
                assert not value.startswith("-") or float(value) < 0
    labels = [read(card_csv(card))[0]["part"] for card in hostile.cards]
    assert labels[3:5] == ["'" + label for label in stories.HOSTILE[3:5]]


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_text_that_looks_like_a_formula_gets_an_apostrophe(sign):
    assert cell(f"{sign}1+1") == f"'{sign}1+1"
    assert cell(f"a{sign}1") == f"a{sign}1"


def test_numbers_stay_numbers():
    assert (cell(-1.5), cell(3), cell(0.123456789), cell(None), cell("")) == (-1.5, 3, 0.123457, "", "")


def test_a_part_without_jobs_has_one_row(craft):
    (row,) = read(card_csv(craft.P3))
    assert (row["part"], row["due_reasons"], row["job_date"], row["left_gmm"]) == (
        "P3",
        "never_checked",
        "",
        "",
    )


def test_json_is_plain_and_says_the_same(craft, hostile):
    for card in (craft.P1, craft.P3, craft.P9, craft.M1, *hostile.cards):
        data = json.loads(json.dumps(card_json(card), allow_nan=False))
        assert data["part"]["label"] == card.part.label
        assert len(data["jobs"]) == len(card.outcomes)
        assert len(data["pieces"]) == len(card.part.pieces)
        assert data["due"]["now"] == card.due.now
    data = card_json(craft.P1)
    left = craft.P1.latest.left
    assert data["latest"] == data["jobs"][0]
    assert data["latest"]["left"]["bound_95_gmm"] == pytest.approx(gmm_from_kgm(left.verdict.claim))
    again = judge(left.vector, kgm_from_gmm(data["latest"]["permissible_gmm"]))
    assert again.state == data["latest"]["left"]["state"]
    assert [one["what"] for one in data["trend"]["points"]] == ["found", "left"] * 2
    assert [one["purpose"] for one in data["latest"]["polar"]["vectors"]] == ["as-is", "trial", "check"]
    assert data["made_at"] == "2026-12-26T09:30:00+00:00"
    assert card_json(craft.P9)["latest"]["left"]["angle_deg"] is None


def test_the_json_of_a_sheet_has_the_cards(craft):
    data = json.loads(json.dumps(sheet_json(craft.sheet), allow_nan=False))
    assert data["machine"]["name"] == "Tern"
    assert [arm["arm"] for arm in data["arms"]] == [1, 2, 3, 4, 5, 6]
    assert data["arms"][0]["parts"][1] == json.loads(json.dumps(card_json(craft.P1)))


def test_lines_for_a_terminal(craft, hostile):
    lines = card_lines(craft.P1)
    assert lines[0].startswith(
        "P1: Propeller, 304.8 mm by 114.3 mm pitch, 2 blades, 41 g, on arm 1 of Tern; "
    )
    assert sum(" on it: " in line for line in lines) == len(craft.P1.part.pieces)
    lines = sheet_lines(craft.sheet)
    assert len(lines) == 9
    assert lines[-1] == "  arm 6 (cw): nothing is fitted"
    assert all("\n" not in line for card in hostile.cards for line in card_lines(card))


@pytest.mark.parametrize(
    ("grade", "text"),
    [(6.3e-3, "G6.3"), (2.5e-3, "G2.5"), (16e-3, "G16"), (0.25, "G250"), (3e-6, "G3.0e-03")],
)
def test_grades_are_written_as_the_standard_names_them(grade, text):
    assert grade_text(grade) == text


def test_the_label_fits():
    assert max(map(len, stories.HOSTILE)) == LONGEST_LABEL

"""`balancer report`: to read, to print, for scripts, for a spreadsheet."""

import csv
import io
import json

import pytest

from balancer.cli import report  # noqa: F401 - registers the command
from tests.report import stories
from tests.report.pages import Page


def test_lines_by_default(balancer, home):
    status, out, err = balancer("report", "P1", "--home", home)
    assert (status, err) == (0, "")
    assert out.startswith("P1: Propeller, 304.8 mm by 114.3 mm pitch")
    assert "against the rotation" in out
    assert "with the rotation" in balancer("report", "P1", "--home", home, "--angles", "with")[1]
    status, out, err = balancer("report", "--machine", "tern", "--home", home)
    assert (status, err) == (0, "")
    assert out.startswith("Tern: 6 arms\n  arm 1 (ccw): motor bell M1, left ")


def test_json(balancer, home):
    data = json.loads(balancer("report", "P1", "--home", home, "--json")[1])
    assert data["part"]["label"] == "P1"
    data = json.loads(balancer("report", "--machine", "Tern", "--home", home, "--json")[1])
    assert len(data["arms"]) == 6


@pytest.mark.parametrize("who", [("P1",), ("--machine", "Tern")])
def test_files(balancer, home, tmp_path, who):
    page, data, table = (tmp_path / f"report.{suffix}" for suffix in ("html", "json", "CSV"))
    for path in (page, data, table):
        status, out, err = balancer("report", *who, "--home", home, "--out", path)
        assert (status, out, err) == (0, f"{path} is written.\n", "")
    assert who[-1] in Page(page.read_text(encoding="utf-8")).within("bdi")
    assert json.loads(data.read_text(encoding="utf-8"))["cautions"]
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
    assert "P1" in {row["part"] for row in rows}
    assert table.read_bytes().startswith(b"\xef\xbb\xbf")


def test_a_file_in_the_way_stays(balancer, home, tmp_path):
    path = tmp_path / "card.html"
    path.write_text("mine")
    status, out, err = balancer("report", "P1", "--home", home, "--out", path)
    assert (status, out) == (1, "")
    assert err == f"{path}: there is a file of this name already; choose another name or add --overwrite.\n"
    assert path.read_text() == "mine"
    assert balancer("report", "P1", "--home", home, "--out", path, "--overwrite")[0] == 0
    assert path.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (("P7",), 'there is no part "P7" in the history; look at balancer parts.'),
        (("--machine", "Heron"), 'there is no machine "Heron" in the history; look at balancer machines.'),
        ((), "name a part, or a machine with --machine; see balancer report --help."),
        (
            ("P1", "--machine", "Tern"),
            "name a part, or a machine with --machine; see balancer report --help.",
        ),
        (
            ("P1", "--out", "card.pdf"),
            "card.pdf: a report is .html, .json or .csv; give the file one of these",
        ),
        (("P1", "--out", "card.csv", "--json"), "--json prints and --out writes: give one of them"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_sentence(balancer, home, said, why):
    status, out, err = balancer("report", *said, "--home", home)
    assert (status, out) == (2, "")
    assert err.startswith(why)
    assert err.count("\n") == 1


def test_a_folder_without_a_history(balancer, tmp_path):
    status, _, err = balancer("report", "P1", "--home", tmp_path)
    assert status == 2
    assert "there is no history here yet" in err
    assert list(tmp_path.iterdir()) == []


def test_names_that_try_to_be_something_else(balancer, hostile_home, tmp_path):
    for number, label in enumerate(stories.HOSTILE):
        path = tmp_path / f"{number}.html"
        assert balancer("report", "--home", hostile_home, "--out", path, "--", label)[0] == 0
        assert label in Page(path.read_text(encoding="utf-8")).within("bdi")

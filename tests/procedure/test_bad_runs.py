"""Every runs file that cannot be used is refused in one sentence with file, line and what to do."""

import re

import pytest

from balancer.errors import InputError
from balancer.procedure.runs_file import read_runs_file
from balancer.procedure.solve import solve_file
from tests.bad_runs import BAD_RUNS


def refusal(path):
    with pytest.raises(InputError) as refused:
        solve_file(read_runs_file(path))
    return str(refused.value)


def test_names_are_unique():
    assert len({name for name, _, _ in BAD_RUNS}) == len(BAD_RUNS) >= 40


@pytest.mark.parametrize(("name", "text", "words"), BAD_RUNS, ids=[case[0] for case in BAD_RUNS])
def test_refusal(tmp_path, name, text, words):
    path = tmp_path / "runs.toml"
    path.write_text(text, encoding="utf-8")
    said = refusal(path)
    assert words in said
    assert said.startswith(str(path))
    assert "; " in said, "it must say what to do"
    assert said.endswith(".")
    assert "\n" not in said
    assert len(said.replace(str(tmp_path), "")) < 400
    marked = [n for n, line in enumerate(text.splitlines(), 1) if line.endswith("# here")]
    told = re.match(rf"{re.escape(str(path))}, line (\d+): ", said)
    if marked:
        assert told is not None, said
        assert int(told[1]) == marked[0]


@pytest.mark.parametrize("name", ["nowhere.toml", "."])
def test_no_such_file(tmp_path, name):
    assert name in refusal(tmp_path / name)


def test_not_text(tmp_path):
    path = tmp_path / "runs.toml"
    path.write_bytes(bytes(range(256)))
    assert "cannot be read as text; give a runs file in TOML" in refusal(path)


@pytest.mark.parametrize("line", [3, 7])
def test_the_line_is_that_of_the_run_not_of_the_first_such_key(tmp_path, line):
    lines = [
        "radius_mm = 60",
        "[[run]]",
        "amplitude = 5.0",
        "phase_deg = 1",
        "",
        "[[run]]",
        "amplitude = 8.0",
    ]
    lines[line - 1] = "amplitude = 'five'"
    path = tmp_path / "runs.toml"
    path.write_text("\n".join(lines))
    assert f", line {line}: " in refusal(path)

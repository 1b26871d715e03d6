"""Every recording that cannot be used is refused in one sentence with file, line and what to do."""

import re

import pytest

from balancer.errors import InputError
from balancer.recording.files import read, read_bytes
from tests.bad_files import BAD_FILES, WITH_LINE

# the line (from 1) that the refusal must name, where the name of the case does not tell it
LINES = {
    "no_header.stream.csv": 1,
    "version_2.stream.csv": 1,
    "broken_json.stream.csv": 2,
    "missing_keys.stream.csv": 2,
    "header_only.stream.csv": 2,
    "wrong_axes.stream.csv": 3,
    "words.stream.csv": 3,
    "no_time.csv": 1,
    "not_a_number.csv": 4,
    "text.csv": 4,
    "empty_cell.csv": 4,
    "decimal_signs.csv": 3,
    "commas_for_all.csv": 2,
    "ragged.csv": 4,
    "same_time.csv": 4,
}


def refusal(path):
    with pytest.raises(InputError) as refused:
        read(path)
    return refused.value


def test_names_are_unique():
    assert len({name for name, _, _ in BAD_FILES}) == len(BAD_FILES) >= 50


@pytest.mark.parametrize(("name", "content", "words"), BAD_FILES, ids=[case[0] for case in BAD_FILES])
def test_refusal(tmp_path, name, content, words):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    error = refusal(path)
    said = str(error)
    assert words in said
    assert said.startswith(str(path))
    assert error.todo
    assert "\n" not in said
    assert re.search(r"[^.]\.$", said)
    if (name, content, words) in WITH_LINE:
        assert error.line == LINES.get(name, error.line)
        assert f"{path}, line {error.line}: " in said


@pytest.mark.parametrize("name", sorted(LINES))
def test_lines_are_of_known_cases(name):
    assert name in {case for case, _, _ in WITH_LINE}


def test_a_folder(tmp_path):
    assert "this is a folder, not a file" in str(refusal(tmp_path))


def test_a_file_within_a_file(tmp_path):
    (tmp_path / "a").write_bytes(b"x")
    assert refusal(tmp_path / "a" / "b.csv").todo


def test_a_name_that_no_system_allows(tmp_path):
    assert "cannot be read" in str(refusal(tmp_path / ("n" * 5000)))
    assert "cannot be read" in str(refusal(str(tmp_path / "a\0b")))


def test_an_upload_is_refused_by_its_own_name():
    with pytest.raises(InputError, match=r"^my upload\.csv: the file is empty; "):
        read_bytes(b"", "my upload.csv")


def test_missing_keys_are_listed_in_one_go():
    with pytest.raises(
        InputError, match="the header lacks sid, axes, unit, scale, rate_hz, tick_hz, tick_bits"
    ):
        read_bytes(b"# balancer stream 1\n# {}\n", "a")

"""Recordings and photos: a file that has its name is whole."""

import hashlib

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.files import ContentFiles


@pytest.fixture
def files(tmp_path):
    return ContentFiles(tmp_path / "files")


def test_a_content_is_kept_byte_for_byte_under_its_digest(files):
    content = b"\r\n\x00\xff as it came \n"
    digest = files.keep(content)
    assert digest == hashlib.sha256(content).hexdigest()
    assert files.read(digest) == content == files.path(digest).read_bytes()
    assert list(files.all()) == [digest]


def test_the_same_content_is_kept_once(files):
    digest = files.keep(b"twice")
    before = files.path(digest).stat()
    assert files.keep(b"twice") == files.keep_stream([b"tw", b"ice"]) == digest
    assert files.path(digest).stat().st_ino == before.st_ino
    assert sorted(path.name for path in files.folder.rglob("*")) == sorted([digest, digest[:2]])


def test_a_stream_that_breaks_off_leaves_nothing(files):
    def broken():
        yield b"the first part"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        files.keep_stream(broken())
    assert list(files.folder.rglob("*")) == []


def test_a_digest_is_never_a_path(files):
    for name in ("../../etc/passwd", "A" * 64, "a" * 63, "a" * 64 + "\n"):
        with pytest.raises(InputError, match="the digest of the file must be 64 hexadecimal digits"):
            files.path(name)


def test_a_disk_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "files").write_text("a file where the folder should be")
    with pytest.raises(OperationError, match=r"files: this cannot be written \(.+\); check the folder"):
        ContentFiles(tmp_path / "files").keep(b"x")


def test_chunks_are_the_content(files):
    content = bytes(range(256)) * 10_000
    assert b"".join(files.chunks(files.keep(content))) == content

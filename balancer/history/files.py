"""Recordings and photos as files named by the SHA-256 of their content, byte for byte as they came."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from balancer.errors import OperationError
from balancer.history.records.kept import check_digest

CHUNK = 1 << 20


@dataclass(frozen=True)
class ContentFiles:
    """A folder of files named by digest, spread over subfolders by its first two digits.

    A file is written under another name, brought to the disk and then renamed, so what has its name is whole.
    The row that refers to it comes afterwards: a program that dies in between leaves a file too many, which
    harms nothing, and never a row without its file.

    Parameters
    ----------
    folder : Path
        The folder; made when the first file comes.
    """

    folder: Path

    def path(self, digest: str) -> Path:
        """Give where the file of a digest is, or would be."""
        check_digest("file", digest)
        return self.folder / digest[:2] / digest

    def holds(self, digest: str) -> bool:
        """Say whether the file is there."""
        return self.path(digest).is_file()

    def keep(self, content: bytes) -> str:
        """Keep a content and give its digest; one that is there already stays as it is."""
        digest = hashlib.sha256(content).hexdigest()
        return digest if self.holds(digest) else self.keep_stream((content,))

    def keep_stream(self, chunks: Iterable[bytes]) -> str:
        """Keep a content that comes in chunks and give its digest.

        Raises
        ------
        OperationError
            If it cannot be written.
        """
        with disk_in_words(self.folder):
            return self._keep(chunks)

    def _keep(self, chunks: Iterable[bytes]) -> str:
        self.folder.mkdir(parents=True, exist_ok=True)
        state = hashlib.sha256()
        number, name = tempfile.mkstemp(dir=self.folder, prefix=".new-")
        new = Path(name)
        try:
            with os.fdopen(number, "wb") as file:
                for chunk in chunks:
                    state.update(chunk)
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            target = self.path(state.hexdigest())
            if not target.is_file():
                if not target.parent.is_dir():
                    target.parent.mkdir(exist_ok=True)
                    sync_folder(self.folder)
                os.replace(new, target)
                sync_folder(target.parent)
        finally:
            new.unlink(missing_ok=True)
        return target.name

    def read(self, digest: str) -> bytes:
        """Read a content back.

        Raises
        ------
        OperationError
            If it is not there, or no longer what it was.
        """
        path = self.path(digest)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise OperationError(
                f"the stored file cannot be read ({error.strerror})",
                todo="restore it from a backup",
                file=path,
            ) from None
        if hashlib.sha256(content).hexdigest() != digest:
            raise OperationError(
                "the stored file is no longer what it was", todo="restore it from a backup", file=path
            )
        return content

    def chunks(self, digest: str) -> Iterator[bytes]:
        """Give the content in chunks, unchecked."""
        with self.path(digest).open("rb") as file:
            while chunk := file.read(CHUNK):
                yield chunk

    def all(self) -> Iterator[str]:
        """Give the digests of all files that are there."""
        if self.folder.is_dir():
            for sub in sorted(self.folder.iterdir()):
                if sub.is_dir():
                    yield from sorted(one.name for one in sub.iterdir() if not one.name.startswith("."))

    def remove(self, digest: str) -> None:
        """Delete a file; none is no error."""
        self.path(digest).unlink(missing_ok=True)


@contextlib.contextmanager
def disk_in_words(path: Path) -> Iterator[None]:
    """Turn what the system says of files it cannot write into one sentence that names the file."""
    try:
        yield
    except OSError as error:
        raise OperationError(
            f"this cannot be written ({error.strerror or error})",
            todo="check the folder, who may write there and the space that is left",
            file=error.filename or path,
        ) from error


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system can (Windows cannot, and need not)."""
    with contextlib.suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)

"""Reading an archive that may come from anywhere: damaged, far too large, or made to do harm."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from balancer.errors import InputError, OperationError
from balancer.history.archive_forms import FORM, NAME, in_form
from balancer.history.files import CHUNK, ContentFiles
from balancer.history.tables import Table
from balancer.recording.files import read_file

_FILE = re.compile(r"files/([0-9a-f]{64})")
_FORM = re.compile(rf"{NAME} ([1-9]\d{{0,8}})")
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, OSError)


@dataclass(frozen=True)
class Limits:
    """How large an archive may be, unpacked.

    Parameters
    ----------
    entries : int
        Names in it.
    line : int
        Bytes of one record.
    file : int
        Bytes of one recording or photo.
    total : int
        Bytes in all.
    """

    entries: int = 1_000_000
    line: int = 8 << 20
    file: int = 1 << 30
    total: int = 64 << 30


USUAL = Limits()


class Archive:
    """An open archive; use `Archive.open`.

    Parameters
    ----------
    path : Path
        The file.
    zipped : zipfile.ZipFile
        The open zip.
    limits : Limits
        How large it may be.
    """

    def __init__(self, path: Path, zipped: zipfile.ZipFile, limits: Limits) -> None:
        self.path = path
        self.limits = limits
        self._zip = zipped
        self._form = FORM
        self._tables: dict[str, zipfile.ZipInfo] = {}
        self._files: dict[str, zipfile.ZipInfo] = {}
        self._others: dict[str, zipfile.ZipInfo] = {}

    @classmethod
    @contextmanager
    def open(cls, path: str | Path, limits: Limits) -> Iterator[Archive]:
        """Open an archive; an `InputError` if it is none."""
        path = Path(path)
        if not path.is_file():
            read_file(path)  # says in a sentence why not
        try:
            zipped = zipfile.ZipFile(path)
        except _BROKEN:
            raise InputError(
                "this is not an archive of a history, or it is damaged", todo="export it anew", file=path
            ) from None
        with zipped:
            yield cls(path, zipped, limits)

    @property
    def ignored(self) -> tuple[str, ...]:
        """Names that are none of a history's."""
        return tuple(name for name in self._others if name != "manifest.json")

    def check(self, tables: Sequence[Table[Any]], free_in: Path) -> set[str]:
        """Look through all of it before anything is changed.

        Parameters
        ----------
        tables : sequence of Table
            Whose records it may hold.
        free_in : Path
            Folder on whose disk there must be room for its files.

        Returns
        -------
        set of str
            Digests of the recordings and photos that its records refer to.

        Raises
        ------
        InputError
            If something in it cannot be used; it names the place.
        OperationError
            If there is no room for it.
        """
        self._sort_names({f"{table.name}.jsonl" for table in tables})
        self._check_manifest()
        wanted: set[str] = set()
        for table in tables:
            for place, data in self.records(table.name):
                with self.naming(place):
                    table.record.take(data, "")
                wanted |= _files_of(data)
        size = sum(self._files[digest].file_size for digest in wanted if digest in self._files)
        if size > shutil.disk_usage(free_in).free:
            raise OperationError(
                f"the disk has no room for the {size / 1e6:.0f} MB of the archive's recordings",
                todo="make room and try again",
                file=self.path,
            )
        return wanted

    def records(self, table: str) -> Iterator[tuple[str, dict[str, Any]]]:
        """Give each record of a table as plain data, with its place in words."""
        info = self._tables.get(f"{table}.jsonl")
        if info is None:
            return
        with self._reading(info.filename), self._zip.open(info) as file:
            number = 0
            while line := file.readline(self.limits.line + 1):
                number += 1
                if len(line) > self.limits.line:
                    self._refuse(f"line {number} of {info.filename} is too long to be a record")
                place = f"line {number} of {info.filename}"
                yield place, in_form(self._form, self._object(line, place))

    def keep(self, files: ContentFiles, digest: str) -> int:
        """Keep a file of the archive in the store, and give how many that were not there: 1 or 0."""
        info = self._files.get(digest)
        if info is None or files.holds(digest):
            return 0
        with self._reading(info.filename):
            kept = files.keep_stream(self._chunks(info))
        if kept != digest:
            files.remove(kept)
            self._refuse(f"{info.filename} is not what its name says")
        return 1

    @contextmanager
    def naming(self, place: str) -> Iterator[None]:
        """Name the archive and the place in it in an error about a record."""
        try:
            yield
        except InputError as error:
            raise InputError(f"{place}: {error.what}", todo=error.todo, file=self.path) from None
        except OverflowError:
            raise InputError(f"{place} holds a number that is too large", file=self.path) from None

    def _sort_names(self, tables: set[str]) -> None:
        entries = self._zip.infolist()
        if len(entries) > self.limits.entries:
            self._refuse(f"it holds more than {self.limits.entries} files")
        total = sum(info.file_size for info in entries)
        if total > self.limits.total:
            self._refuse(f"it unpacks to {total / 1e9:.1f} GB, more than {self.limits.total / 1e9:.1f} GB")
        for info in entries:
            found = _FILE.fullmatch(info.filename)
            kind = self._files if found else self._tables if info.filename in tables else self._others
            name = found[1] if found else info.filename
            if name in kind and kind is not self._others:
                self._refuse(f"it holds {info.filename} twice")
            if found and info.file_size > self.limits.file:
                self._refuse(f"{info.filename} is larger than {self.limits.file / 1e6:.0f} MB")
            if info.flag_bits & 1:
                self._refuse("it is encrypted")
            kind[name] = info

    def _check_manifest(self) -> None:
        info = self._others.get("manifest.json")
        if info is None or info.file_size > self.limits.line:
            self._refuse("it has no manifest, so it is not the archive of a history")
        with self._reading(info.filename):
            data = self._object(self._zip.read(info), info.filename)
        found = _FORM.fullmatch(str(data.get("form")))
        if found is None:
            self._refuse("it is not the archive of a history")
        self._form = int(found[1])
        if self._form > FORM:
            raise InputError(
                f"this archive has form {found[1]}, made by a newer program",
                todo="update the program",
                file=self.path,
            )

    def _object(self, line: bytes, place: str) -> dict[str, Any]:
        try:
            data = json.loads(line.decode("utf-8"), parse_constant=_no_number)
        except (ValueError, RecursionError):
            data = None
        if not isinstance(data, dict):
            self._refuse(f"{place} is not JSON with named values")
        return data

    def _chunks(self, info: zipfile.ZipInfo) -> Iterator[bytes]:
        # a zip that lies about a size ends early: zipfile reads no more than is stated
        with self._zip.open(info) as file:
            while chunk := file.read(CHUNK):
                yield chunk

    @contextmanager
    def _reading(self, name: str) -> Iterator[None]:
        try:
            yield
        except _BROKEN:
            self._refuse(f"{name} in it is damaged")

    def _refuse(self, what: str) -> NoReturn:
        raise InputError(
            f"the archive cannot be used: {what}", todo="export the history anew", file=self.path
        ) from None


def _files_of(data: dict[str, Any]) -> set[str]:
    recording = data.get("recording") or {}
    named = (data.get("photo"), recording.get("file"), recording.get("marks_file"))
    return {digest for digest in named if digest}


def _no_number(name: str) -> NoReturn:
    raise ValueError(name)

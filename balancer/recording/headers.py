"""The header lines of a stream file: where they stand, and which stretch of the file each one speaks for."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from balancer.errors import InputError
from balancer.recording.hello import Hello, missing_for_the_record, parse_hello

VERSION = re.compile(rb"#\s*balancer stream\s+(\S+)")


@dataclass(frozen=True)
class Stretch:
    """A part of the file between changes of `sid`.

    Parameters
    ----------
    hello : Hello
        What most of its header lines say.
    start, stop : int
        Its first byte and the one after its last.
    """

    hello: Hello
    start: int
    stop: int


@dataclass(frozen=True)
class Headers:
    """What the header lines of a file say.

    Parameters
    ----------
    stretches : tuple of Stretch
        One or more, without a break between them.
    first_line : int
        Line of the first sound one, counted from 1.
    missing : tuple of str
        Keys that the format asks for and the first one lacks, although it can be read without.
    damaged, different : int
        Header lines that cannot be read, and sound ones that differ from the others of their `sid`.
    """

    stretches: tuple[Stretch, ...]
    first_line: int
    missing: tuple[str, ...]
    damaged: int
    different: int


@dataclass(frozen=True)
class _Found:
    offset: int
    hello: Hello


def check_version(data: bytes, name: str) -> None:
    """Refuse a file that does not say that it is of version 1.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages.

    Raises
    ------
    InputError
        If it says nothing or something else.
    """
    found = VERSION.search(data)
    if found is None:
        raise InputError(
            "the header lines are missing",
            todo="put '# balancer stream 1' and the JSON line of the device in front, or record again",
            file=name,
            line=1,
        )
    if found[1] != b"1":
        raise InputError(
            f"this is stream version {_words(found[1])}, and only version 1 is understood",
            todo="set the device to version 1 or update this program",
            file=name,
            line=_line_of(data, found.start()),
        )


def read_headers(data: bytes, name: str) -> Headers:
    """Find and read all header lines; the same line again, as every five seconds, is read once.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages.

    Returns
    -------
    Headers
        What they say.

    Raises
    ------
    InputError
        If there is none, or none can be read: then what is wrong with the first one.
    """
    found, damaged, problem = _find_hellos(data, name)
    if not found:
        raise problem or _no_hello(data, name)
    kept = _without_lone_changes(found)
    groups: list[list[_Found]] = []
    for here in kept:
        if not groups or groups[-1][-1].hello.sid != here.hello.sid:
            groups.append([])
        groups[-1].append(here)
    hellos = [Counter(here.hello for here in group).most_common(1)[0] for group in groups]
    edges = [0, *(group[0].offset for group in groups[1:]), len(data)]
    first = found[0]
    return Headers(
        tuple(Stretch(hello, *edges[k : k + 2]) for k, (hello, _) in enumerate(hellos)),
        _line_of(data, first.offset),
        missing_for_the_record(_words(_line_at(data, first.offset))),
        damaged + len(found) - len(kept),
        len(kept) - sum(times for _, times in hellos),
    )


def _find_hellos(data: bytes, name: str) -> tuple[list[_Found], int, InputError | None]:
    """Give the sound hello lines, the number of others, and what is wrong with the first of those."""
    found: list[_Found] = []
    known: dict[bytes, Hello | InputError] = {}
    damaged = 0
    for offset in _comment_offsets(data):
        text = _line_at(data, offset)
        if not text.lstrip(b"#").strip().startswith(b"{"):
            continue
        if text not in known:
            known[text] = _hello_or_error(data, offset, name)
        said = known[text]
        if isinstance(said, Hello):
            found.append(_Found(offset, said))
        else:
            damaged += 1
    problem = next((said for said in known.values() if isinstance(said, InputError)), None)
    return found, damaged, problem


def _comment_offsets(data: bytes) -> Iterator[int]:
    # one character is found many times faster than two
    offset = data.find(b"#")
    while offset >= 0:
        if offset == 0 or data[offset - 1] == ord("\n"):
            yield offset
        offset = data.find(b"#", offset + 1)


def _hello_or_error(data: bytes, offset: int, name: str) -> Hello | InputError:
    # lines are counted only where a number is wanted: it takes time
    try:
        return parse_hello(_line_at(data, offset).decode("utf-8"))
    except UnicodeDecodeError:
        what, todo = "the header line is not UTF-8 text", "record again"
    except InputError as problem:
        what, todo = problem.what, problem.todo
    return InputError(what, todo=todo, file=name, line=_line_of(data, offset))


def _without_lone_changes(found: list[_Found]) -> list[_Found]:
    """Leave out a lone line with another `sid` between two of the same: a restart changes it for good."""
    sids = [here.hello.sid for here in found]
    return [
        here
        for k, here in enumerate(found)
        if not (0 < k < len(sids) - 1 and sids[k - 1] == sids[k + 1] != sids[k])
    ]


def _no_hello(data: bytes, name: str) -> InputError:
    version = VERSION.search(data)
    return InputError(
        "the header line with the JSON object is missing",
        todo="put the line that the device prints after '# balancer stream 1' there, or record again",
        file=name,
        line=_line_of(data, version.start()) + 1 if version else 1,
    )


def _line_at(data: bytes, offset: int) -> bytes:
    end = data.find(b"\n", offset)
    return data[offset : end if end >= 0 else len(data)].strip()


def _line_of(data: bytes, offset: int) -> int:
    return data.count(b"\n", 0, offset) + 1


def _words(text: bytes) -> str:
    return text.decode("utf-8", "replace")

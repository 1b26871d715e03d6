"""JSON files of our own: read with the place of what is wrong, written whole or not at all."""

from __future__ import annotations

import json
import os
import re
from contextlib import suppress
from pathlib import Path
from typing import Any

from balancer.errors import InputError, OperationError
from balancer.recording.files import read_file


def read_json(path: str | Path, form: str, todo: str) -> dict[str, Any]:
    """Read a file whose first key ``form`` says what it is.

    Parameters
    ----------
    path : str or Path
        The file.
    form : str
        What it must say.
    todo : str
        How such a file is made.

    Returns
    -------
    dict
        The other keys.

    Raises
    ------
    InputError
        With the file, and the line where it is no JSON.
    """
    try:
        return content(json.loads(read_file(path).decode("utf-8")), form, todo)
    except UnicodeDecodeError:
        raise InputError("this cannot be read as text", todo=todo, file=path) from None
    except json.JSONDecodeError as error:
        what = f"this is not JSON: {error.msg.lower()}"
        raise InputError(what, todo="mend the line", file=path, line=error.lineno) from None
    except RecursionError:
        raise InputError("this is nested beyond reason", todo=todo, file=path) from None
    except InputError as error:
        raise error.at(path) from None


def content(data: Any, form: str, todo: str) -> dict[str, Any]:
    """Give what an object holds beside its ``form``; an `InputError` if that is another one."""
    said = data.get("form") if isinstance(data, dict) else None
    if isinstance(said, str) and said != form and _numbered(said)[0] == _numbered(form)[0]:
        older = _numbered(said)[1] < _numbered(form)[1]
        what = f'this is "{said}", and this program reads "{form}"'
        raise InputError(what, todo=todo if older else "open it with the newer program that wrote it")
    if not isinstance(data, dict) or said != form:
        raise InputError(f'this does not begin with "form": "{form}"', todo=todo)
    return {key: value for key, value in data.items() if key != "form"}


def _numbered(form: str) -> tuple[str, int]:
    """Split a form into its words and its number, 0 for one without."""
    words, _, number = form.rpartition(" ")
    return (words, int(number)) if number.isdecimal() and len(number) < 10 else (form, 0)


def write_json(path: str | Path, form: str, data: dict[str, Any], *, new: bool = False) -> None:
    """Write a file whole: a crash leaves the old one or the new one, never half of it.

    Parameters
    ----------
    path : str or Path
        The file.
    form : str
        What it is.
    data : dict
        What JSON can hold.
    new : bool
        Refuse to replace a file that is there.

    Raises
    ------
    OperationError
        If it is there already, or cannot be written.
    """
    path = Path(path)
    if new and path.exists():
        raise OperationError("there is a file of this name already", todo="choose another name", file=path)
    text = json.dumps({"form": form, **data}, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    # halves of characters, which only JSON can hold, go as JSON writes them; all else as it reads
    whole = re.sub("[\ud800-\udfff]", lambda half: f"\\u{ord(half[0]):04x}", text)
    write_whole(path, whole.encode())


def write_whole(path: Path, content: bytes) -> None:
    """Write any file whole, as `write_json` does; an `OperationError` if it cannot be written."""
    half = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with half.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except OSError as error:
        raise OperationError(
            f"this cannot be written ({error.strerror})",
            todo="check who may write there and the space that is left, or choose another place",
            file=path,
        ) from None
    finally:
        with suppress(OSError):  # as on a disk that may only be read
            half.unlink(missing_ok=True)

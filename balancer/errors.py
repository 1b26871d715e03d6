"""The one error root: facts as fields, so that only a face has to make a line for a person of them."""

from __future__ import annotations

from pathlib import Path


class BalancerError(Exception):
    """Something that a person can put right, told in one sentence.

    Parameters
    ----------
    what : str
        What is wrong, without a full stop.
    todo : str, optional
        What to do about it, without a full stop.
    file : str or Path, optional
        The file in question.
    line : int, optional
        Its line, counted from 1.

    Examples
    --------
    >>> str(InputError("the header names no time column", todo="add one named time_s", file="a.csv", line=1))
    'a.csv, line 1: the header names no time column; add one named time_s.'
    """

    exit_status = 1

    def __init__(
        self, what: str, *, todo: str = "", file: str | Path | None = None, line: int | None = None
    ) -> None:
        super().__init__(what)
        self.what = what
        self.todo = todo
        self.file = None if file is None else str(file)
        self.line = line

    def __str__(self) -> str:
        place = ", ".join(
            part for part in (self.file or "", f"line {self.line}" if self.line is not None else "") if part
        )
        head = f"{place}: " if place else ""
        tail = f"; {self.todo}" if self.todo else ""
        return f"{head}{self.what}{tail}."

    def at(self, file: str | Path | None, line: int | None = None) -> BalancerError:
        """Give the same error with the place filled in where it was still unknown.

        Parameters
        ----------
        file : str or Path or None
            The file that was being read.
        line : int, optional
            Its line, counted from 1.

        Returns
        -------
        BalancerError
            A new error of the same class; fields that were set already are kept.
        """
        return type(self)(
            self.what,
            todo=self.todo,
            file=self.file if self.file is not None else file,
            line=self.line if self.line is not None else line,
        )


class InputError(BalancerError):
    """What the person gave (a file, a number, an option) cannot be used."""

    exit_status = 2


class OperationError(BalancerError):
    """The input was fine, but the work could not be done (a full disk, a file in the way)."""

    exit_status = 1

"""A recording of the history, read with what the person once said about it."""

from __future__ import annotations

from dataclasses import dataclass

from balancer.app.recordings.service import Upload
from balancer.errors import InputError
from balancer.history.parts import get_part
from balancer.history.runs import runs_of_recording
from balancer.history.store import Store
from balancer.recording.hints import Hints


@dataclass(frozen=True)
class Stored:
    """A recording that is kept with a run.

    Parameters
    ----------
    file : Upload
        The file, byte for byte as it came.
    hints : Hints
        With which it was read then.
    marks : Upload, optional
        Mark times from a second file.
    near : float or None
        Speed in rad/s that was expected, used without marks.
    words : str
        Whose run it is, and when it was made.
    """

    file: Upload
    hints: Hints
    marks: Upload | None
    near: float | None
    words: str


def stored(store: Store, digest: str) -> Stored:
    """Give a recording of the history.

    Parameters
    ----------
    store : Store
        The history.
    digest : str
        SHA-256 of its file.

    Returns
    -------
    Stored
        The file and how to read it.

    Raises
    ------
    InputError
        If no run in the history has such a recording.
    OperationError
        If its file cannot be read.
    """
    runs = runs_of_recording(store, digest)
    if not runs or runs[0].recording is None:
        raise InputError("the history has no such recording", todo="choose one on the page Parts")
    run, kept = runs[0], runs[0].recording
    marks = Upload(kept.marks_name, store.files.read(kept.marks)) if kept.marks else None
    return Stored(
        file=Upload(kept.name, store.files.read(kept.file)),
        hints=kept.hints,
        marks=marks,
        near=kept.near,
        words=f"{kept.name}: run of {get_part(store, run.part).label}, {run.at.astimezone():%d %b %Y, %H:%M}",
    )

"""A TOML file of runs as a person writes it: refusals tell the line, numbers keep the digits they had."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, NoReturn

from balancer.core.masses import Mass
from balancer.core.runs import Amplitude, Reading
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.recording.files import read_file
from balancer.recording.hints import Hints

HINT_KEYS = frozenset({"unit", "time_unit", "wav_scale", "mark_channel"})
"""Keys at the top that say what recordings do not say themselves."""

ENTRY_KEYS = frozenset(
    {"recording", "marks", "amplitude", "phase_deg", "sd_amplitude", "sd_phase_deg", "purpose"}
)
"""Keys of a run that every kind of file with runs has."""

_READING = {"phase_deg", "sd_amplitude", "sd_phase_deg"}
_UNITS = ("m/s^2", "g", "mg")
_TIME_UNITS = ("s", "ms", "us", "ns")
_ROUNDING = 1 / math.sqrt(12)  # standard deviation of a reading rounded to 1


@dataclass(frozen=True)
class RunEntry:
    """One run as the file states it.

    Parameters
    ----------
    line : int
        Where it stands in the file.
    masses : tuple of Mass
        What was fitted.
    recording : Path, optional
        The recording, relative names taken from the folder of the runs file.
    marks : Path, optional
        A file of mark times for it, likewise.
    reading : UncertainComplex or Amplitude, optional
        A reading typed in, in place of a recording.
    assumed_sd : bool
        True when the reading's uncertainty was taken from its last digit.
    purpose : str
        As written, or empty.
    """

    line: int
    masses: tuple[Mass, ...] = ()
    recording: Path | None = None
    marks: Path | None = None
    reading: Reading | None = None
    assumed_sd: bool = False
    purpose: str = ""


def read_text(path: str | Path, kind: str) -> str:
    """Read a file as text.

    Parameters
    ----------
    path : str or Path
        The file.
    kind : str
        What it should be, such as ``runs file``.

    Returns
    -------
    str
        Its text.

    Raises
    ------
    InputError
        If it cannot be read as text.
    """
    try:
        return read_file(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "this cannot be read as text", todo=f"give {kind} in TOML, as the README shows", file=path
        ) from None


class TomlText:
    """Keeps text and name of a file together, so that every refusal can tell the line.

    Parameters
    ----------
    text : str
        TOML with a ``[[run]]`` for each run.
    name : str
        Name of the file for messages.
    folder : Path
        Where relative names of other files start.

    Raises
    ------
    InputError
        If it is not TOML.
    """

    def __init__(self, text: str, name: str, folder: Path) -> None:
        self.name, self.folder = name, folder
        self.lines = text.splitlines()
        self.run_lines = [
            n for n, line in enumerate(self.lines, 1) if re.match(r"\s*\[\[\s*run\s*\]\]", line)
        ]
        try:
            # numbers stay decimals, so that a typed reading still shows how many digits it has
            self.data = tomllib.loads(text, parse_float=Decimal)
        except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
            place = re.search(r"line (\d+)", str(error))
            plain = isinstance(error, tomllib.TOMLDecodeError)
            reason = str(error).split(" (at")[0].lower() if plain else "it is nested or long beyond reason"
            raise InputError(
                f"this is not TOML: {reason}",
                todo="mend the line, as the README shows",
                file=name,
                line=int(place[1]) if place else max(len(self.lines), 1),
            ) from None

    def refuse(self, what: str, todo: str, key: str = "", run: int | None = None) -> NoReturn:
        """Raise an InputError that names the line of `key`, in run number `run` or at the top."""
        raise InputError(what, todo=todo, file=self.name, line=self.line(key, run))

    def line(self, key: str, run: int | None) -> int | None:
        """Give the line of a key, of a run, or None for the file as a whole."""
        start = 1 if run is None else (self.run_lines[run] if run < len(self.run_lines) else 1)
        if key:
            for number in range(start, len(self.lines) + 1):
                if re.search(rf"(^|[\s,{{]){re.escape(key)}\s*=", self.lines[number - 1]):
                    return number
        return None if run is None and not key else start

    def runs(self, todo: str) -> list[Mapping[str, Any]]:
        """Give the tables of the runs; `todo` says what to write if there are none."""
        entries = self.data.get("run")
        if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
            self.refuse("there are no runs in it", todo)
        return entries

    def known(self, table: Mapping[str, Any], names: Iterable[str], run: int | None) -> None:
        """Refuse a key that is none of `names`."""
        for key in table:
            if key not in names:
                self.refuse(f"{key} is not known here", f"use {', '.join(sorted(names))}", key, run)

    def word(self, key: str, choices: tuple[str, ...]) -> str | None:
        """Give one of some words at the top, None when the key is left out."""
        value = self.data.get(key)
        if value is not None and value not in choices:
            wanted = " or ".join(f'{key} = "{choice}"' for choice in choices)
            self.refuse(f"{key} = {value!r} is not known", f"write {wanted}", key)
        return value

    def number(
        self, table: Mapping[str, Any], key: str, run: int | None, above: float | None = None
    ) -> float | None:
        """Give a finite number, None when the key is left out."""
        return None if key not in table else self.checked(table[key], key, run, above)

    def checked(self, value: object, key: str, run: int | None, above: float | None = None) -> float:
        """Give a value found under `key` if it is a finite number."""
        if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
            self.refuse(f"{key} = {str(value)!r} is not a number", "write a number without quotes", key, run)
        number = float(Decimal(value))  # a whole number of 400 digits becomes inf, not an OverflowError
        if not math.isfinite(number):
            self.refuse(f"{key} must be a finite number, not {number:g}", "write a number", key, run)
        if above is not None and number <= above:
            self.refuse(f"{key} must be above {above:g}, not {value}", "write a larger number", key, run)
        return number

    def file(self, entry: Mapping[str, Any], key: str, run: int | None) -> Path | None:
        """Give the path of another file, None when the key is left out."""
        name = entry.get(key)
        if name is None:
            return None
        if not isinstance(name, str) or not name:
            self.refuse(f"{key} must be a file name in quotes", f'write {key} = "name"', key, run)
        return self.folder / name

    def leading(self) -> bool:
        """Say whether phases typed in count as lead."""
        return self.word("phase", ("lag", "lead")) == "lead"

    def hints(self) -> Hints:
        """Give what the file says about its recordings."""
        channel = self.number(self.data, "mark_channel", None)
        if channel is not None and (channel < 0 or channel != int(channel)):
            self.refuse(
                f"mark_channel = {channel:g} is no channel", "write 1, 2 ..., or 0 for none", "mark_channel"
            )
        return Hints(
            unit=self.word("unit", _UNITS),
            time_unit=self.word("time_unit", _TIME_UNITS),
            wav_scale=self.number(self.data, "wav_scale", None, above=0),
            mark_channel=None if channel is None else int(channel),
        )

    def entry(self, entry: Mapping[str, Any], run: int, lead: bool, masses: tuple[Mass, ...]) -> RunEntry:
        """Give a run: a recording, or a reading typed in."""
        if ("recording" in entry) == ("amplitude" in entry):
            self.refuse(
                "a run needs a recording or an amplitude, and only one of them", "write one of them", "", run
            )
        line = self.line("", run) or 1
        purpose = str(entry.get("purpose", ""))
        if "recording" in entry:
            for key in sorted(_READING & set(entry)):
                self.refuse(f"{key} beside a recording would not be used", "leave it out", key, run)
            recording, marks = self.file(entry, "recording", run), self.file(entry, "marks", run)
            return RunEntry(line, masses, recording=recording, marks=marks, purpose=purpose)
        if "marks" in entry:
            self.refuse("marks beside a typed reading would not be used", "leave them out", "marks", run)
        reading, assumed = self.reading(entry, run, lead)
        return RunEntry(line, masses, reading=reading, assumed_sd=assumed, purpose=purpose)

    def reading(
        self, entry: Mapping[str, Any], run: int | None, lead: bool, prefix: str = ""
    ) -> tuple[Reading, bool]:
        """Give what was typed as amplitude and phase, and whether its uncertainty had to be assumed."""
        key, phase_key = f"{prefix}amplitude", f"{prefix}phase_deg"
        amplitude = self.number(entry, key, run)
        assert amplitude is not None
        if amplitude < 0:
            self.refuse("an amplitude cannot be negative", "write it without the sign", key, run)
        sd = self.number(entry, f"sd_{key}", run, above=0)
        phase = self.number(entry, phase_key, run)
        sd_phase = self.number(entry, f"sd_{phase_key}", run, above=0)
        sd_along = sd if sd is not None else _ROUNDING * _last_digit(entry[key])
        if phase is None:
            return Amplitude(amplitude, sd_along), sd is None
        sd_angle = math.radians(
            sd_phase if sd_phase is not None else _ROUNDING * _last_digit(entry[phase_key])
        )
        lag = math.radians(-phase if lead else phase)
        direction = complex(math.cos(lag), math.sin(lag))
        covariance = Covariance(sd_along**2, (amplitude * sd_angle) ** 2).times(direction)
        return UncertainComplex(amplitude * direction, covariance), sd is None or sd_phase is None


def _last_digit(typed: int | Decimal) -> float:
    """Value of one step of the last digit typed: 0.1 for 7.0, 1 for 160."""
    exponent = Decimal(typed).as_tuple().exponent
    return 10.0**exponent if isinstance(exponent, int) else 0.0

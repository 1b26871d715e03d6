"""The runs file: a job by hand or by script, in TOML."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, NoReturn

from balancer.core.masses import Mass
from balancer.core.runs import Amplitude, Reading
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.recording.files import read_file
from balancer.recording.hints import NOTHING, Hints
from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

_TOP = {
    *("speed_rpm", "radius_mm", "phase", "rotor_mass_g", "grade", "run"),
    *("unit", "time_unit", "wav_scale", "mark_channel"),
}
_RUN = {"recording", "marks", "masses", "amplitude", "phase_deg", "sd_amplitude", "sd_phase_deg", "purpose"}
_READING = {"phase_deg", "sd_amplitude", "sd_phase_deg"}
_MASS = {"mass_g", "radius_mm", "angle_deg"}
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
    masses: tuple[Mass, ...]
    recording: Path | None = None
    marks: Path | None = None
    reading: Reading | None = None
    assumed_sd: bool = False
    purpose: str = ""


@dataclass(frozen=True)
class RunsFile:
    """A runs file.

    Parameters
    ----------
    name : str
        The file's name as the person gave it.
    runs : tuple of RunEntry
        In the order of the file.
    radius : float
        Default radius in m.
    speed : float, optional
        In rad/s.
    rotor_mass : float, optional
        In kg.
    grade : float, optional
        Balance quality grade in m/s.
    hints : Hints
        What the recordings do not say themselves: units, or scale and mark channel of WAV files.
    """

    name: str
    runs: tuple[RunEntry, ...]
    radius: float
    speed: float | None = None
    rotor_mass: float | None = None
    grade: float | None = None
    hints: Hints = NOTHING


def read_runs_file(path: str | Path) -> RunsFile:
    """Read a runs file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    RunsFile
        Its content, checked.

    Raises
    ------
    InputError
        With file and line, if anything in it cannot be used.
    """
    try:
        text = read_file(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "this cannot be read as text", todo="give a runs file in TOML, as the README shows", file=path
        ) from None
    return parse_runs(text, name=str(path), folder=Path(path).parent)


def parse_runs(text: str, *, name: str, folder: Path) -> RunsFile:
    """Parse the text of a runs file; recordings are looked for in `folder`.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Name of the file for messages.
    folder : Path
        Where relative names of recordings start.

    Returns
    -------
    RunsFile
        The content, checked.

    Raises
    ------
    InputError
        With file and line, if anything in it cannot be used.
    """
    return _Parser(text, name, folder).parse()


class _Parser:
    """Keeps text and name together, so that every refusal can tell the line."""

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
        raise InputError(what, todo=todo, file=self.name, line=self.line(key, run))

    def line(self, key: str, run: int | None) -> int | None:
        start = 1 if run is None else (self.run_lines[run] if run < len(self.run_lines) else 1)
        if key:
            for number in range(start, len(self.lines) + 1):
                if re.search(rf"(^|[\s,{{]){re.escape(key)}\s*=", self.lines[number - 1]):
                    return number
        return None if run is None and not key else start

    def parse(self) -> RunsFile:
        self.known(self.data, _TOP, None)
        entries = self.data.get("run")
        if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
            self.refuse("there are no runs in it", "add a [[run]] for the as-is run and one for each trial")
        lead = self.word("phase", ("lag", "lead")) == "lead"
        default = self.number(self.data, "radius_mm", None, above=0)
        runs = tuple(self.entry(entry, index, default, lead) for index, entry in enumerate(entries))
        speed = self.number(self.data, "speed_rpm", None, above=0)
        mass = self.number(self.data, "rotor_mass_g", None, above=0)
        grade = self.number(self.data, "grade", None, above=0)
        return RunsFile(
            name=self.name,
            runs=runs,
            radius=self.radius(default, runs),
            speed=None if speed is None else rad_s_from_rpm(speed),
            rotor_mass=None if mass is None else kg_from_g(mass),
            grade=None if grade is None else grade * 1e-3,
            hints=self.hints(),
        )

    def hints(self) -> Hints:
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

    def known(self, table: Mapping[str, Any], names: set[str], run: int | None) -> None:
        for key in table:
            if key not in names:
                self.refuse(f"{key} is not known here", f"use {', '.join(sorted(names))}", key, run)

    def word(self, key: str, choices: tuple[str, ...]) -> str | None:
        value = self.data.get(key)
        if value is not None and value not in choices:
            wanted = " or ".join(f'{key} = "{choice}"' for choice in choices)
            self.refuse(f"{key} = {value!r} is not known", f"write {wanted}", key)
        return value

    def radius(self, default: float | None, runs: tuple[RunEntry, ...]) -> float:
        used = [m.radius for run in runs for m in run.masses]
        if default is None and not used:
            self.refuse("no radius is given", "add radius_mm = ... at the top")
        return m_from_mm(default) if default is not None else used[0]

    def number(
        self, table: Mapping[str, Any], key: str, run: int | None, above: float | None = None
    ) -> float | None:
        if key not in table:
            return None
        value = table[key]
        if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
            self.refuse(f"{key} = {str(value)!r} is not a number", "write a number without quotes", key, run)
        number = float(Decimal(value))  # a whole number of 400 digits becomes inf, not an OverflowError
        if not math.isfinite(number):
            self.refuse(f"{key} must be a finite number, not {number:g}", "write a number", key, run)
        if above is not None and number <= above:
            self.refuse(f"{key} must be above {above:g}, not {value}", "write a larger number", key, run)
        return number

    def needed(self, table: Mapping[str, Any], key: str, run: int) -> float:
        value = self.number(table, key, run)
        if value is None:
            self.refuse(
                f"a mass has no {key}", "write it as { mass_g = 0.012, angle_deg = 90 }", "masses", run
            )
        return value

    def entry(self, entry: Mapping[str, Any], run: int, default: float | None, lead: bool) -> RunEntry:
        self.known(entry, _RUN, run)
        if ("recording" in entry) == ("amplitude" in entry):
            self.refuse(
                "a run needs a recording or an amplitude, and only one of them", "write one of them", "", run
            )
        masses = self.masses(entry.get("masses", []), run, default)
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

    def file(self, entry: Mapping[str, Any], key: str, run: int) -> Path | None:
        name = entry.get(key)
        if name is None:
            return None
        if not isinstance(name, str) or not name:
            self.refuse(f"{key} must be a file name in quotes", f'write {key} = "name"', key, run)
        return self.folder / name

    def masses(self, listed: object, run: int, default: float | None) -> tuple[Mass, ...]:
        if not isinstance(listed, list) or not all(isinstance(m, dict) for m in listed):
            self.refuse(
                "masses must be a list", "write masses = [{ mass_g = 0.012, angle_deg = 90 }]", "masses", run
            )
        return tuple(self.mass(m, run, default) for m in listed)

    def mass(self, table: Mapping[str, Any], run: int, default: float | None) -> Mass:
        self.known(table, _MASS, run)
        own = self.number(table, "radius_mm", run, above=0)
        radius = own if own is not None else default
        if radius is None:
            self.refuse(
                "a mass has no radius", "add radius_mm = ... at the top or to the mass", "masses", run
            )
        mass, angle = self.needed(table, "mass_g", run), self.needed(table, "angle_deg", run)
        return Mass(kg_from_g(mass), m_from_mm(radius), math.radians(angle))

    def reading(self, entry: Mapping[str, Any], run: int, lead: bool) -> tuple[Reading, bool]:
        amplitude = self.number(entry, "amplitude", run)
        assert amplitude is not None
        if amplitude < 0:
            self.refuse("an amplitude cannot be negative", "write it without the sign", "amplitude", run)
        sd = self.number(entry, "sd_amplitude", run, above=0)
        phase = self.number(entry, "phase_deg", run)
        sd_phase = self.number(entry, "sd_phase_deg", run, above=0)
        sd_along = sd if sd is not None else _ROUNDING * _last_digit(entry["amplitude"])
        if phase is None:
            return Amplitude(amplitude, sd_along), sd is None
        sd_angle = math.radians(
            sd_phase if sd_phase is not None else _ROUNDING * _last_digit(entry["phase_deg"])
        )
        lag = math.radians(-phase if lead else phase)
        value = amplitude * complex(math.cos(lag), math.sin(lag))
        along = Covariance(sd_along**2, (amplitude * sd_angle) ** 2).times(
            complex(math.cos(lag), math.sin(lag))
        )
        return UncertainComplex(value, along), sd is None or sd_phase is None


def _last_digit(typed: int | Decimal) -> float:
    """Value of one step of the last digit typed: 0.1 for 7.0, 1 for 160."""
    exponent = Decimal(typed).as_tuple().exponent
    return 10.0**exponent if isinstance(exponent, int) else 0.0

"""The runs file: a job by hand or by script, in TOML."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from balancer.core.masses import Mass
from balancer.procedure.toml_text import ENTRY_KEYS, HINT_KEYS, RunEntry, TomlText, read_text
from balancer.recording.hints import NOTHING, Hints
from balancer.units import kg_from_g, m_from_mm, rad_s_from_rpm

__all__ = ["RunEntry", "RunsFile", "parse_runs", "read_runs_file"]

_TOP = HINT_KEYS | {"speed_rpm", "radius_mm", "phase", "rotor_mass_g", "grade", "run"}
_RUN = ENTRY_KEYS | {"masses"}
_MASS = frozenset({"mass_g", "radius_mm", "angle_deg"})


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
    return parse_runs(read_text(path, "a runs file"), name=str(path), folder=Path(path).parent)


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


class _Parser(TomlText):
    def parse(self) -> RunsFile:
        self.known(self.data, _TOP, None)
        entries = self.runs("add a [[run]] for the as-is run and one for each trial")
        lead = self.leading()
        default = self.number(self.data, "radius_mm", None, above=0)
        runs = tuple(self.run(entry, index, default, lead) for index, entry in enumerate(entries))
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

    def radius(self, default: float | None, runs: tuple[RunEntry, ...]) -> float:
        used = [m.radius for run in runs for m in run.masses]
        if default is None and not used:
            self.refuse("no radius is given", "add radius_mm = ... at the top")
        return m_from_mm(default) if default is not None else used[0]

    def needed(self, table: Mapping[str, Any], key: str, run: int) -> float:
        value = self.number(table, key, run)
        if value is None:
            self.refuse(
                f"a mass has no {key}", "write it as { mass_g = 0.012, angle_deg = 90 }", "masses", run
            )
        return value

    def run(self, entry: Mapping[str, Any], run: int, default: float | None, lead: bool) -> RunEntry:
        self.known(entry, _RUN, run)
        return self.entry(entry, run, lead, self.masses(entry.get("masses", []), run, default))

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

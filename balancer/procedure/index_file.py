"""The index file: runs with one part turned on the other, in TOML after the manner of the runs file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from balancer.core.vectors import UncertainComplex
from balancer.procedure.toml_text import ENTRY_KEYS, HINT_KEYS, RunEntry, TomlText, read_text
from balancer.recording.hints import Hints
from balancer.units import kg_from_g, kgm_from_gmm, rad_s_from_rpm

_INFLUENCE = frozenset(
    {
        *("influence_amplitude", "influence_phase_deg"),
        *("sd_influence_amplitude", "sd_influence_phase_deg"),
    }
)
_PARTS = frozenset({"kept", "turned", "kept_mass_g", "turned_mass_g"})
_TOP = (
    HINT_KEYS
    | _INFLUENCE
    | _PARTS
    | {"speed_rpm", "phase", "grade", "possible_deg", "channel", "runs", "run"}
)
_RUN = ENTRY_KEYS | {"index_deg"}


@dataclass(frozen=True)
class PartFacts:
    """What the person says about a part.

    Parameters
    ----------
    name : str
        Such as ``propeller A``; may be empty.
    mass : float, optional
        In kg.
    """

    name: str = ""
    mass: float | None = None


@dataclass(frozen=True)
class IndexFile:
    """An index file.

    Parameters
    ----------
    name : str
        The file's name as the person gave it.
    runs : tuple of RunEntry
        In the order of the file, without masses.
    angles : tuple of float
        Index of each run in rad.
    kept, turned : PartFacts
        The part that keeps the mark, and the one that is turned on it.
    hints : Hints
        What the recordings do not say themselves.
    speed : float, optional
        In rad/s.
    grade : float, optional
        Balance quality grade asked for in m/s.
    possible : tuple of float, optional
        Indices in rad at which the part may be left.
    influence : UncertainComplex, optional
        Influence coefficient typed in, in reading per kg m.
    assumed_sd : bool
        True when its uncertainty was taken from its last digit.
    channel : str, optional
        The channel of the recordings to use.
    solved_runs : Path, optional
        A runs file that gives the coefficients.
    """

    name: str
    runs: tuple[RunEntry, ...]
    angles: tuple[float, ...]
    kept: PartFacts
    turned: PartFacts
    hints: Hints
    speed: float | None = None
    grade: float | None = None
    possible: tuple[float, ...] | None = None
    influence: UncertainComplex | None = None
    assumed_sd: bool = False
    channel: str | None = None
    solved_runs: Path | None = None


def read_index_file(path: str | Path) -> IndexFile:
    """Read an index file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    IndexFile
        Its content, checked.

    Raises
    ------
    InputError
        With file and line, if anything in it cannot be used.
    """
    return parse_index(read_text(path, "an index file"), name=str(path), folder=Path(path).parent)


def parse_index(text: str, *, name: str, folder: Path) -> IndexFile:
    """Parse the text of an index file; other files are looked for in `folder`.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Name of the file for messages.
    folder : Path
        Where relative names of other files start.

    Returns
    -------
    IndexFile
        The content, checked.

    Raises
    ------
    InputError
        With file and line, if anything in it cannot be used.
    """
    return _Parser(text, name, folder).parse()


class _Parser(TomlText):
    def parse(self) -> IndexFile:
        self.known(self.data, _TOP, None)
        tables = self.runs("add a [[run]] for each position, with its index_deg")
        lead = self.leading()
        speed = self.number(self.data, "speed_rpm", None, above=0)
        grade = self.number(self.data, "grade", None, above=0)
        influence, assumed = self.influence()
        return IndexFile(
            name=self.name,
            runs=tuple(self.run(table, number, lead) for number, table in enumerate(tables)),
            angles=tuple(self.index(table, number) for number, table in enumerate(tables)),
            kept=self.part("kept"),
            turned=self.part("turned"),
            hints=self.hints(),
            speed=None if speed is None else rad_s_from_rpm(speed),
            grade=None if grade is None else grade * 1e-3,
            possible=self.possible(),
            influence=influence,
            assumed_sd=assumed,
            channel=self.text("channel"),
            solved_runs=self.file(self.data, "runs", None),
        )

    def run(self, table: Mapping[str, Any], run: int, lead: bool) -> RunEntry:
        self.known(table, _RUN, run)
        entry = self.entry(table, run, lead, ())
        if entry.recording is None and "phase_deg" not in table:
            self.refuse("a run has no phase_deg", "indexing needs amplitude and phase of every run", "", run)
        return entry

    def index(self, table: Mapping[str, Any], run: int) -> float:
        angle = self.number(table, "index_deg", run)
        if angle is None:
            self.refuse(
                "a run has no index_deg", "say how far the part was turned, as index_deg = 180", "", run
            )
        return math.radians(angle)

    def part(self, key: str) -> PartFacts:
        mass = self.number(self.data, f"{key}_mass_g", None, above=0)
        return PartFacts(self.text(key) or "", None if mass is None else kg_from_g(mass))

    def text(self, key: str) -> str | None:
        value = self.data.get(key)
        if value is not None and (not isinstance(value, str) or not value.strip()):
            self.refuse(f"{key} must be a name in quotes", f'write {key} = "name"', key)
        return value

    def possible(self) -> tuple[float, ...] | None:
        listed = self.data.get("possible_deg")
        if listed is None:
            return None
        if not isinstance(listed, list) or not listed:
            self.refuse("possible_deg must be a list", "write possible_deg = [0, 180]", "possible_deg")
        return tuple(math.radians(self.checked(angle, "possible_deg", None)) for angle in listed)

    def influence(self) -> tuple[UncertainComplex | None, bool]:
        given = _INFLUENCE & set(self.data)
        if not given:
            return None, False
        if "runs" in self.data:
            self.refuse("runs and a typed influence coefficient say the same", "leave one out", min(given))
        for key in ("influence_amplitude", "influence_phase_deg"):
            if key not in given:
                self.refuse(
                    f"the influence coefficient has no {key}", "add it, or leave both out", min(given)
                )
        # its phase is that of H = V / U with lags, as `balancer solve --json` gives it, whatever the readings
        typed, assumed = self.reading(self.data, None, False, "influence_")
        assert isinstance(typed, UncertainComplex)
        if typed.amplitude == 0:
            self.refuse(
                "an influence coefficient of 0 tells no unbalance", "leave it out", "influence_amplitude"
            )
        return typed.times(1 / kgm_from_gmm(1.0)), assumed

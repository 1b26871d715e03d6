"""What the page asks for, as values: the job on the simulated bench and the job from files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import radians
from typing import Literal

from balancer.core.grade import grade_of
from balancer.core.masses import Mass, total_unbalance
from balancer.core.pieces import Piece, Placement, Stock
from balancer.core.placement import choose, place
from balancer.core.placement_findings import placement_findings
from balancer.core.places import Places, Ring
from balancer.core.tape import Tape, usual_tape
from balancer.errors import InputError
from balancer.figures import RotorView
from balancer.pictures import pieces_picture
from balancer.procedure.measure import Measurement, measure, run_of
from balancer.procedure.solve import Residual, Solution, solve_runs
from balancer.procedure.story import PURPOSES, Setup, StoryRun
from balancer.recording.files import read_bytes
from balancer.simulator.presets import (
    COASTAL_RADIUS,
    COASTAL_RIM,
    COASTAL_SPEED,
    COASTAL_TIP,
    coastal_bell,
    coastal_propeller,
)
from balancer.units import kg_from_g, m_from_mm, mm_from_m, rad_s_from_rpm

Part = Literal["propeller", "bell"]
Hand = Literal["ccw", "cw"]

_SPIN = 8.0  # s


@dataclass(frozen=True)
class RotorFacts:
    """What the person says about the rotor; the first blade stands at the mark.

    Parameters
    ----------
    part : {"propeller", "bell"}
        What it is.
    hand : {"ccw", "cw"}
        How it turns, seen from the front.
    radius : float
        To the blade tip or the outside of the bell in m.
    tape_radius : float
        Where the middle of a strip on a blade goes, in m; a bare bell takes tape on its rim.
    ring_radius : float
        Of the ring that takes tape at any angle (hub or bell rim) in m.
    blades : int
        Of a propeller.
    mass : float or None
        Of all that turns, in kg; None when not known.
    """

    part: Part = "propeller"
    hand: Hand = "ccw"
    radius: float = COASTAL_TIP
    tape_radius: float = COASTAL_RADIUS
    ring_radius: float = COASTAL_RIM
    blades: int = 2
    mass: float | None = None

    @property
    def places(self) -> Places:
        """Where tape may go."""
        rim = Ring("bell rim", self.ring_radius)
        if self.part == "bell":
            return Places((), (rim,))
        if self.tape_radius >= self.radius:
            raise InputError(
                f"tape at radius {mm_from_m(self.tape_radius):g} mm lies outside the rotor of radius "
                f"{mm_from_m(self.radius):g} mm",
                todo="check both radii (the rotor's is half its diameter)",
            )
        # strips of both usual lengths fit, and none comes near the root or the tip
        inner, outer = self.tape_radius * 2 / 3, min(self.tape_radius * 4 / 3, self.radius)
        return Places.of_propeller(self.blades, inner, outer, usual=self.tape_radius, ring=rim)

    @property
    def view(self) -> RotorView:
        """How it is drawn, without pieces. Refuses sizes that do not fit together."""
        radius, ring = mm_from_m(self.radius), mm_from_m(self.ring_radius)
        if self.part == "bell":
            return RotorView("bell", radius_mm=ring, hand=self.hand)
        return RotorView(
            "propeller", radius_mm=radius, blades=self.blades, hand=self.hand, hub_radius_mm=ring
        )


@dataclass(frozen=True)
class Result:
    """What is known after solving, ready to be shown.

    Parameters
    ----------
    solution : Solution
        The solved runs.
    rotor : RotorFacts
        The rotor.
    layouts : tuple of tuple of Piece
        The tape of each correction that fits the readings: one, or several when one more run must decide.
    measured : tuple of Measurement
        What each run was solved from.
    checked : bool
        True when the last run was made with a correction on.
    """

    solution: Solution
    rotor: RotorFacts
    layouts: tuple[tuple[Piece, ...], ...]
    measured: tuple[Measurement, ...]
    checked: bool = False

    @property
    def found(self) -> Residual:
        """The unbalance of the rotor as it came, all listed masses off, as if it were what is left."""
        unbalance, speed = self.solution.answer.correction, self.solution.speed
        known = self.rotor.mass is not None and speed is not None
        grade = grade_of(unbalance.amplitude, self.rotor.mass or 0, speed or 0) if known else None
        permissible = self.solution.residual.permissible
        return Residual(unbalance.amplitude, unbalance.sd_amplitude, grade, permissible)

    @property
    def good_enough(self) -> bool:
        """Whether the check run found the residual inside the permissible unbalance."""
        permissible = self.solution.residual.permissible
        return self.checked and permissible is not None and self.solution.residual.unbalance <= permissible


@dataclass(frozen=True)
class BenchJob:
    """A job on the simulated bench: it grows run by run from nothing to the check run.

    Parameters
    ----------
    rotor : RotorFacts
        The part, as a person could see it.
    setup : Setup
        The bench, with what it hides.
    runs : tuple of StoryRun
        Those made so far.
    """

    rotor: RotorFacts
    setup: Setup
    runs: tuple[StoryRun, ...] = ()

    @classmethod
    def of(cls, part: Part, seed: int, tape: Tape) -> BenchJob:
        """Put a part of the invented build on the bench."""
        bench = coastal_propeller(seed) if part == "propeller" else coastal_bell(seed)
        rotor = RotorFacts(part, bench.rotor.hand, mass=bench.rotor.mass)
        return cls(rotor, Setup(bench, COASTAL_SPEED, _SPIN, seed, rotor.places, Stock(tape)))

    @property
    def done(self) -> bool:
        """Whether the check run was made."""
        return len(self.runs) == len(PURPOSES)

    def spun(self) -> BenchJob:
        """Make the next run: as it came, with the trial tape, then with the correction."""
        fitted: tuple[tuple[Piece, ...], ...] = ((), *self.laid)
        run = self.setup.spin(PURPOSES[len(self.runs)], fitted[-1])
        grown = replace(self, runs=(*self.runs, run))
        _ = grown.laid  # tape that cannot be laid is refused now, not when it is shown
        return grown

    @cached_property
    def laid(self) -> tuple[tuple[Piece, ...], ...]:
        """The tape of each run after the first, as far as it is known by now."""
        if not self.runs:
            return ()
        trial = (self.setup.trial_piece(self.runs[0]),)
        return (trial,) if len(self.runs) == 1 else (trial, self.placement.pieces)

    @cached_property
    def placement(self) -> Placement:
        """The advised correction; two runs must have been made."""
        return self.setup.placement(self.setup.solve(self.runs[:2]))

    @property
    def trial(self) -> tuple[Piece, ...]:
        """The advised trial tape; one run must have been made."""
        return self.laid[0]

    @cached_property
    def result(self) -> Result:
        """The result of the runs so far; two must have been made."""
        measured = tuple(run.measurement for run in self.runs)
        solution = self.setup.solve(self.runs)
        if not self.done:
            solution = _doubted(solution, [self.placement], self.setup.places, self.setup.stock)
        return Result(solution, self.rotor, (self.laid[1],), measured, self.done)

    @property
    def hidden(self) -> complex:
        """The unbalance that the rotor really has, in kg m."""
        return self.setup.bench.rotor.unbalance

    @property
    def truly_left(self) -> complex:
        """The unbalance that really is left with the correction tape on, in kg m."""
        return self.hidden + total_unbalance(self.placement.masses)


@dataclass(frozen=True)
class TypedMass:
    """A mass as typed: in g, mm and degrees against the rotation; None where nothing was typed."""

    mass_g: float | None
    radius_mm: float | None
    angle_deg: float | None


@dataclass(frozen=True)
class FileRun:
    """One run as handed in.

    Parameters
    ----------
    name : str
        The file's name: shown, never used as a path.
    data : bytes or None
        Its content, None when no file was given.
    purpose : str
        ``as-is``, ``trial`` or ``check``.
    masses : tuple of TypedMass
        What was fitted.
    """

    name: str
    data: bytes | None = field(repr=False)
    purpose: str
    masses: tuple[TypedMass, ...] = ()


@dataclass(frozen=True)
class FileJob:
    """A job from the person's own files.

    Parameters
    ----------
    runs : tuple of FileRun
        In the order in which they were made.
    rotor : RotorFacts
        The rotor.
    tape : Tape
        The roll.
    expected_rpm : float or None
        Speed to look for in recordings without marks.
    """

    runs: tuple[FileRun, ...]
    rotor: RotorFacts
    tape: Tape
    expected_rpm: float | None = None

    def solved(self) -> Result:
        """Measure and solve.

        Returns
        -------
        Result
            Correction, its tape, residual.

        Raises
        ------
        InputError
            If something is missing (all of it in one sentence), a file cannot be read or the runs do not
            determine a correction.
        """
        missing = [word for number, run in enumerate(self.runs, 1) for word in _missing(number, run)]
        if missing:
            raise InputError(f"still missing: {', '.join(missing)}", todo="add it and press again")
        measured = tuple(self._measured(run) for run in self.runs)
        runs = [
            run_of(one, tuple(_mass(m) for m in run.masses), run.purpose)
            for one, run in zip(measured, self.runs, strict=True)
        ]
        findings = dict.fromkeys(finding for one in measured for finding in one.findings)
        pieces_picture((), rotor=self.rotor.view)  # sizes that do not fit are refused now
        places, stock = self.rotor.places, Stock(self.tape)
        solution = solve_runs(
            runs, radius=places.radius, rotor_mass=self.rotor.mass, findings=tuple(findings)
        )
        checked = self.runs[-1].purpose == "check"
        answer = solution.answer
        wanted = (answer.next_correction,) if checked else (answer.correction, *answer.alternatives)
        chosen = [choose(place(one.value, places, stock), one.sd_amplitude) for one in wanted]
        layouts = tuple(one.pieces for one in chosen)
        solution = _doubted(solution, chosen, places, stock)
        return Result(solution, self.rotor, layouts, measured, checked)

    def _measured(self, run: FileRun) -> Measurement:
        near = None if self.expected_rpm is None else rad_s_from_rpm(self.expected_rpm)
        return measure(read_bytes(run.data or b"", run.name), near=near)


def _doubted(solution: Solution, placements: Sequence[Placement], places: Places, stock: Stock) -> Solution:
    """Add why placements leave much, if they do."""
    enough = solution.residual.permissible or 0.0
    found = [
        finding
        for one in placements
        for finding in placement_findings(one, places, stock, enough=enough)
        if finding.severity != "info"
    ]
    return replace(solution, findings=(*solution.findings, *dict.fromkeys(found)))


def read_text(name: str, data: bytes) -> str:
    """Say what was understood of a file.

    Parameters
    ----------
    name : str
        Its name, for messages.
    data : bytes
        Its content.

    Returns
    -------
    str
        A sentence without a full stop.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    recording = read_bytes(data, name)
    axes = ", ".join(channel.name for channel in recording.channels)
    marks = "no marks" if recording.marks is None else f"{recording.marks.size} marks"
    return (
        f"{name}: {recording.duration:.1f} s of {axes}, {recording.sample_rate:.0f} samples a second, {marks}"
    )


def _missing(number: int, run: FileRun) -> Sequence[str]:
    """List what a run still lacks, in the words of the page's labels."""
    wanted = [] if run.data is not None else [f"the recording of run {number}"]
    for index, mass in enumerate(run.masses, 1):
        piece = f"of piece {index} in run {number}" if len(run.masses) > 1 else f"in run {number}"
        typed = {"mass": mass.mass_g, "radius": mass.radius_mm, "angle": mass.angle_deg}
        wanted += [f"the {name} {piece}" for name, value in typed.items() if value is None]
    return wanted


def _mass(typed: TypedMass) -> Mass:
    return Mass(
        kg_from_g(typed.mass_g or 0.0), m_from_mm(typed.radius_mm or 0.0), radians(typed.angle_deg or 0.0)
    )


def roll(kind: str, width_mm: float, strip_mm: float | None = None, strip_g: float | None = None) -> Tape:
    """Give the roll of tape that the person chose.

    Parameters
    ----------
    kind : str
        A kind of the list, or ``weighed`` for one of which the person weighed a strip.
    width_mm : float
        In mm.
    strip_mm, strip_g : float or None
        Length in mm and mass in g of the weighed strip.

    Returns
    -------
    Tape
        The roll.

    Raises
    ------
    InputError
        If a figure is missing or not above 0.
    """
    if kind != "weighed":
        return usual_tape(kind, m_from_mm(width_mm))
    if strip_mm is None or strip_g is None:
        raise InputError("the weighed strip needs a length and a mass", todo="give both under Your tape")
    return Tape.of_strip("your", kg_from_g(strip_g), m_from_mm(strip_mm), m_from_mm(width_mm))

"""The whole story on the simulated bench: as-is, trial, correction in tape, check run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from balancer.core.masses import Mass, total_unbalance
from balancer.core.pieces import Piece, Placement, Stock
from balancer.core.placement import choose, place
from balancer.core.places import Places, Ring
from balancer.core.runs import Run
from balancer.errors import InputError
from balancer.procedure.measure import Measurement, measure, run_of
from balancer.procedure.solve import Solution, solve_runs
from balancer.procedure.trial import advise_trial
from balancer.recording.model import Recording
from balancer.simulator.bench import Bench
from balancer.simulator.presets import COASTAL_RADIUS, COASTAL_RIM
from balancer.units import mm_from_m

PURPOSES = ("as-is", "trial", "check")

COASTAL_PLACES = Places.of_propeller(
    2, inner=0.040, outer=0.080, usual=COASTAL_RADIUS, ring=Ring("bell rim", COASTAL_RIM)
)
"""Where tape goes on a propeller of the invented build."""

_CLOSE_ENOUGH = 0.15  # of a trial mass: what it really is counts, not what it was meant to be


@dataclass(frozen=True)
class StoryRun:
    """One run of the story.

    Parameters
    ----------
    purpose : str
        ``as-is``, ``trial`` or ``check``.
    masses : tuple of Mass
        What was fitted.
    recording : Recording
        What the sensor saw.
    measurement : Measurement
        What it amounts to.
    """

    purpose: str
    masses: tuple[Mass, ...]
    recording: Recording
    measurement: Measurement

    @property
    def run(self) -> Run:
        """The run for solving."""
        return run_of(self.measurement, self.masses, self.purpose)


@dataclass(frozen=True)
class Setup:
    """What a story is played with, and its single steps.

    Parameters
    ----------
    bench : Bench
        The simulated bench.
    speed : float
        In rad/s.
    duration : float
        Of each run in s.
    seed : int
        Makes it repeatable.
    places : Places
        Where tape may go.
    stock : Stock
        What there is to put on.
    """

    bench: Bench
    speed: float
    duration: float
    seed: int
    places: Places
    stock: Stock

    def spin(self, purpose: str, pieces: Sequence[Piece] = ()) -> StoryRun:
        """Make one run (``as-is``, ``trial`` or ``check``) with some pieces on, and measure it."""
        masses = tuple(piece.mass for piece in pieces)
        seed = self.seed * 10 + PURPOSES.index(purpose) + 1  # so each run has noise of its own
        recording = self.bench.record(speed=self.speed, duration=self.duration, masses=masses, seed=seed)
        return StoryRun(purpose, masses, recording, measure(recording))

    def trial_piece(self, as_is: StoryRun) -> Piece:
        """Size the trial mass by the as-is run and lay it as tape at the mark.

        Raises
        ------
        InputError
            If the tape is too heavy to be cut that short.
        """
        advice = advise_trial(
            as_is.run,
            speed=as_is.measurement.speed,
            radius=self.places.radius,
            moving_mass=self.bench.stand.moving_mass,
            rotor_mass=self.bench.rotor.mass,
        )
        wanted = abs(advice.unbalance)
        places = replace(self.places, rings=()) if self.places.blades else self.places
        best = place(complex(wanted), places, self.stock, pieces=1, resolution=_CLOSE_ENOUGH * wanted)[-1]
        if not best.pieces:
            raise InputError(
                f"even the shortest strip of this tape, {mm_from_m(self.stock.shortest):g} mm, is far too "
                "heavy for a trial",
                todo="choose a lighter or a narrower tape",
            )
        return best.pieces[0]

    def solve(self, runs: Sequence[StoryRun]) -> Solution:
        """Solve the runs made so far."""
        return solve_runs(
            [item.run for item in runs], radius=self.places.radius, rotor_mass=self.bench.rotor.mass
        )

    def placement(self, advice: Solution) -> Placement:
        """Make the correction of pieces: the fewest that leave no more than its uncertainty."""
        wanted = advice.answer.correction
        return choose(place(wanted.value, self.places, self.stock), wanted.sd_amplitude)


@dataclass(frozen=True)
class Story:
    """The story from the first spin to the check run.

    Parameters
    ----------
    bench : Bench
        The simulated bench.
    as_is, trial, check : StoryRun
        The three runs.
    trial_piece : Piece
        The trial mass as tape.
    advice : Solution
        From as-is and trial run.
    pieces : tuple of Piece
        The correction as tape.
    outcome : Solution
        From all three runs.
    """

    bench: Bench
    as_is: StoryRun
    trial: StoryRun
    check: StoryRun
    trial_piece: Piece
    advice: Solution
    pieces: tuple[Piece, ...]
    outcome: Solution

    @property
    def truly_removed(self) -> float:
        """Share of the hidden unbalance that the pieces really took away."""
        before = self.bench.rotor.unbalance
        return 1 - abs(before + total_unbalance(self.check.masses)) / abs(before)

    @property
    def vibration_removed(self) -> float:
        """Share of the 1x vibration of the first channel that went."""
        before, after = (r.measurement.channels[0].amplitude.value for r in (self.as_is, self.check))
        return 1 - after / before


def play(
    bench: Bench,
    *,
    speed: float,
    duration: float,
    seed: int,
    places: Places,
    stock: Stock,
    progress: Callable[[str], None] = lambda _: None,
) -> Story:
    """Balance the rotor of a simulated bench once, with tape cut to whole millimetres.

    Parameters
    ----------
    bench, speed, duration, seed, places, stock
        As in `Setup`.
    progress : callable, optional
        Is told what happens next.

    Returns
    -------
    Story
        All of it.
    """
    setup = Setup(bench, speed, duration, seed, places, stock)
    progress("as-is run")
    as_is = setup.spin("as-is")
    trial_piece = setup.trial_piece(as_is)
    progress("trial run")
    trial = setup.spin("trial", [trial_piece])
    advice = setup.solve([as_is, trial])
    pieces = setup.placement(advice).pieces
    progress("check run")
    check = setup.spin("check", pieces)
    return Story(bench, as_is, trial, check, trial_piece, advice, pieces, setup.solve([as_is, trial, check]))

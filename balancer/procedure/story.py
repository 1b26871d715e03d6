"""The whole story on the simulated bench: as-is, trial, correction in tape, check run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from balancer.core.masses import Mass, total_unbalance
from balancer.core.runs import Run
from balancer.core.tape import Tape
from balancer.errors import InputError
from balancer.procedure.measure import Measurement, measure
from balancer.procedure.solve import Solution, run_of, solve_runs
from balancer.procedure.strips import LaidStrip, Places, lay_strips
from balancer.procedure.trial import first_trial
from balancer.recording.model import Recording
from balancer.simulator.bench import Bench

PURPOSES = ("as-is", "trial", "check")


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
    tape : Tape
        The roll.
    """

    bench: Bench
    speed: float
    duration: float
    seed: int
    places: Places
    tape: Tape

    def spin(self, purpose: str, strips: Sequence[LaidStrip] = ()) -> StoryRun:
        """Make one run (``as-is``, ``trial`` or ``check``) with some strips on, and measure it."""
        masses = tuple(item.mass for item in strips)
        seed = self.seed * 10 + PURPOSES.index(purpose) + 1  # so each run has noise of its own
        recording = self.bench.record(speed=self.speed, duration=self.duration, masses=masses, seed=seed)
        return StoryRun(purpose, masses, recording, measure(recording))

    def trial_strip(self, as_is: StoryRun) -> LaidStrip:
        """Size the trial mass by the as-is run and lay it as tape at the mark.

        Raises
        ------
        InputError
            If the tape is too heavy to be cut that short.
        """
        largest = max(channel.amplitude.value for channel in as_is.measurement.channels)
        wanted = first_trial(largest, as_is.measurement.speed, self.bench.stand.moving_mass)
        strips = lay_strips(complex(wanted), self.places, self.tape)
        if not strips:
            raise InputError(
                "the trial piece of this tape would be shorter than half a millimetre",
                todo="choose a lighter or a narrower tape",
            )
        return strips[0]

    def solve(self, runs: Sequence[StoryRun]) -> Solution:
        """Solve the runs made so far."""
        return solve_runs(
            [item.run for item in runs], radius=self.places.blade_radius, rotor_mass=self.bench.rotor.mass
        )

    def strips(self, advice: Solution) -> tuple[LaidStrip, ...]:
        """Lay the correction as tape."""
        return lay_strips(advice.answer.correction.value, self.places, self.tape)


@dataclass(frozen=True)
class Story:
    """The story from the first spin to the check run.

    Parameters
    ----------
    bench : Bench
        The simulated bench.
    as_is, trial, check : StoryRun
        The three runs.
    trial_strip : LaidStrip
        The trial mass as tape.
    advice : Solution
        From as-is and trial run.
    strips : tuple of LaidStrip
        The correction as tape.
    outcome : Solution
        From all three runs.
    """

    bench: Bench
    as_is: StoryRun
    trial: StoryRun
    check: StoryRun
    trial_strip: LaidStrip
    advice: Solution
    strips: tuple[LaidStrip, ...]
    outcome: Solution

    @property
    def truly_removed(self) -> float:
        """Share of the hidden unbalance that the strips really took away."""
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
    tape: Tape,
    progress: Callable[[str], None] = lambda _: None,
) -> Story:
    """Balance the rotor of a simulated bench once, with tape cut to whole millimetres.

    Parameters
    ----------
    bench, speed, duration, seed, places, tape
        As in `Setup`.
    progress : callable, optional
        Is told what happens next.

    Returns
    -------
    Story
        All of it.
    """
    setup = Setup(bench, speed, duration, seed, places, tape)
    progress("as-is run")
    as_is = setup.spin("as-is")
    trial_strip = setup.trial_strip(as_is)
    progress("trial run")
    trial = setup.spin("trial", [trial_strip])
    advice = setup.solve([as_is, trial])
    strips = setup.strips(advice)
    progress("check run")
    check = setup.spin("check", strips)
    return Story(bench, as_is, trial, check, trial_strip, advice, strips, setup.solve([as_is, trial, check]))

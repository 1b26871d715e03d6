"""A hand at the simulated bench that does what `next_step` says, blindly, and nothing else."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from balancer.core.masses import total_unbalance
from balancer.core.pieces import Stock
from balancer.core.places import Places, Ring
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import Tape, usual_tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.procedure.job import Job, JobRun, SensorCheck, Stand
from balancer.procedure.measure import measure, run_of
from balancer.procedure.next_step import next_step
from balancer.procedure.part import Part

SECONDS = 8.0


def stock_for(mass, speed):
    """Tape that suits the part: its shortest strip is a small part of what the part usually needs."""
    return Stock(usual_tape("polyimide" if mass < 0.02 else "aluminium", 0.005 if mass < 0.03 else 0.010))


def job_for(bench, speed, *, grade=6.3e-3, moving_mass=True, **known):
    rotor = bench.rotor
    tip = rotor_radius(rotor)
    ring = Ring("bell rim", 0.012 + 0.35 * rotor.bell_mass)  # 16 mm at 12 g, 21 mm at 25 g
    places = (
        Places.of_propeller(rotor.blades, 0.25 * tip, 0.9 * tip, ring=ring)
        if rotor.blades
        else Places.of_bell(ring.radius)
    )
    part = Part("propeller" if rotor.blades else "bell", rotor.mass, places, hand=rotor.hand, grade=grade)
    stand = Stand("simulated", bench.stand.moving_mass if moving_mass else None)
    return Job(part, stock_for(rotor.mass, speed), speed=speed, stand=stand, **known)


def rotor_radius(rotor):
    """Tip radius in m of a propeller of that mass: the inverse of the mass law in `random_bench`."""
    return 12.0 * (rotor.propeller_mass / 0.016) ** (1 / 2.2) * 0.0254 / 2 if rotor.blades else 0.02


@dataclass
class Hand:
    """Puts on what is said, spins, and adds the run.

    `quick` makes the 1x vectors from the bench's closed form with noise of the right size instead of whole
    recordings: a hundred times faster, and the same but for what measuring itself adds.
    """

    bench: object
    speed: float
    seed: int
    with_phase: bool = True
    quick: bool = True

    def __post_init__(self):
        self.rng = np.random.default_rng([self.seed, 77])
        self.spun = 0

    def follow(self, job, most=40):
        """Follow `next_step` to the end; gives the job, the last step, and all steps."""
        steps = []
        for _ in range(most):
            step = next_step(job)
            steps.append(step)
            if step.ends:
                return job, steps
            job = self.do(job, step)
        raise AssertionError("next_step never came to an end")

    def do(self, job, step):
        if step.action == "acknowledge":
            return replace(job, acknowledged=True)
        if step.action == "balance-bell":
            return replace(job, below="balanced")
        if step.action == "check-sensor":
            return replace(job, check=SensorCheck())
        if step.action == "fit":
            return job.with_fitted(step.pieces)
        if step.action == "set-aside":
            for number in step.runs:
                job = job.set_aside(number, "it does not belong to the others")
            return job
        return job.with_run(self.spin(job, step.purpose))

    def spin(self, job, purpose):
        self.spun += 1
        run = self.quick_run(job, purpose) if self.quick else self.recorded_run(job, purpose)
        return JobRun(run, f"run {self.spun}", fit_error=job.fit_error)

    def recorded_run(self, job, purpose):
        # hands on a throttle do not meet the same speed twice
        speed = self.speed * (1 + 0.003 * self.rng.standard_normal())
        recording = self.bench.record(
            speed=speed, duration=SECONDS, seed=self.seed * 100 + self.spun, masses=job.masses
        )
        if not self.with_phase:
            recording = replace(recording, marks=None)
        return run_of(measure(recording, near=self.speed), job.masses, purpose)

    def quick_run(self, job, purpose):
        speed = self.speed * (1 + 0.003 * self.rng.standard_normal())
        readings = []
        vectors = self.bench.truth(speed=speed, masses=job.masses).vectors
        for axis, (value, density) in enumerate(zip(vectors, self.bench.sensor.noise_density, strict=True)):
            sd = math.hypot(density, self.shaken(axis)) / math.sqrt(SECONDS)
            noisy = value + sd * complex(*self.rng.standard_normal(2))
            readings.append(
                UncertainComplex(noisy, Covariance.circular(sd**2))
                if self.with_phase
                else Amplitude(abs(noisy), sd)
            )
        return Run(tuple(readings), job.masses, purpose, speed)

    def shaken(self, axis):
        """Density that the turbulence makes on an axis, in (m/s^2)/sqrt(Hz)."""
        stand = self.bench.stand
        return (
            math.sqrt(
                sum(
                    abs(shape.seen[axis] * shape.mode.accelerance(self.speed) / stand.moving_mass) ** 2
                    for shape in stand.shapes
                )
            )
            * self.bench.turbulence
        )

    def left(self, job):
        """The unbalance that is truly left with what is on now, in kg m."""
        return abs(self.bench.rotor.unbalance + total_unbalance(job.masses))


__all__ = ["SECONDS", "Hand", "Tape", "job_for", "rotor_radius", "stock_for"]

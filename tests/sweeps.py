"""Run-ups and coast-downs of random benches whose resonances lie inside the sweep."""

from dataclasses import replace

import numpy as np

from balancer.simulator.motion import Motion
from balancer.simulator.presets import random_bench
from balancer.simulator.stand import Mode
from balancer.units import rad_s_from_rpm

SLOWEST, FASTEST = rad_s_from_rpm(1500.0), rad_s_from_rpm(9000.0)


def bench_with_resonances(seed):
    """A random bench with lateral modes at 32 to 130 Hz, at least 12 % apart, damping 0.02 to 0.08."""
    rng = np.random.default_rng([77, seed])
    bench, _ = random_bench(rng)
    low = rng.uniform(32, 110)
    high = rng.uniform(1.12 * low, 130)
    first, second = (Mode(f, rng.uniform(0.02, 0.08)) for f in (low, high))
    axial = Mode(rng.uniform(40, 200), rng.uniform(0.02, 0.05))
    return replace(bench, stand=replace(bench.stand, first=first, second=second, axial=axial))


def swept(bench, seed, *, first=SLOWEST, last=FASTEST, duration=20.0, powered=True):
    """Record a ramp of the speed with the bench's own wander."""
    ramp = Motion.ramp(first, last, 0.5, 0.5 + duration)
    motion = Motion(ramp.profile, bench.wander, bench.wander_time)
    return bench.record(speed=motion, duration=duration + 1, seed=seed, powered=powered)


def coast_down(bench, seed, duration=4.0):
    """Record a coast-down without power."""
    return swept(bench, seed, first=FASTEST, last=SLOWEST, duration=duration, powered=False)

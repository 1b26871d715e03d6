"""Speed of the placement search against sorting a million numbers, as ratios within one run.

A hundred milliseconds is what a person does not notice as waiting; the yardstick takes 40 to 65 ms here. A
bell is slowest: with its ring free all round two pieces can be anywhere on it.
"""

import cmath
import math
import time

import numpy as np
import pytest

from balancer.core.pieces import Stock
from balancer.core.placement import place
from balancer.core.places import Places, Ring, Slot
from balancer.core.tape import Tape

STOCK = Stock(Tape("mine", 0.145, 0.010))
PARTS = {
    "two blades and rim": Places.of_propeller(2, 0.035, 0.120, usual=0.060, ring=Ring("rim", 0.018)),
    "three blades": Places.of_propeller(3, 0.035, 0.120, usual=0.060),
    "four blades": Places.of_propeller(4, 0.035, 0.120, usual=0.060),
    "bell": Places.of_bell(0.018),
    "bell with twelve slots": Places.of_bell(
        0.018, slots=[Slot(k * math.tau / 12, math.radians(24)) for k in range(12)]
    ),
}


def some_corrections():
    rng = np.random.default_rng(1)
    return [cmath.rect(rng.uniform(0.5e-6, 2.5e-6), rng.uniform(0, math.tau)) for _ in range(10)]


@pytest.mark.benchmark(group="placement")
def test_yardstick_sort(benchmark):
    benchmark(np.sort, np.random.default_rng(1).normal(size=1_000_000))


@pytest.mark.benchmark(group="placement")
@pytest.mark.parametrize("name", PARTS)
def test_ten_placements(benchmark, name):
    placed = benchmark(lambda: [place(one, PARTS[name], STOCK) for one in some_corrections()])
    assert all(abs(found[-1].left) < abs(found[0].left) for found in placed)


def seconds(function, *args):
    start = time.perf_counter()
    function(*args)
    return time.perf_counter() - start


@pytest.mark.parametrize("name", PARTS)
def test_speed_ratio(benchmark, name):
    if benchmark.disabled:
        pytest.skip("speed is measured with --benchmark-enable only")
    benchmark(lambda: None)
    numbers = np.random.default_rng(1).normal(size=1_000_000)
    # in turn, so that a busy machine slows both
    pairs = [
        (seconds(place, one, PARTS[name], STOCK), seconds(np.sort, numbers)) for one in some_corrections() * 3
    ]
    ours, theirs = (np.median(times) for times in zip(*pairs, strict=True))
    print(f"\nplacement, {name}: {ours * 1e3:.1f} ms, sort {theirs * 1e3:.1f} ms: {ours / theirs:.2f}")
    assert ours / theirs <= 1.6

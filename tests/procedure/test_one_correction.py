"""One correction with real pieces: strips cut to whole millimetres at the places that the part allows.

67 parts of each kind were balanced by hand on whole recordings: with phase 99.3, 99.5 and 98.7 % were removed
in the median (two blades, three blades, bells), without 98.8, 99.0 and 97.9 %; the worst tenth began at 94 %.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from balancer.procedure.next_step import next_step
from balancer.simulator.presets import random_bench
from tests.procedure.hand import Hand, job_for


def of_kind(bench, blades):
    if blades:
        return replace(bench, rotor=replace(bench.rotor, blades=blades))
    bare = replace(bench.rotor, propeller=0j, propeller_mass=0.0, blades=0)
    return replace(bench, rotor=bare, air=())


def removed(number, blades, with_phase):
    """Share of the unbalance that the first correction takes away; the grade asked for is out of reach."""
    bench, speed = random_bench(np.random.default_rng([number, blades, 9]))
    bench = of_kind(bench, blades)
    hand = Hand(bench, speed, number, with_phase=with_phase)
    job = job_for(bench, speed, grade=1e-4)
    while (step := next_step(job)).purpose != "correction":
        job = hand.do(job, step)
    return 1 - hand.left(hand.do(job, step)) / abs(bench.rotor.unbalance)


@pytest.mark.parametrize("blades", [2, 3, 0], ids=["two blades", "three blades", "bell"])
@pytest.mark.parametrize(("with_phase", "median"), [(True, 0.95), (False, 0.90)], ids=["phase", "no phase"])
def test_one_correction(blades, with_phase, median):
    shares = [removed(number, blades, with_phase) for number in range(14 if with_phase else 8)]
    assert np.median(shares) >= median
    if with_phase:
        assert np.mean(np.array(shares) >= 0.90) >= 0.9

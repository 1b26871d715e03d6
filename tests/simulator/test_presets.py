"""The ready-made benches: realistic sizes, and the whole road on each."""

import numpy as np
import pytest

from balancer.core.masses import Mass
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell, coastal_propeller, random_bench
from balancer.units import gmm_from_kgm, rpm_from_rad_s


@pytest.mark.parametrize("seed", range(20))
def test_coastal_propeller_is_of_the_usual_size(seed):
    bench = coastal_propeller(seed)
    truth = bench.truth(speed=COASTAL_SPEED)
    assert 0.014 <= bench.rotor.propeller_mass <= 0.018
    assert bench.rotor.blades == 2
    assert 0.4 <= gmm_from_kgm(abs(truth.unbalance)) <= 4.0
    assert 0.4 <= max(abs(v) for v in truth.vectors) <= 20.0


@pytest.mark.parametrize("seed", range(5))
def test_coastal_bell_has_no_blades(seed):
    bench = coastal_bell(seed)
    assert (bench.rotor.propeller, bench.rotor.blades, bench.air) == (0j, 0, ())
    assert bench.stand.moving_mass < coastal_propeller(seed).stand.moving_mass
    assert max(abs(v) for v in bench.truth(speed=COASTAL_SPEED).vectors) > 0.4


def test_presets_are_repeatable():
    assert coastal_propeller(3) == coastal_propeller(3) != coastal_propeller(4)
    assert coastal_bell(3) == coastal_bell(3) != coastal_bell(4)
    assert random_bench(np.random.default_rng(1)) == random_bench(np.random.default_rng(1))


@pytest.mark.parametrize("seed", range(40))
def test_random_benches_stay_clear_of_resonance_and_full_scale(seed):
    bench, speed = random_bench(np.random.default_rng(seed))
    truth = bench.truth(speed=speed)
    assert 3000.0 - 1e-9 <= rpm_from_rad_s(speed) <= 9000.0 + 1e-9
    assert 0.2 <= gmm_from_kgm(abs(truth.unbalance)) <= 6.0
    assert 0.4 <= max(abs(v) for v in truth.vectors) <= 20.0
    for mode in (bench.stand.first, bench.stand.second):
        ratio = 2 * np.pi * mode.frequency / speed
        assert ratio < 0.61 or ratio > 1.59


@pytest.mark.parametrize("seed", range(3))
def test_a_run_of_every_kind_is_clean_enough_to_use(seed):
    """10 s with all disturbances: nothing clipped, about one mark a turn, few samples lost."""
    random, random_speed = random_bench(np.random.default_rng(seed))
    for bench, speed in (
        (coastal_propeller(seed), COASTAL_SPEED),
        (coastal_bell(seed), COASTAL_SPEED),
        (random, random_speed),
    ):
        recording = bench.record(speed=speed, duration=10.0, seed=seed)
        assert np.max(np.abs(recording.samples)) < bench.sensor.full_scale
        assert recording.marks.size == pytest.approx(10.0 * speed / (2 * np.pi), rel=0.02)
        assert recording.times.size > 0.995 * 16001
        np.testing.assert_allclose(np.mean(recording.samples, axis=1), bench.sensor.offset, atol=0.05)


def test_two_runs_and_the_textbook_formula_find_the_correction(fit):
    """C = -V0 W / (V1 - V0): S. S. Rao, Mechanical Vibrations, chapter 9 (from memory)."""
    bench = coastal_propeller(11)
    truth = bench.truth(speed=COASTAL_SPEED)
    trial = Mass.of_unbalance(1j * truth.unbalance, 0.06)
    vectors = []
    for seed, masses in ((1, ()), (2, (trial,))):
        recording = bench.record(speed=COASTAL_SPEED, duration=10.0, seed=seed, masses=masses)
        turns = np.round((recording.marks - recording.marks[0]) * COASTAL_SPEED / (2 * np.pi))
        good = np.flatnonzero(np.diff(recording.marks) > 0.9 * 2 * np.pi / COASTAL_SPEED)
        # mend by hand what this run holds: keep the marks that stand a whole turn apart
        marks = recording.marks[np.concatenate((good, [good[-1] + 1]))]
        steps = np.round(np.diff(marks) * COASTAL_SPEED / (2 * np.pi))
        turns = np.concatenate(([0.0], np.cumsum(steps)))
        inside = (recording.times > marks[0]) & (recording.times < marks[-1])
        angle = 2 * np.pi * np.interp(recording.times[inside], marks, turns)
        vectors.append(fit(angle, recording.samples[:, inside], 1, (2, 4))[:2])
    before, after = vectors
    correction = -before * trial.unbalance / (after - before)
    np.testing.assert_allclose(correction, truth.correction, atol=0.02 * abs(truth.correction))

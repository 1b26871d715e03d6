"""The bench end to end: what was put in comes out, by a plain fit on the true shaft angle."""

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.signal import welch

from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.simulator.bench import Bench
from balancer.simulator.forces import Line, OrderForce
from balancer.simulator.motion import Motion
from balancer.simulator.pickup import Pickup
from balancer.simulator.presets import random_bench
from balancer.simulator.sensor import Sensor

W = 545.0


def steady_angle(recording):
    """True shaft angle of a run at steady speed: the first mark is at angle 0."""
    return W * (recording.times - recording.marks[0])


def angle_by_many_marks(recording, marks_per_rev):
    """Shaft angle with so many marks a turn that interpolation between them leaves nothing to wish."""
    turns = np.arange(recording.marks.size) / marks_per_rev
    return 2 * np.pi * CubicSpline(recording.marks, turns)(recording.times)


def vector(bench, fit, seed=1, duration=1.0, **more):
    recording = bench.record(speed=W, duration=duration, seed=seed, **more)
    return fit(steady_angle(recording), recording.samples)


def test_a_run_at_steady_speed_finds_the_truth(bench, fit):
    np.testing.assert_allclose(vector(bench, fit), bench.truth(speed=W).vectors, rtol=1e-5)


@pytest.mark.parametrize("seed", range(8))
def test_random_benches_find_their_truth(fit, seed):
    """Rotor and stand drawn at random, everything else without faults."""
    drawn, speed = random_bench(np.random.default_rng(seed))
    bench = Bench(drawn.rotor, drawn.stand)
    recording = bench.record(speed=speed, duration=1.0, seed=seed)
    found = fit(speed * (recording.times - recording.marks[0]), recording.samples)
    truth = np.array(bench.truth(speed=speed).vectors)
    np.testing.assert_allclose(found, truth, atol=1e-5 * np.max(np.abs(truth)))


@pytest.mark.parametrize("hand", ["cw", "ccw"])
def test_both_directions_of_rotation(bench, fit, hand):
    turned = replace(bench, rotor=replace(bench.rotor, hand=hand))
    np.testing.assert_allclose(vector(turned, fit), turned.truth(speed=W).vectors, rtol=1e-5)


def test_reversing_the_rotation_conjugates_the_stands_directions(bench):
    """On a round stand the two senses give H exp(j b) and H exp(-j b), b the direction of the sensor axis."""
    round_stand = replace(bench.stand, second=bench.stand.first)
    ccw, cw = (
        replace(bench, rotor=replace(bench.rotor, hand=hand), stand=round_stand).truth(speed=W).influence
        for hand in ("ccw", "cw")
    )
    assert ccw[0] / cw[0] == pytest.approx(cmath.exp(2j * bench.stand.sensor_angle))
    assert ccw[1] / cw[1] == pytest.approx(cmath.exp(2j * (bench.stand.sensor_angle + math.pi / 2)))


def test_twice_the_unbalance_is_twice_the_vector(bench, fit):
    rotor = bench.rotor
    double = replace(bench, rotor=replace(rotor, bell=2 * rotor.bell, propeller=2 * rotor.propeller))
    np.testing.assert_allclose(vector(double, fit, seed=5), 2 * vector(bench, fit, seed=6), rtol=1e-5)


def test_a_trial_mass_shifts_the_vector_by_its_influence(bench, fit):
    trial = Mass(0.02e-3, 0.06, 1.3)
    as_is, with_trial = vector(bench, fit, seed=1), vector(bench, fit, seed=2, masses=[trial])
    influence = np.array(bench.truth(speed=W).influence)
    # the trial mass itself makes what moves heavier by 8e-5, and the response smaller by about as much
    np.testing.assert_allclose(with_trial - as_is, influence * trial.unbalance, rtol=1e-3)
    np.testing.assert_allclose(with_trial, bench.truth(speed=W, masses=[trial]).vectors, rtol=1e-5)


def test_the_true_correction_leaves_nothing(bench, fit):
    correction = Mass.of_unbalance(bench.truth(speed=W).correction, 0.06)
    before, after = vector(bench, fit), vector(bench, fit, masses=[correction])
    assert np.max(np.abs(after)) < 1e-6 * np.max(np.abs(before))
    assert abs(bench.truth(speed=W, masses=[correction]).unbalance) < 1e-12 * abs(bench.rotor.unbalance)


def test_removed_mass_is_a_mass_on_the_other_side(bench, fit):
    removed = vector(bench, fit, masses=[Mass(-0.02e-3, 0.05, 0.4)])
    added = vector(bench, fit, masses=[Mass(0.02e-3, 0.05, 0.4 + math.pi)])
    np.testing.assert_allclose(removed, added, rtol=1e-3)


def test_turning_the_pickup_turns_the_phase(bench, fit):
    """The whole stand 50 degrees further with the rotation: every peak comes 50 degrees later."""
    angle = math.radians(50.0)
    stand = replace(bench.stand, sensor_angle=bench.stand.sensor_angle + angle)
    later = vector(replace(bench, stand=stand), fit)
    np.testing.assert_allclose(later, vector(bench, fit) * cmath.exp(1j * angle), rtol=1e-5)


def test_turning_the_mark_turns_the_phase(bench, fit):
    """The trailing edge is a mark 20 degrees further against the rotation: lags become smaller by that."""
    width = math.radians(20.0)
    trailing = replace(bench, pickup=Pickup(edge="falling", width=width))
    np.testing.assert_allclose(vector(trailing, fit), vector(bench, fit) * cmath.exp(-1j * width), rtol=1e-5)
    assert trailing.record(speed=W, duration=0.1, seed=1).sensor.mark_edge == "falling"


def test_turning_the_propeller_on_the_hub(bench, fit):
    """Half the sum of runs at 0 and 180 degrees is the bell's part (practice: Bloch and Geitner p. 312)."""
    half_turn = replace(bench, rotor=replace(bench.rotor, index=bench.rotor.index + math.pi))
    influence = np.array(bench.truth(speed=W).influence)
    bell = (vector(bench, fit) + vector(half_turn, fit, seed=2)) / 2
    np.testing.assert_allclose(bell, influence * bench.rotor.bell, rtol=1e-5)


def test_wandering_speed_moves_the_vector_little(bench, fit):
    marked = replace(bench, pickup=Pickup.even(48), wander=0.005, wander_time=0.3)
    truth = np.array(bench.truth(speed=W).vectors)
    for seed in range(3):
        recording = marked.record(speed=W, duration=5.0, seed=seed)
        angle = angle_by_many_marks(recording, 48)
        found = fit(angle, recording.samples)
        # mean(w) of 5 s strays by 0.005 / sqrt(5 / 0.75), and H goes with w^2 (z: nearer to a resonance)
        np.testing.assert_allclose(found[:2], truth[:2], rtol=0.012)
        speed = (angle[-1] - angle[0]) / recording.duration
        again = np.array(bench.truth(speed=speed).vectors)
        np.testing.assert_allclose(found[:2], again[:2], rtol=5e-4)


def test_a_slow_ramp_follows_the_closed_form(bench, fit):
    motion = Motion.ramp(450.0, 650.0, start=1.0, end=9.0)
    recording = replace(bench, pickup=Pickup.even(48)).record(speed=motion, duration=10.0, seed=1)
    angle = angle_by_many_marks(recording, 48)
    for start in (0.0, 5.0, 9.3):
        here = (recording.times >= start) & (recording.times < start + 0.25)
        speed = (angle[here][-1] - angle[here][0]) / np.ptp(recording.times[here])
        found = fit(angle[here], recording.samples[:, here])
        np.testing.assert_allclose(found[:2], bench.truth(speed=speed).vectors[:2], rtol=0.01)


def test_magnet_pull_vanishes_at_power_off(bench, fit):
    pulled = replace(bench, rotor=replace(bench.rotor, magnet_pull=0.2 * cmath.exp(1j)))
    on, off = vector(pulled, fit), vector(pulled, fit, powered=False)
    np.testing.assert_allclose(on, pulled.truth(speed=W).vectors, rtol=1e-5)
    np.testing.assert_allclose(off, bench.truth(speed=W).vectors, rtol=1e-5)
    expected = np.array(bench.truth(speed=W).influence) * 0.2 * cmath.exp(1j) / W**2
    np.testing.assert_allclose(on - off, expected, rtol=1e-4)


def test_electric_forces_vanish_at_power_off_and_air_forces_stay(bench, fit):
    shaken = replace(
        bench, air=(OrderForce(2, steady=0.1, direction=0.4),), electric=(OrderForce(7, steady=0.1),)
    )
    for powered in (True, False):
        recording = shaken.record(speed=W, duration=1.0, seed=1, powered=powered)
        angle = steady_angle(recording)
        assert abs(fit(angle, recording.samples, 2, (1, 7))[0]) > 0.1
        electric = abs(fit(angle, recording.samples, 7, (1, 2))[0])
        assert electric > 0.1 if powered else electric < 1e-4


def test_a_line_beside_1x_has_its_own_amplitude_and_place(bench):
    frequency = W / (2 * math.pi) + 3.0
    beside = replace(bench, lines=(Line(frequency, (0.5, 0.0, 0.2), lag=0.6),))
    still = bench.record(speed=W, duration=1.0, seed=1)
    extra = beside.record(speed=W, duration=1.0, seed=1).samples - still.samples
    gain = bench.sensor.gain(2 * math.pi * frequency)
    lag = 0.6 + cmath.phase(gain)
    expected = abs(gain) * np.cos(2 * math.pi * frequency * still.times - lag)
    np.testing.assert_allclose(extra, np.outer([0.5, 0.0, 0.2], expected), atol=1e-9)


def test_turbulence_is_coloured_by_the_stand(bench):
    """The spectrum of the response to a white force: its density times |accelerance| / mass."""
    rough = replace(bench, turbulence=0.01, sensor=Sensor(rate=1600.0, bandwidth=800.0))
    rough = replace(rough, stand=replace(bench.stand, turn=0.0))  # x sees the first mode alone
    silent = replace(rough, turbulence=0.0)
    noise = (
        rough.record(speed=W, duration=120.0, seed=1).samples
        - silent.record(speed=W, duration=120.0, seed=1).samples
    )[0]
    frequency, power = welch(noise, 1600.0, nperseg=4096)
    for low, high in ((15.0, 30.0), (60.0, 120.0), (200.0, 250.0)):
        band = (frequency > low) & (frequency < high)
        expected = [
            abs(0.01 * bench.stand.first.accelerance(2 * math.pi * f) / bench.stand.moving_mass) ** 2
            for f in frequency[band]
        ]
        assert np.sum(power[band]) == pytest.approx(np.sum(expected), rel=0.12)


def test_sample_clock_and_board_clock(bench, fit):
    """The sensor runs 2 % fast, which the times tell; the board's clock 1 % fast, which they do not."""
    clocks = replace(bench, sensor=replace(bench.sensor, rate=1600.0, rate_error=0.02), clock_error=0.01)
    recording = clocks.record(speed=W, duration=2.0, seed=1)
    assert recording.sample_rate == pytest.approx(1600.0 * 1.02 / 1.01, rel=1e-9)
    assert recording.sensor.nominal_rate == 1600.0
    assert np.median(np.diff(recording.marks)) == pytest.approx(2 * math.pi / W * 1.01, rel=1e-9)
    # samples and marks share the board's clock: the phase does not feel its error
    found = fit(steady_angle(recording) / 1.01, recording.samples)
    np.testing.assert_allclose(found, clocks.truth(speed=W).vectors, rtol=1e-5)


def test_sample_jitter_is_phase_noise(bench, fit):
    """White jitter s of the instants adds noise of w s A / sqrt(2) rms to a wave of amplitude A."""
    shaky = replace(bench, sensor=replace(bench.sensor, jitter=5e-6))
    recording = shaky.record(speed=W, duration=4.0, seed=1)
    truth = np.array(bench.truth(speed=W).vectors)
    clean = np.real(truth[:, None] * np.exp(-1j * steady_angle(recording)))
    noise = np.std(recording.samples - clean, axis=1)
    np.testing.assert_allclose(noise, W * 5e-6 * np.abs(truth) / math.sqrt(2), rtol=0.05)


def test_lost_samples_are_gaps_on_the_board_clock(bench):
    lossy = replace(
        bench, sensor=replace(bench.sensor, drop_probability=0.01, drop_burst=4), clock_error=0.003
    )
    recording = lossy.record(speed=W, duration=4.0, seed=2)
    assert recording.times.size + sum(gap.lost for gap in recording.gaps) == 4 * 3200 + 1
    assert len(recording.gaps) > 10
    assert set(np.isin([g.start for g in recording.gaps], recording.times)) == {True}
    assert set(np.isin([g.end for g in recording.gaps], recording.times)) == {True}
    assert {gap.reason for gap in recording.gaps} == {"index"}


def test_noise_bound_of_the_vector(bench, fit):
    """Cramer-Rao bound sd = density / sqrt(T) per component (Rife and Boorstyn 1974) over 60 runs of 1 s."""
    density = 290e-6 * 9.80665
    noisy = replace(bench, sensor=Sensor(rate=1600.0, bandwidth=800.0, noise_density=(density,) * 3))
    truth = np.array(noisy.truth(speed=W).vectors)
    errors = np.array([vector(noisy, fit, seed=seed) for seed in range(60)]) - truth
    parts = np.concatenate([errors.real.ravel(), errors.imag.ravel()])
    assert np.sqrt(np.mean(parts**2)) == pytest.approx(density, rel=0.15)  # 360 draws: 4 % scatter


def test_the_same_seed_gives_the_same_recording(bench):
    noisy = replace(
        bench,
        sensor=replace(bench.sensor, noise_density=(0.01,) * 3, drop_probability=0.01, jitter=1e-6),
        pickup=Pickup(jitter=1e-6, miss_probability=0.01, double_probability=0.01),
        turbulence=0.01,
        wander=0.005,
    )
    runs = [noisy.record(speed=W, duration=1.0, seed=seed) for seed in (8, 8, 9)]
    assert runs[0].digest == runs[1].digest
    assert runs[0].digest != runs[2].digest


def test_one_disturbance_does_not_shift_the_draws_of_another(bench):
    """Switching noise on leaves wander, lost samples and marks as they were."""
    base = replace(bench, wander=0.005, sensor=replace(bench.sensor, drop_probability=0.01))
    noisy = replace(base, sensor=replace(base.sensor, noise_density=(0.01,) * 3))
    a, b = (x.record(speed=W, duration=1.0, seed=8) for x in (base, noisy))
    np.testing.assert_array_equal(a.times, b.times)
    np.testing.assert_array_equal(a.marks, b.marks)
    assert np.std(a.samples - b.samples) == pytest.approx(0.01 * 40, rel=0.05)


def test_a_recording_says_what_it_is(bench):
    recording = replace(bench, pickup=Pickup.even(2)).record(speed=W, duration=0.5, seed=1)
    assert [(c.name, c.unit) for c in recording.channels] == [("x", "m/s^2"), ("y", "m/s^2"), ("z", "m/s^2")]
    assert recording.marks_per_rev == 2
    assert recording.source == "simulated bench"
    assert (recording.times[0], recording.duration) == (0.0, pytest.approx(0.5))
    assert recording.samples.shape == (3, 1601)


@pytest.mark.parametrize("duration", [0.0, -1.0, 1e-5, math.nan, math.inf])
def test_impossible_durations_are_refused(bench, duration):
    with pytest.raises(InputError, match="duration must be finite and hold at least two samples"):
        bench.record(speed=W, duration=duration, seed=1)


def test_negative_seeds_are_refused(bench):
    with pytest.raises(InputError, match="seed must not be negative"):
        bench.record(speed=W, duration=1.0, seed=-1)


def test_the_shortest_run_holds_two_samples(bench):
    assert bench.record(speed=W, duration=1 / 3200, seed=1).times.size == 2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"turbulence": -1.0}, "turbulence must not be negative"),
        ({"clock_error": 2.0}, "clock_error must be"),
    ],
)
def test_impossible_benches_are_refused(bench, change, words):
    with pytest.raises(InputError, match=words):
        replace(bench, **change)


def test_truth_needs_a_speed(bench):
    with pytest.raises(InputError, match="speed must be above 0"):
        bench.truth(speed=0.0)

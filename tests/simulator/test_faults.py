"""Faults of the bench against closed forms and against time series made another way."""

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.simulator import faults
from balancer.simulator.bench import Bench
from balancer.simulator.forces import Drive, Moving, OrderForce
from balancer.simulator.live_source import SimulatedSource
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.simulator.sensor import Sensor
from balancer.simulator.stand import Mode, Stand

W = 545.0
TURN = np.linspace(0, 2 * math.pi, 4096, endpoint=False)


def series_of(forces, angle):
    """Sum of order forces of unit w^2, without their directions."""
    return sum(f.aerodynamic * np.cos(f.order * angle - f.lag) for f in forces)


def steady_angle(recording):
    return W * (recording.times - recording.marks[0])


def test_a_rattle_is_a_train_of_half_sines():
    """Order amplitudes against the fast Fourier transform of two blows drawn in time, 2048 points a turn."""
    bench, width, alternate = coastal_propeller(1), 0.05, 0.4
    rattling = faults.rattle(bench, 3e-7, width=width, alternate=alternate)
    forces = rattling.air[len(bench.air) :]
    turns = np.arange(4096) / 2048
    inside = (turns % 1) < width
    blow = np.where(inside, np.sin(math.pi * (turns % 1) / width), 0.0) * np.where(
        turns < 1, 1, 1 - alternate
    )
    spectrum = 2 * np.fft.rfft(blow) / blow.size  # bin k is the order k / 2
    scale = math.pi / (4 * width)  # so that low harmonics of full blows have the amplitude 1
    for force in forces:
        expected = spectrum[round(2 * force.order)] * scale
        found = force.aerodynamic / 3e-7 * cmath.exp(-1j * force.lag)
        assert found == pytest.approx(expected, abs=2e-3)
    assert [f.order for f in forces[:4]] == [0.5, 1.0, 1.5, 2.0]


def test_half_orders_repeat_with_every_second_turn(bench):
    shaken = replace(bench, air=(OrderForce(0.5, aerodynamic=1e-6),))
    recording = shaken.record(speed=W, duration=2.0, seed=1)
    angle = steady_angle(recording)
    columns = [np.cos(angle / 2), np.sin(angle / 2), np.cos(angle), np.sin(angle)]
    found = np.linalg.lstsq(np.stack(columns, axis=1), recording.samples.T, rcond=None)[0]
    assert np.hypot(found[0], found[1])[0] > 0.1
    with pytest.raises(InputError, match="order must be 1 or more, or a half"):
        OrderForce(0.7, steady=1.0)


@pytest.mark.parametrize("blades", [2, 3, 4])
def test_a_damaged_blade_is_one_pulse_too_small(blades):
    """The air forces against the sum of every blade's own pulse, shifted in time, one of them weaker."""
    bench = coastal_propeller(2)
    bench = replace(
        bench,
        rotor=replace(bench.rotor, blades=blades),
        air=(
            OrderForce(blades, aerodynamic=3e-7, lag=0.4, direction=1.0, axial=2.0),
            OrderForce(2 * blades, aerodynamic=1e-7, lag=2.0, direction=1.0, axial=2.0),
        ),
    )
    missing = 0.3
    damaged = faults.damaged_blade(bench, missing, 0.0)

    def pulse(angle):
        """One blade: what makes up the given sums, falling by one factor from order to order."""
        fall, turn = (1 / 3) ** (1 / blades), 1.6 / blades
        orders = np.arange(1, 2 * blades + 1)[:, None]
        size, lag = 3e-7 / blades * fall ** (orders - blades), 0.4 + turn * (orders - blades)
        return np.sum(size * np.cos(orders * angle - lag), axis=0)

    whole = sum(pulse(TURN + 2 * math.pi * k / blades) for k in range(blades))
    np.testing.assert_allclose(series_of(bench.air, TURN), whole, atol=1e-15)
    expected = whole - missing * pulse(TURN)
    np.testing.assert_allclose(series_of(damaged.air, TURN), expected, atol=1e-15)


def test_a_damaged_blade_needs_air_forces(bench):
    with pytest.raises(InputError, match="forces at the blade pass and twice it"):
        faults.damaged_blade(bench, 0.2, 1e-6)


def test_a_bent_shaft_shakes_the_axial_mode_alone(bench, fit):
    """Closed form: the axial force times the accelerance of its mode over the moving mass."""
    bent = faults.bent_shaft(bench, 2e-6)
    found, before = (
        fit(steady_angle(recording), recording.samples)
        for recording in (b.record(speed=W, duration=1.0, seed=1) for b in (bent, bench))
    )
    np.testing.assert_allclose(found[:2], before[:2], rtol=1e-5)
    axial = 2e-6 * W**2 * cmath.exp(0.5j) * bench.stand.axial.accelerance(W) / bench.stand.moving_mass
    assert found[2] - before[2] == pytest.approx(axial * bench.sensor.gain(W), rel=1e-4)


def test_what_moves_goes_from_one_vector_to_another(bench, fit):
    """Before and after the change the vectors are those of the closed form."""
    change = 1e-6 * cmath.exp(2j)
    recording = faults.slipping(bench, change, 1.5).record(speed=W, duration=3.0, seed=1)
    angle = steady_angle(recording)
    influence = np.array(bench.truth(speed=W).influence)
    for begin, end, extra in ((0.0, 1.4, 0.0), (2.2, 3.0, change)):
        here = (recording.times >= begin) & (recording.times <= end)
        found = fit(angle[here], recording.samples[:, here])
        np.testing.assert_allclose(found, influence * (bench.rotor.unbalance + extra), rtol=2e-3)


def test_a_moving_unbalance_that_stays_is_a_mass(bench, fit):
    held = replace(bench, moving=((0.0, 2e-6j), (1.0, 2e-6j)))
    weight = Mass.of_unbalance(2e-6j, 0.06)
    found, expected = (
        fit(steady_angle(recording), recording.samples)
        for recording in (
            held.record(speed=W, duration=1.0, seed=1),
            bench.record(speed=W, duration=1.0, seed=1, masses=[weight]),
        )
    )
    np.testing.assert_allclose(found, expected, rtol=1e-3)  # the mass itself makes the stand a little heavier


def test_moving_follows_its_corner_points():
    moving = Moving([(0.0, 1.0 + 0j), (1.0, 2.0 + 1j), (2.0, 2.0 + 1j)])
    np.testing.assert_allclose(
        moving.at(np.array([-5.0, 0.0, 1.0, 1.5, 9.0])), [1, 1, 2 + 1j, 2 + 1j, 2 + 1j]
    )


def test_a_drift_ends_where_it_should(bench):
    for settling in (None, 2.0):
        moved = Moving(faults.drifting(bench, 3e-7j, 8.0, settling=settling).moving)
        np.testing.assert_allclose(moved.at(np.array([0.0, 8.0])), [0, 3e-7j], atol=1e-20)
    settled = Moving(faults.drifting(bench, 3e-7j, 8.0, settling=2.0).moving)
    expected = (1 - math.exp(-1)) / (1 - math.exp(-4)) * 3e-7j
    assert settled.at(np.array([2.0]))[0] == pytest.approx(expected, rel=1e-3)


def test_unsteady_places_have_their_size(bench):
    moved = faults.unsteady(bench, 1e-6, 400.0, np.random.default_rng(1))
    values = np.array([value for _, value in moved.moving])
    assert np.sqrt(np.mean(np.abs(values) ** 2)) == pytest.approx(1e-6, rel=0.1)  # 800 draws: 2.5 % scatter


def test_what_moves_must_rise_in_time(bench):
    with pytest.raises(InputError, match="the times of moving must rise"):
        replace(bench, moving=((1.0, 0j), (1.0, 1j)))


def test_a_live_bench_refuses_what_moves(bench):
    with pytest.raises(InputError, match="a live bench knows no unbalance that moves"):
        SimulatedSource(faults.slipping(bench, 1e-6, 1.0), speed=W)


def test_a_coast_down_solves_the_drag_equation():
    """w' = -w^2 / (w0 T) by scipy's integrator."""
    motion = Motion.coast(W, cut=1.0, end=4.0, halving=0.8)
    path = motion.path(-1.0, 4.0, 0.0, np.random.default_rng(0))
    times = np.linspace(1.1, 4.0, 30)
    solved = solve_ivp(lambda _, w: -(w**2) / (W * 0.8), (1.0, 4.0), [W], t_eval=times, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(path.speed(times), solved.y[0], rtol=2e-4)
    assert path.speed(0.5) == pytest.approx(W)
    assert path.power_off == 1.0


def test_the_pull_ends_at_the_cut_and_the_stand_rings_on():
    """One mode, its pull switched off: before the cut the closed form, after it scipy's free vibration."""
    stand = Stand(0.25, Mode(30.0, 0.05), Mode(30.0, 0.05), Mode(120.0, 0.03))
    bench = Bench(coastal_propeller(1).rotor, stand, Sensor(rate=3200.0, bandwidth=20000.0))
    bench = faults.balanced(faults.off_centre_bell(bench, 0.5 + 0j), 0.0)
    motion = Motion(((0.0, W), (10.0, W)), power_off=1.0)  # the current goes, the speed is held
    recording = bench.record(speed=motion, duration=1.5, seed=1)
    x = recording.samples[0]
    after = recording.times > 1.0 + 1e-3
    natural, damping = 2 * math.pi * 30.0, 0.05
    theta = W * (1.0 - recording.marks[0])
    force = 0.5 * cmath.exp(1j * bench.rotor.sense * stand.sensor_angle)
    still = (
        force / 0.25 / (natural**2 - W**2 - 2j * damping * natural * W)
    )  # displacement, x = Re(q exp(-j theta))
    start = [(still * cmath.exp(-1j * theta)).real, (-1j * W * still * cmath.exp(-1j * theta)).real]
    free = solve_ivp(
        lambda _, y: [y[1], -(natural**2) * y[0] - 2 * damping * natural * y[1]],
        (1.0, 1.5),
        start,
        t_eval=recording.times[after],
        rtol=1e-9,
        atol=1e-14,
    )
    expected = -(natural**2) * free.y[0] - 2 * damping * natural * free.y[1]
    np.testing.assert_allclose(x[after], expected, atol=0.02 * np.max(np.abs(expected)))


def test_electric_forces_end_at_the_cut(bench, fit):
    shaken = faults.rough_motor(replace(bench, electric=(OrderForce(7, steady=0.1),)), 2.0)
    motion = Motion(((0.0, W), (10.0, W)), power_off=1.0)
    recording = shaken.record(speed=motion, duration=3.0, seed=1)
    angle = steady_angle(recording)
    for part, low, high in ((recording.times < 0.99, 0.1, 10.0), (recording.times > 2.0, 0.0, 1e-3)):
        assert low <= abs(fit(angle[part], recording.samples[:, part], 7, (1,))[0]) < high


def test_rows_that_need_power():
    drive = Drive(0j, orders=(OrderForce(2), OrderForce(7), OrderForce(14)), electric=2)
    assert drive.powered == [2, 3, 5, 6]


def test_a_resonance_lies_where_it_is_put(bench):
    moved = faults.at_resonance(bench, W, 0.05)
    assert moved.stand.first.frequency == pytest.approx(1.05 * W / (2 * math.pi))


def test_play_of_the_adapter_moves_the_propellers_mass(bench):
    rng = np.random.default_rng(3)
    shifts = [faults.reseated(bench, 20e-6, rng).rotor.propeller - bench.rotor.propeller for _ in range(2000)]
    expected = bench.rotor.propeller_mass * 20e-6
    assert np.sqrt(np.mean(np.abs(shifts) ** 2)) == pytest.approx(expected, rel=0.06)  # 2000 draws: 1.1 %
    assert abs(np.mean(shifts)) < 0.1 * expected


def test_sizes_of_forces_are_scaled():
    bench = coastal_propeller(1)
    assert faults.near_obstacle(bench, 3.0).air[0].aerodynamic == 3 * bench.air[0].aerodynamic
    assert faults.balanced(bench, 0.1).rotor.unbalance == pytest.approx(0.1 * bench.rotor.unbalance)
    assert faults.twice_per_turn(bench, 1e-6).air[-1].order == 2
    assert faults.twice_per_turn(bench, 1e-6).truth(speed=COASTAL_SPEED) == bench.truth(speed=COASTAL_SPEED)

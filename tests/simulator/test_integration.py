"""Integration in time against the closed form, a general-purpose solver and a filter library."""

import cmath
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import TransferFunction, butter, freqresp

from balancer.simulator.forces import Drive, OrderForce
from balancer.simulator.integration import System, integrate, nodes_needed
from balancer.simulator.sensor import Sensor
from balancer.simulator.stand import AXES

UNBALANCE = 1.7e-6 * cmath.exp(0.8j)


def steady_force(drive, stand, w):
    def force(t):
        t = np.atleast_1d(t)
        return drive.shares(stand, 1) @ drive.series(w * t, np.full(t.size, w), np.zeros(t.size))

    return force


def run(stand, sensor, drive, w, duration=0.6, **more):
    """Integrate from rest at steady speed; what is left after the run-in, with its times."""
    system = System.of(stand, sensor.pole)
    before = math.ceil(system.run_in * sensor.rate)
    times = np.arange(-before, round(duration * sensor.rate)) / sensor.rate
    force = steady_force(drive, stand, w)
    noise = np.zeros((3, times.size))
    return times[before:], integrate(system, force, times, drive.highest_order * w, noise=noise, **more)[
        :, before:
    ]


@pytest.mark.parametrize("rate", [400.0, 800.0, 1600.0, 3200.0])
@pytest.mark.parametrize("speed", [200.0, 545.0, 942.0])
def test_steady_run_meets_the_closed_form(stand, fit, rate, speed):
    sensor = Sensor(rate=rate, bandwidth=rate / 2)
    times, samples = run(stand, sensor, Drive(UNBALANCE), speed)
    truth = np.array([stand.response(speed, axis) for axis in AXES]) * UNBALANCE * sensor.gain(speed)
    np.testing.assert_allclose(fit(speed * times, samples), truth, rtol=1e-6)


def test_the_run_starts_in_the_steady_state(stand, fit):
    times, samples = run(stand, Sensor(), Drive(UNBALANCE), 545.0)
    truth = np.array([stand.response(545.0, axis) for axis in AXES]) * UNBALANCE * Sensor().gain(545.0)
    left = samples - np.real(truth[:, None] * np.exp(-1j * 545.0 * times))
    assert np.max(np.abs(left)) < 1e-4 * np.max(np.abs(truth))


@pytest.mark.parametrize("order", [2, 4, 14, 42])
def test_order_forces_meet_transfer_functions(stand, fit, order):
    """Blade pass up to commutation ripple, above half the sample rate, through stand and low-pass."""
    w, sensor = 545.0, Sensor(rate=1600.0, bandwidth=800.0)
    force = OrderForce(order, steady=0.2, lag=0.9, direction=0.3, axial=0.5)
    times, samples = run(stand, sensor, Drive(0j, orders=(force,)), w)
    m, along = stand.moving_mass, stand.sensor_angle + stand.turn
    q = []
    modes = [(stand.first, along), (stand.second, along + math.pi / 2), (stand.axial, along)]
    for mode, direction in modes:
        wn = 2 * math.pi * mode.frequency
        modal = TransferFunction([1, 0, 0], [m, 2 * mode.damping * wn * m, m * wn**2])
        lowpass = TransferFunction(*butter(2, 2 * math.pi * sensor.bandwidth, analog=True))
        share = math.cos(direction - 0.3)
        if mode is stand.axial:
            share = stand.coupling * share + 0.5
        both = freqresp(modal, [order * w])[1][0] * freqresp(lowpass, [order * w])[1][0]
        q.append((0.2 * share * cmath.exp(-0.9j) * both).conjugate())
    c, s = math.cos(stand.turn), math.sin(stand.turn)
    expected = [c * q[0] - s * q[1], s * q[0] + c * q[1], q[2]]
    np.testing.assert_allclose(fit(w * times, samples, order), expected, rtol=1e-4)


def test_a_fast_ramp_meets_a_general_purpose_solver(stand):
    """From rest through both lateral resonances (22 and 37 Hz; it ends at 48 Hz).

    Reference: scipy.integrate.solve_ivp on the equations of motion and of a Butterworth low-pass.
    """
    sensor = Sensor(rate=800.0, bandwidth=400.0)
    drive = Drive(UNBALANCE, pull=0.02j, orders=(OrderForce(2, aerodynamic=1e-7, direction=0.4, axial=1.5),))

    def force(t):
        t = np.atleast_1d(t)
        return shares @ drive.series(40 * t + 220 * t**2, 40 + 440 * t, np.full(t.size, 440.0))

    shares = drive.shares(stand, -1)
    times = np.arange(480) / sensor.rate
    system = System.of(stand, sensor.pole)
    found = integrate(system, force, times, 2 * 400.0, noise=np.zeros((3, times.size)))

    natural = 2 * math.pi * np.array([stand.first.frequency, stand.second.frequency, stand.axial.frequency])
    damping = np.array([stand.first.damping, stand.second.damping, stand.axial.damping])
    corner = 2 * math.pi * sensor.bandwidth
    c, s = math.cos(stand.turn), math.sin(stand.turn)
    seen = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    def right_hand_side(t, state):
        q, v, out, rate = state.reshape(4, 3)
        a = force(t)[:, 0] / stand.moving_mass - 2 * damping * natural * v - natural**2 * q
        return np.concatenate([v, a, rate, corner**2 * (seen @ a - out) - math.sqrt(2) * corner * rate])

    solved = solve_ivp(
        right_hand_side, (0, times[-1]), np.zeros(12), "DOP853", times[::8], rtol=1e-8, atol=1e-10
    )
    expected = solved.y.reshape(4, 3, -1)[2]
    np.testing.assert_allclose(found[:, ::8], expected, atol=1e-5 * np.max(np.abs(expected)))


def test_samples_taken_late_are_those_of_the_later_time(stand):
    rng = np.random.default_rng(4)
    sensor, w = Sensor(), 545.0
    system = System.of(stand, sensor.pole)
    before = math.ceil(system.run_in * sensor.rate)
    stray = 3e-6 * rng.standard_normal(before + 600)
    times, samples = run(stand, sensor, Drive(UNBALANCE), w, duration=600 / sensor.rate, stray=stray)
    truth = np.array([stand.response(w, axis) for axis in AXES]) * UNBALANCE * sensor.gain(w)
    late = np.real(truth[:, None] * np.exp(-1j * w * (times + stray[before:])))
    on_time = np.real(truth[:, None] * np.exp(-1j * w * times))
    size = np.max(np.abs(truth))
    assert np.max(np.abs(samples - late)) < 5e-5 * size
    assert np.max(np.abs(samples - on_time)) > 2e-3 * size


@pytest.mark.parametrize("x", [0.5, 2.0, 5.0, 10.0, 20.0])
def test_enough_quadrature_nodes(x):
    """Against the integral of exp(j x s) over 0 to 1 in closed form."""
    at, weights = np.polynomial.legendre.leggauss(nodes_needed(x))
    found = np.sum(weights / 2 * np.exp(1j * x * (at + 1) / 2))
    assert abs(found - (cmath.exp(1j * x) - 1) / (1j * x)) < 1e-7


def test_lowpass_of_the_system_is_the_sensors(stand):
    """The frequency response of the partial fractions is the product of the two closed forms."""
    sensor = Sensor(bandwidth=300.0)
    system = System.of(stand, sensor.pole)
    for w in (50.0, 400.0, 3000.0):
        terms = system.residues / (1j * w - system.poles)
        mirrored = system.residues.conj() / (1j * w - system.poles.conj())
        found = np.sum(terms + mirrored, axis=1)
        modes = [shape.mode.accelerance(w) / stand.moving_mass for shape in stand.shapes]
        np.testing.assert_allclose(found, np.conj(np.array(modes) * sensor.gain(w)), rtol=1e-9)

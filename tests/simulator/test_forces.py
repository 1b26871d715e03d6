"""The forces against the position vector they come from, and against a printed rule."""

import cmath
import math

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.simulator.forces import Drive, Line, OrderForce
from balancer.simulator.stand import Mode, Stand
from balancer.units import kgm_from_gmm, rad_s_from_rpm


def force_on_modes(drive, stand, angle, speed, acceleration, sense=1):
    return drive.shares(stand, sense) @ drive.series(angle, speed, acceleration)


def test_centrifugal_force_of_a_gram_millimetre(stand):
    """0.0109662 N per g mm at 1000 rpm (computed from m r w^2; check value of the trade rule below)."""
    angle = np.linspace(0, 2 * np.pi, 3600)
    w = np.full(angle.size, rad_s_from_rpm(1000.0))
    force = force_on_modes(Drive(kgm_from_gmm(1.0)), stand, angle, w, 0 * angle)
    assert np.max(force[0]) == pytest.approx(0.0109662, abs=5e-8)
    assert np.max(force[1]) == pytest.approx(0.0109662, abs=5e-8)


def test_trade_rule_in_ounce_inches(stand):
    """F = 1.77 w[oz] r[in] (rpm/1000)^2 lbf (trade text, printed to three figures)."""
    unbalance = 0.028349523125 * 0.0254  # 1 oz in in kg m
    angle = np.linspace(0, 2 * np.pi, 3600)
    w = np.full(angle.size, rad_s_from_rpm(1000.0))
    pounds = np.max(force_on_modes(Drive(unbalance), stand, angle, w, 0 * angle)[0]) / 4.4482216152605
    assert pounds == pytest.approx(1.77, abs=0.006)


@pytest.mark.parametrize("sense", [1, -1])
def test_unbalance_force_is_minus_mass_times_acceleration_of_its_place(stand, sense):
    """The place of the mass on a shaft that speeds up, differentiated numerically in fixed axes."""
    mass, radius, phi = 0.4e-3, 0.05, 1.1
    dt = 1e-5
    t = np.arange(-2, 4003) * dt
    angle, speed, acceleration = 0.3 + 200 * t + 900 * t**2, 200 + 1800 * t, np.full(t.size, 1800.0)
    # seen from the front, counter-clockwise from the pick-up: the mark stands at sense * theta, and the mass
    # comes by phi later
    x, y = (radius * f(sense * (angle - phi)) for f in (np.cos, np.sin))

    def second_derivative(u):
        return (-u[:-4] + 16 * u[1:-3] - 30 * u[2:-2] + 16 * u[3:-1] - u[4:]) / (12 * dt**2)

    fx, fy = -mass * second_derivative(x), -mass * second_derivative(y)
    drive = Drive(mass * radius * cmath.exp(1j * phi))
    found = force_on_modes(drive, stand, angle[2:-2], speed[2:-2], acceleration[2:-2], sense)
    along = stand.sensor_angle + stand.turn
    for row, direction in zip(found[:2], (along, along + math.pi / 2), strict=True):
        expected = fx * math.cos(direction) + fy * math.sin(direction)
        np.testing.assert_allclose(row, expected, atol=1e-4 * np.max(np.abs(expected)))
    np.testing.assert_allclose(found[2], stand.coupling * found[0])


def test_the_turning_pull_is_a_constant_force_on_the_rotor(stand):
    """At every moment its two principal components have the same size together."""
    angle = np.linspace(0, 20, 500)
    found = force_on_modes(Drive(0j, pull=0.3 * cmath.exp(0.7j)), stand, angle, 100 + angle, 0 * angle)
    np.testing.assert_allclose(np.hypot(found[0], found[1]), 0.3)


def test_an_order_force_keeps_its_direction_and_grows_with_speed_squared():
    stand = Stand(0.2, Mode(20, 0.05), Mode(30, 0.05), Mode(120, 0.05))
    force = OrderForce(4, steady=0.1, aerodynamic=1e-6, lag=0.6, direction=0.5, axial=2.0)
    angle = np.linspace(0, 2 * np.pi, 4001)
    slow, fast = (
        force_on_modes(Drive(0j, orders=(force,)), stand, angle, np.full(angle.size, w), 0 * angle)
        for w in (200.0, 600.0)
    )
    np.testing.assert_allclose(slow[0], 0.14 * np.cos(4 * angle - 0.6) * np.cos(0.5), atol=1e-12)
    np.testing.assert_allclose(fast[1], 0.46 * np.cos(4 * angle - 0.6) * np.sin(0.5), atol=1e-12)
    np.testing.assert_allclose(fast[2], 0.92 * np.cos(4 * angle - 0.6), atol=1e-12)


def test_highest_order():
    assert Drive(1e-6).highest_order == 1
    assert Drive(1e-6, orders=(OrderForce(2), OrderForce(42))).highest_order == 42


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: OrderForce(0, steady=1.0), "order must be 1 or more"),
        (lambda: OrderForce(2, steady=math.nan), "numbers must be finite"),
        (lambda: Line(0.0, (1.0, 0.0, 0.0)), "frequency must be above 0"),
        (lambda: Line(50.0, (1.0, math.inf, 0.0)), "numbers must be finite"),
    ],
)
def test_impossible_forces_are_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()

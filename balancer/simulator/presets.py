"""Benches to try things on: an invented build, and random ones for tests.

The build is made up: a six-arm coastal-survey craft with 12-inch two-blade propellers on 14-magnet
outrunners, on a home-made stand with a cheap three-axis accelerometer. Sizes are of the usual order:
propellers of 14 to 18 g and bells near 25 g (common practice, no source), a sensor of 290 ug/sqrt(Hz), +-16 g
and 3.9 mg steps (data sheet of a sensor of that class).
"""

from __future__ import annotations

import cmath
import math
import re
from dataclasses import replace

import numpy as np

from balancer.errors import InputError
from balancer.simulator.bench import Bench
from balancer.simulator.forces import OrderForce
from balancer.simulator.pickup import Pickup
from balancer.simulator.rotor import Rotor
from balancer.simulator.sensor import Sensor
from balancer.simulator.stand import Mode, Stand
from balancer.units import G_STANDARD, kgm_from_gmm, rad_s_from_rpm

LARGEST = 9999
"""Highest number of a part of the invented build."""

COASTAL_SPEED = rad_s_from_rpm(5200.0)
"""Usual bench speed of the invented build in rad/s."""

COASTAL_TIP = 0.1524
"""Radius in m of its 12-inch propellers."""

COASTAL_RIM = 0.018
"""Outer radius in m of its motor bells, where tape goes round the rim."""

COASTAL_RADIUS = 0.060
"""Radius in m at which tape usually goes on its propellers."""

CHEAP_SENSOR = Sensor(
    rate=1600.0,
    bandwidth=800.0,
    noise_density=(290e-6 * G_STANDARD, 290e-6 * G_STANDARD, 430e-6 * G_STANDARD),
    full_scale=16 * G_STANDARD,
    resolution=3.9e-3 * G_STANDARD,
    offset=(0.3, -G_STANDARD, 0.5),
    drop_probability=0.0005,
)
"""An accelerometer board of the 5-euro class, mounted with its y axis up."""

OPTICAL_PICKUP = Pickup(
    width=math.radians(6.0), jitter=1e-6, miss_probability=0.001, double_probability=0.001
)
"""A reflective pick-up and a 10 mm tape on a 100 mm radius, timed to a microsecond."""

_PART = re.compile(r"(?:(bell|propeller):)?([0-9]{1,4})")
_COASTAL_STAND = Stand(
    moving_mass=0.260,
    first=Mode(21.0, 0.04),
    second=Mode(34.0, 0.05),
    axial=Mode(125.0, 0.03),
    turn=math.radians(20.0),
    sensor_angle=math.radians(35.0),
    coupling=0.08,
)


def coastal_propeller(seed: int) -> Bench:
    """Put one of the craft's 12-inch propellers on the stand.

    Parameters
    ----------
    seed : int
        Chooses the propeller: its mass and unbalance, and those of the bell below it.

    Returns
    -------
    Bench
        Propeller unbalance 1 to 3 g mm, bell 0.2 to 0.6 g mm.
    """
    rng = np.random.default_rng(seed)
    rotor = Rotor(
        bell=_unbalance(rng, 0.2, 0.6),
        propeller=_unbalance(rng, 1.0, 3.0),
        bell_mass=0.025,
        propeller_mass=rng.uniform(0.014, 0.018),
        blades=2,
        hand="ccw" if rng.random() < 0.5 else "cw",
    )
    return _board(rotor, _COASTAL_STAND)


def coastal_bell(seed: int) -> Bench:
    """Put one of the craft's motors on the stand without a propeller.

    Parameters
    ----------
    seed : int
        Chooses the bell.

    Returns
    -------
    Bench
        Bell unbalance 0.5 to 2 g mm, no blades; the stand has a propeller's mass less to move.
    """
    rng = np.random.default_rng(seed)
    rotor = Rotor(bell=_unbalance(rng, 0.5, 2.0), bell_mass=0.025, hand="ccw" if rng.random() < 0.5 else "cw")
    return _board(rotor, _COASTAL_STAND.loaded(-0.016))


def coastal_part(kind: str, number: int) -> Bench:
    """Put a part of either kind on the stand: "propeller" or "bell", and which one of them."""
    return (coastal_bell if kind == "bell" else coastal_propeller)(number)


def part_named(name: str) -> tuple[str, int]:
    """Read which part is meant: ``bell:N``, ``propeller:N``, N for a propeller, nothing for the first one.

    Parameters
    ----------
    name : str
        What stands behind ``simulated:`` in the name of a source.

    Returns
    -------
    tuple of (str, int)
        Kind and number, for `coastal_part`.

    Raises
    ------
    InputError
        If it names no part.

    Examples
    --------
    >>> part_named("bell:7"), part_named("7"), part_named("")
    (('bell', 7), ('propeller', 7), ('propeller', 1))
    """
    understood = _PART.fullmatch(name or "1")
    if not understood:
        raise InputError(
            f"simulated:{name} is not understood",
            todo=f"write simulated:propeller:1 or simulated:bell:1, or another number up to {LARGEST}",
        )
    return understood[1] or "propeller", int(understood[2])


def random_bench(rng: np.random.Generator) -> tuple[Bench, float]:
    """Draw a bench, a rotor and a speed for property tests.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all of it.

    Returns
    -------
    bench : Bench
        A 5- to 15-inch propeller with two to four blades on a soft or a stiff stand with the cheap sensor.
    speed : float
        In rad/s, 3,000 to 9,000 rpm (smaller ones faster); the lateral modes are below 0.6 or above 1.6
        times it.
    """
    inches = rng.uniform(5.0, 15.0)
    rpm = float(np.clip(9000.0 * (5.0 / inches) ** 0.8 * rng.uniform(0.8, 1.2), 3000.0, 9000.0))
    propeller_mass = 0.016 * (inches / 12.0) ** 2.2 * rng.uniform(0.85, 1.15)
    bell_mass = 0.6 * propeller_mass + 0.010
    bell = bell_mass * rng.uniform(5e-6, 20e-6) * cmath.exp(1j * rng.uniform(0, 2 * math.pi))
    # within 120 degrees of each other the two never cancel: there is always something to measure
    apart = rng.uniform(-2 * math.pi / 3, 2 * math.pi / 3)
    propeller = propeller_mass * rng.uniform(80e-6, 200e-6) * bell / abs(bell) * cmath.exp(1j * apart)
    rotor = Rotor(
        bell=bell,
        propeller=propeller,
        bell_mass=bell_mass,
        propeller_mass=propeller_mass,
        blades=int(rng.integers(2, 5)),
        hand="ccw" if rng.random() < 0.5 else "cw",
    )
    bench = _board(rotor, _random_stand(rng, rpm / 60.0, 6 * rotor.mass))
    return bench, rad_s_from_rpm(rpm)


def _unbalance(rng: np.random.Generator, least: float, most: float) -> complex:
    """Draw an unbalance in kg m between two sizes in g mm."""
    return kgm_from_gmm(rng.uniform(least, most)) * cmath.exp(1j * rng.uniform(0, 2 * math.pi))


def _random_stand(rng: np.random.Generator, turns_per_second: float, moving_mass: float) -> Stand:
    lowest, highest = (0.2, 0.6) if rng.random() < 0.7 else (1.6, 2.0)
    first, second = (
        Mode(turns_per_second * rng.uniform(lowest, highest), rng.uniform(0.02, 0.08)) for _ in range(2)
    )
    return Stand(
        moving_mass=moving_mass,
        first=first,
        second=second,
        axial=Mode(turns_per_second * rng.uniform(1.3, 1.7), rng.uniform(0.02, 0.05)),
        turn=rng.uniform(-math.pi / 4, math.pi / 4),
        sensor_angle=rng.uniform(0, 2 * math.pi),
        coupling=rng.uniform(0.0, 0.1),
    )


def _board(rotor: Rotor, stand: Stand) -> Bench:
    """Add the cheap sensor and the forces of blades, magnets and windings, in size after the rotor's mass."""
    size = rotor.mass
    blades, magnets = rotor.blades, rotor.magnets
    air = (
        ()
        if blades == 0
        else (
            OrderForce(blades, aerodynamic=7e-6 * size, lag=0.4, direction=1.0, axial=2.0),
            OrderForce(2 * blades, aerodynamic=2e-6 * size, lag=2.0, direction=1.2, axial=2.0),
        )
    )
    # pole pairs, magnets, and the ripple of six-step commutation: six to an electrical turn
    electric = (
        OrderForce(magnets // 2, steady=0.2 * size, lag=1.0, direction=0.3),
        OrderForce(magnets, steady=0.6 * size, lag=2.5, direction=2.2),
        OrderForce(3 * magnets, steady=1.2 * size, lag=0.7, direction=0.9),
    )
    bench = Bench(rotor, stand, CHEAP_SENSOR, OPTICAL_PICKUP, electric=electric)
    return replace(bench, air=air, turbulence=0.006 * size, wander=0.003, wander_time=0.4)

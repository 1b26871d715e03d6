"""Faults that are not unbalance, or not unbalance alone: each takes a bench and gives one that has the fault.

Sizes that compare with an unbalance are in kg m: such a force is the size times the speed squared. Which
sizes are usual is common practice without a source; the mechanics of each fault is in its docstring.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np

from balancer.simulator.bench import Bench
from balancer.simulator.checks import check
from balancer.simulator.forces import OrderForce
from balancer.simulator.stand import Mode

RATTLE_ORDERS = 12
"""Highest multiple of the shaft speed in a rattle."""


def balanced(bench: Bench, left: float) -> Bench:
    """Leave a share of the unbalance: what else shakes the stand then stands out.

    Parameters
    ----------
    bench : Bench
        Any.
    left : float
        Share that is left, 0 to 1.

    Returns
    -------
    Bench
        With bell and propeller balanced alike.
    """
    rotor = bench.rotor
    return replace(bench, rotor=replace(rotor, bell=left * rotor.bell, propeller=left * rotor.propeller))


def near_obstacle(bench: Bench, factor: float) -> Bench:
    """Set something behind the propeller: each blade feels it as it passes, so the air forces grow.

    Parameters
    ----------
    bench : Bench
        With air forces.
    factor : float
        How many times as large they become.

    Returns
    -------
    Bench
        With the blade pass and its multiples raised.
    """
    return replace(
        bench,
        air=tuple(
            replace(f, aerodynamic=factor * f.aerodynamic, steady=factor * f.steady) for f in bench.air
        ),
    )


def rough_motor(bench: Bench, factor: float) -> Bench:
    """Raise the forces of magnets and windings, as a poorly driven or a damaged motor does.

    Parameters
    ----------
    bench : Bench
        With electric forces.
    factor : float
        How many times as large they become.

    Returns
    -------
    Bench
        With pole-pair and magnet orders raised.
    """
    return replace(bench, electric=tuple(replace(f, steady=factor * f.steady) for f in bench.electric))


def twice_per_turn(bench: Bench, size: float, direction: float = 0.0) -> Bench:
    """Add a force at 2x, as an unround shaft or bearing gives: stiff and soft by turns, twice a revolution.

    Parameters
    ----------
    bench : Bench
        Any.
    size : float
        In kg m.
    direction : float, optional
        On the stand, in rad.

    Returns
    -------
    Bench
        With one more force.
    """
    force = OrderForce(2, aerodynamic=size, lag=0.9, direction=direction, axial=0.3)
    return replace(bench, air=(*bench.air, force))


def rattle(bench: Bench, impulse: float, *, width: float = 0.06, alternate: float = 0.4) -> Bench:
    """Let a loose part strike once a turn, every second time more weakly: many harmonics and half orders.

    A blow is half a sine, F(t) = F0 sin(pi t / width) over a part `width` of the turn. Its transform at the
    order k is 2 F0 width / pi * cos(pi k width) / (1 - (2 k width)^2), about its middle; a train of equal
    blows has it at whole orders. With every second blow weaker by the share a, whole orders keep 1 - a/2
    of it and half orders a/2.

    Parameters
    ----------
    bench : Bench
        Any.
    impulse : float
        Amplitude in kg m of the low harmonics of a train of full blows.
    width : float, optional
        Duration of a blow as a part of the turn.
    alternate : float, optional
        Share by which every second blow is weaker.

    Returns
    -------
    Bench
        With forces at halves and wholes up to the order 12.
    """
    check(
        "rattle",
        (0 < width < 0.5, "width must be from 0 to a half of the turn"),
        (0 <= alternate <= 1, "alternate must be from 0 to 1"),
    )
    forces = []
    for twice in range(1, 2 * RATTLE_ORDERS + 1):
        order, share = twice / 2, alternate / 2 if twice % 2 else 1 - alternate / 2
        strength = impulse * share * _half_sine(order * width)
        lag = math.pi * order * width
        forces.append(OrderForce(order, aerodynamic=strength, lag=lag, direction=0.6, axial=0.5))
    return replace(bench, air=bench.air + tuple(forces))


def _half_sine(x: float) -> float:
    """Give cos(pi x) / (1 - (2 x)^2), which is pi/4 at a half."""
    return math.pi / 4 if abs(2 * x - 1) < 1e-9 else math.cos(math.pi * x) / (1 - (2 * x) ** 2)


def unsteady(
    bench: Bench, size: float, duration: float, rng: np.random.Generator, hold: float = 0.5
) -> Bench:
    """Let something loose move about at random: part of the unbalance takes a new place again and again.

    Parameters
    ----------
    bench : Bench
        Any.
    size : float
        Root mean square in kg m of what moves.
    duration : float
        Of the run in s.
    rng : numpy.random.Generator
        Source of the places.
    hold : float, optional
        Time in s from one place to the next.

    Returns
    -------
    Bench
        With a moving unbalance.
    """
    times = np.arange(0.0, duration + 2 * hold, hold)
    places = size / math.sqrt(2) * (rng.standard_normal(times.size) + 1j * rng.standard_normal(times.size))
    return _moving(bench, times, places)


def drifting(bench: Bench, change: complex, duration: float, *, settling: float | None = None) -> Bench:
    """Let the unbalance change slowly: an adapter that creeps, or a bell that warms up.

    Parameters
    ----------
    bench : Bench
        Any.
    change : complex
        What it changes by during the run, in kg m.
    duration : float
        Of the run in s.
    settling : float, optional
        Time constant in s of a change that dies away (warming up); left out, it goes on evenly.

    Returns
    -------
    Bench
        With a moving unbalance.
    """
    times = np.linspace(0.0, duration, 25)
    share = times / duration
    if settling is not None:
        share = (1 - np.exp(-times / settling)) / (1 - math.exp(-duration / settling))
    return _moving(bench, times, change * share)


def slipping(bench: Bench, change: complex, at: float) -> Bench:
    """Let the unbalance change at once: a piece flies off, or the propeller slips on its hub.

    Parameters
    ----------
    bench : Bench
        Any.
    change : complex
        In kg m.
    at : float
        Time in s from the first sample; it takes 0.1 s.

    Returns
    -------
    Bench
        With a moving unbalance.
    """
    return _moving(bench, np.array([at - 0.05, at + 0.05]), np.array([0j, change]))


def _moving(bench: Bench, times: np.ndarray, values: np.ndarray) -> Bench:
    return replace(bench, moving=tuple((float(t), complex(v)) for t, v in zip(times, values, strict=True)))


def bent_shaft(bench: Bench, axial: float, offset: complex = 0j) -> Bench:
    """Bend the shaft: the disc of the propeller wobbles, which shakes the stand along the shaft once per rev.

    Parameters
    ----------
    bench : Bench
        Any.
    axial : float
        Force at 1x on the axial mode, in kg m.
    offset : complex, optional
        Unbalance in kg m from the parts that the bend takes off centre.

    Returns
    -------
    Bench
        With one more force and the unbalance changed.
    """
    rocking = OrderForce(1, aerodynamic=axial, lag=0.5, axial=1.0, lateral=0.0)
    rotor = replace(bench.rotor, bell=bench.rotor.bell + offset)
    return replace(bench, rotor=rotor, air=(*bench.air, rocking))


def damaged_blade(bench: Bench, missing: float, rocking: float, turning: complex = 0j) -> Bench:
    """Take a share of its air force from one blade.

    Every blade feels what is behind the propeller as the same pulse g, a part of the turn after the one
    before. Together they have only the multiples of the number of blades B, each with B times a blade's
    own coefficient c(k). With one blade weaker by the share f, these keep (B - f) c(k) and every other order
    appears with f c(k). Between the known multiples c(k) is taken to fall evenly, a factor per order.

    Two things more turn with that blade: its lower thrust rocks the stand (axial 1x), and its other drag and
    lost mass pull in the plane. The latter grows with the speed squared in the frame of the rotor: it cannot
    be told from unbalance, and is modelled as such.

    Parameters
    ----------
    bench : Bench
        With air forces at the number of blades and at twice that.
    missing : float
        Share f of the blade's force.
    rocking : float
        Force at 1x on the axial mode, in kg m.
    turning : complex, optional
        Drag and lost mass as an unbalance of the propeller in kg m.

    Returns
    -------
    Bench
        With the side orders up to twice the number of blades.

    Raises
    ------
    InputError
        If the bench has no air forces at these orders.
    """
    blades = bench.rotor.blades
    known = {force.order: force for force in bench.air}
    check(
        "damaged blade",
        (
            blades >= 2 and {blades, 2 * blades} <= set(known),
            "the bench needs forces at the blade pass and twice it",
        ),
        (0 <= missing <= 1, "the share missing must be from 0 to 1"),
    )
    first, second = known[blades], known[2 * blades]
    fall = (second.aerodynamic / first.aerodynamic) ** (1 / blades)
    turn = (second.lag - first.lag) / blades
    sides = [
        replace(
            first,
            order=k,
            aerodynamic=missing / blades * first.aerodynamic * fall ** (k - blades),
            lag=first.lag + turn * (k - blades) + math.pi,  # what is missing has the opposite sign
        )
        for k in range(1, 2 * blades)
        if k != blades
    ]
    kept = [
        replace(f, aerodynamic=(1 - missing / blades) * f.aerodynamic) if f.order % blades == 0 else f
        for f in bench.air
    ]
    rotor = replace(bench.rotor, propeller=bench.rotor.propeller + turning)
    return bent_shaft(replace(bench, rotor=rotor, air=(*kept, *sides)), rocking)


def off_centre_bell(bench: Bench, pull: complex) -> Bench:
    """Let the magnets pull to one side that turns with the bell, as long as there is current.

    Parameters
    ----------
    bench : Bench
        Any.
    pull : complex
        Force in N, in the frame of the mark.

    Returns
    -------
    Bench
        With that magnet pull.
    """
    return replace(bench, rotor=replace(bench.rotor, magnet_pull=pull))


def at_resonance(bench: Bench, speed: float, off: float) -> Bench:
    """Move the stand's first lateral mode close to the speed.

    Parameters
    ----------
    bench : Bench
        Any.
    speed : float
        In rad/s.
    off : float
        How far above the speed the natural frequency lies, as a share of it.

    Returns
    -------
    Bench
        On such a stand.
    """
    first = Mode(speed / (2 * math.pi) * (1 + off), bench.stand.first.damping)
    return replace(bench, stand=replace(bench.stand, first=first))


def reseated(bench: Bench, play: float, rng: np.random.Generator) -> Bench:
    """Mount the propeller anew on an adapter with play: its mass sits off centre, another way each time.

    Parameters
    ----------
    bench : Bench
        With a propeller.
    play : float
        Root mean square of its distance from the middle in m.
    rng : numpy.random.Generator
        Source of the place.

    Returns
    -------
    Bench
        With the propeller's unbalance changed.
    """
    rotor = bench.rotor
    radius = play * math.sqrt(rng.exponential())  # two normal components
    shift = rotor.propeller_mass * radius * cmath.exp(2j * math.pi * rng.random())
    return replace(bench, rotor=replace(rotor, propeller=rotor.propeller + shift))

"""The stand's closed form against textbook facts and a general-purpose library.

S. S. Rao, Mechanical Vibrations (chapter 3, from memory): amplitude ratio of rotating unbalance
M X / (m e) = r^2 / sqrt((1 - r^2)^2 + (2 zeta r)^2); quality factor 1 / (2 zeta) at resonance; half-power
bandwidth 2 zeta f; M X / (m e) goes to 1 far above resonance.
"""

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import TransferFunction, freqresp

from balancer.errors import InputError
from balancer.simulator.stand import AXES, Mode, Stand


def simple(frequency: float, damping: float, mass: float = 0.2) -> Stand:
    mode = Mode(frequency, damping)
    return Stand(mass, mode, mode, Mode(150.0, 0.03))


@pytest.mark.parametrize("r", [0.1, 0.5, 0.9, 1.0, 1.1, 2.0, 5.0])
@pytest.mark.parametrize("damping", [0.01, 0.05, 0.25])
def test_rotating_unbalance_curve(r, damping):
    w = r * 2 * math.pi * 30.0
    displacement = abs(simple(30.0, damping).response(w, "x")) / w**2  # per unit unbalance
    expected = r**2 / math.sqrt((1 - r**2) ** 2 + (2 * damping * r) ** 2)
    assert 0.2 * displacement == pytest.approx(expected, rel=1e-12)


def test_far_above_resonance_the_mass_stays_put():
    w = 60 * 2 * math.pi * 20.0
    h = simple(20.0, 0.03).response(w, "x")
    assert abs(h) / w**2 == pytest.approx(1 / 0.2, rel=3e-4)  # m_u r / M; r^2 / (r^2 - 1) - 1 is 2.8e-4
    # displacement opposite to the unbalance (lag 180 degrees), so acceleration is along it
    assert cmath.phase(h) == pytest.approx(0.0, abs=2e-3)


def test_displacement_lags_a_quarter_turn_at_resonance():
    w = 2 * math.pi * 30.0
    h = simple(30.0, 0.04).response(w, "x")
    assert cmath.phase(-h) == pytest.approx(math.pi / 2, abs=1e-12)
    assert abs(h) * 0.2 / w**2 == pytest.approx(1 / (2 * 0.04), rel=1e-12)


@pytest.mark.parametrize("damping", [0.005, 0.02, 0.05])
def test_half_power_bandwidth(damping):
    mode = Mode(30.0, damping)

    def short_of_half_power(f: float) -> float:
        # displacement per force, against its value at resonance divided by the square root of 2
        w = 2 * math.pi * f
        return abs(mode.accelerance(w)) * (30.0 / f) ** 2 - 1 / (2 * damping * math.sqrt(2))

    width = brentq(short_of_half_power, 30.0, 45.0) - brentq(short_of_half_power, 20.0, 30.0)
    # the rule is of first order in the damping
    assert width == pytest.approx(2 * damping * 30.0, rel=3 * damping)


@pytest.mark.parametrize("speed", [150.0, 314.0, 545.0, 900.0])
def test_against_transfer_functions_in_the_laplace_variable(stand, speed):
    """Forces along the principal axes, by scipy.signal.freqresp in its own convention exp(+j w t)."""

    def accelerance(mode: Mode) -> complex:
        wn = 2 * math.pi * mode.frequency
        m = stand.moving_mass
        system = TransferFunction([1.0, 0.0, 0.0], [m, 2 * mode.damping * wn * m, wn**2 * m])
        return complex(freqresp(system, w=[speed])[1][0])

    along = stand.sensor_angle + stand.turn
    # unit unbalance at rotor angle 0: force w^2 cos(theta - b) along b, the phasor w^2 exp(-j b)
    q1 = accelerance(stand.first) * speed**2 * cmath.exp(-1j * along)
    q2 = accelerance(stand.second) * speed**2 * cmath.exp(-1j * (along + math.pi / 2))
    qz = accelerance(stand.axial) * stand.coupling * speed**2 * cmath.exp(-1j * along)
    c, s = math.cos(stand.turn), math.sin(stand.turn)
    expected = {"x": c * q1 - s * q2, "y": s * q1 + c * q2, "z": qz}
    for axis in AXES:
        # exp(+j w t) has lags as negative angles: the conjugate is the project's vector
        assert stand.response(speed, axis) == pytest.approx(expected[axis].conjugate(), rel=1e-12)


def test_a_later_sensor_direction_lags_by_its_angle():
    """A round stand: 70 degrees further with the rotation the peak comes that much later, else earlier."""
    base = simple(25.0, 0.05)
    turned = replace(base, sensor_angle=math.radians(70.0))
    with_rotation = turned.response(500.0, "x", 1) / base.response(500.0, "x", 1)
    against = turned.response(500.0, "x", -1) / base.response(500.0, "x", -1)
    assert with_rotation == pytest.approx(cmath.exp(1j * math.radians(70.0)))
    assert against == pytest.approx(cmath.exp(-1j * math.radians(70.0)))


def test_on_a_round_stand_the_turn_of_the_principal_axes_does_not_matter():
    base = simple(25.0, 0.05)
    for axis in ("x", "y"):
        assert replace(base, turn=0.7).response(400.0, axis) == pytest.approx(base.response(400.0, axis))


def test_more_mass_on_the_same_springs_and_dampers(stand):
    heavier = stand.loaded(0.05)
    m, k, c = (
        lambda s: s.moving_mass,
        lambda s: s.moving_mass * (2 * math.pi * s.first.frequency) ** 2,
        lambda s: s.moving_mass * 4 * math.pi * s.first.frequency * s.first.damping,
    )
    assert m(heavier) == pytest.approx(0.30)
    assert k(heavier) == pytest.approx(k(stand))
    assert c(heavier) == pytest.approx(c(stand))
    assert heavier.loaded(-0.05).second.frequency == pytest.approx(stand.second.frequency)


def test_lateral_axes_do_not_see_the_axial_mode(stand):
    assert np.isclose(
        replace(stand, axial=Mode(60.0, 0.1)).response(377.0, "y"), stand.response(377.0, "y"), rtol=1e-15
    )
    assert replace(stand, coupling=0.0).response(377.0, "z") == 0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Mode(0.0, 0.1), "frequency must be above 0"),
        (lambda: Mode(20.0, 0.0), "damping must be above 0"),
        (lambda: Mode(20.0, 0.6), "at most 0.5"),
        (lambda: Mode(math.nan, math.nan), "frequency must be above 0, damping must be above 0"),
        (lambda: simple(20.0, 0.1, mass=0.0), "moving_mass must be above 0"),
        (lambda: replace(simple(20.0, 0.1), coupling=math.inf), "coupling must be finite"),
        (lambda: replace(simple(20.0, 0.1), turn=math.nan), "turn and sensor_angle must be finite"),
        (lambda: simple(20.0, 0.1).loaded(-0.2), "more than the moving mass"),
    ],
)
def test_impossible_stands_are_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()

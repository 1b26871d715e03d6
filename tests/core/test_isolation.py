"""Transmissibility against the textbook and against scipy.signal."""

import math

import numpy as np
import pytest
from scipy.signal import StateSpace, TransferFunction, freqresp

from balancer.core.isolation import Mount, transmissibility
from balancer.errors import InputError


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.2, 1.0])
def test_every_damping_meets_at_root_two(damping):
    """Rao, Mechanical Vibrations, chapter 9 (from memory): T = 1 at r = sqrt 2 whatever the damping."""
    assert transmissibility(math.sqrt(2), damping) == pytest.approx(1.0)
    assert transmissibility(0.0, damping) == 1.0
    assert transmissibility(1.2, damping) > 1 > transmissibility(1.6, damping)


def test_values_of_the_trade():
    """Undamped isolation 1/(r^2 - 1): r = 2, 3, 4 let through 1/3, 1/8, 1/15 (from memory)."""
    assert [transmissibility(r, 0.0) for r in (2.0, 3.0, 4.0)] == pytest.approx([1 / 3, 1 / 8, 1 / 15])
    assert transmissibility(1.0, 0.05) == pytest.approx(math.sqrt(1 + 0.01) / 0.1)
    assert transmissibility(1.0, 0.0) == math.inf
    # static deflection and frequency: 15.76/sqrt(sag in mm) Hz (isolator catalogues, from memory)
    assert 15.76 / math.sqrt(1e3 * Mount(8.0, 0.1).sag) == pytest.approx(8.0, rel=1e-3)


def test_against_scipy():
    frequencies, zeta = np.linspace(2, 200, 40), 0.12
    w = 2 * math.pi * 25.0
    _, outside = freqresp(
        TransferFunction([2 * zeta * w, w * w], [1, 2 * zeta * w, w * w]), 2 * math.pi * frequencies
    )
    mount = Mount(25.0, zeta)
    assert [mount.transmissibility(f) for f in frequencies] == pytest.approx(np.abs(outside))
    assert [mount.passed_on(f) for f in frequencies] == pytest.approx(outside)


def test_two_masses_as_scipy_has_them():
    """A free craft with the camera on its mount: what `procedure.footage` takes for the load on the craft."""
    craft, camera, mount = 1.5, 0.25, Mount(22.0, 0.1)
    w = 2 * math.pi * mount.frequency
    k, c = camera * w * w, 2 * mount.damping * w * camera
    a = np.zeros((4, 4))
    a[0, 1] = a[2, 3] = 1
    a[1] = [-k / craft, -c / craft, k / craft, c / craft]
    a[3] = [k / camera, c / camera, -k / camera, -c / camera]
    system = StateSpace(a, [[0], [1 / craft], [0], [0]], [a[1], a[3]], [[1 / craft], [0]])
    for frequency in (30.0, 80.0, 160.0):
        s = 2j * math.pi * frequency
        at = system.C @ np.linalg.solve(s * np.eye(4) - system.A, system.B) + system.D
        passed = mount.passed_on(frequency)
        assert abs(at[0, 0]) == pytest.approx(1 / abs(craft + camera * passed))
        assert at[1, 0] / at[0, 0] == pytest.approx(passed)


def test_impossible_mounts():
    with pytest.raises(InputError, match="above 0 Hz"):
        Mount(0.0, 0.1)
    with pytest.raises(InputError, match="damping ratio"):
        Mount(20.0, -0.1)

"""From what is left on the arms to the camera."""

import math

import pytest

from balancer.core.isolation import Mount
from balancer.errors import InputError
from balancer.procedure.footage import footage
from balancer.units import kgm_from_gmm, rad_s_from_rpm
from balancer.wording.footage import footage_lines

HOVER = rad_s_from_rpm(4800.0)  # 80 Hz
SIX = (kgm_from_gmm(0.5),) * 6


def codes(shown):
    return {finding.code for finding in shown.findings}


def test_force_of_an_arm_is_the_trade_figure():
    """F = 0.0109662 N per g mm at 1,000 rpm (shared check value, computed)."""
    shown = footage(Mount(20.0, 0.1), rad_s_from_rpm(1000.0), arms=(kgm_from_gmm(1.0),))
    assert shown.forces[0] == pytest.approx(0.0109662, rel=1e-5)


def test_six_arms_typical_and_worst():
    shown = footage(Mount(20.0, 0.1), HOVER, arms=SIX, craft_mass=1.8, camera_mass=None)
    force = 0.5e-6 * HOVER**2
    assert shown.craft.typical == pytest.approx(math.sqrt(6) * force / 1.8)
    assert shown.craft.worst == pytest.approx(6 * force / 1.8)
    assert shown.craft.displacement == pytest.approx(shown.craft.typical / HOVER**2)
    through = Mount(20.0, 0.1).transmissibility(80.0)
    assert shown.camera.typical == pytest.approx(through * shown.craft.typical)
    assert shown.once.frequency == pytest.approx(80.0)
    assert shown.blade_pass.frequency == pytest.approx(160.0)


def test_the_camera_loads_the_craft_by_what_it_shares():
    light = footage(Mount(20.0, 0.1), HOVER, arms=SIX, craft_mass=1.5)
    isolated = footage(Mount(20.0, 0.1), HOVER, arms=SIX, craft_mass=1.8, camera_mass=0.3)
    rigid = footage(Mount(2000.0, 0.1), HOVER, arms=SIX, craft_mass=1.8, camera_mass=0.3)
    assert isolated.craft.typical == pytest.approx(light.craft.typical, rel=0.02)
    assert rigid.craft.typical == pytest.approx(light.craft.typical * 1.5 / 1.8, rel=0.01)


def test_a_mount_at_resonance_and_a_softer_one():
    shown = footage(Mount(75.0, 0.1), HOVER, arms=SIX, craft_mass=1.8)
    assert shown.once.transmissibility > 3
    assert {"mount_amplifies", "softer_mount_helps"} <= codes(shown)
    assert shown.best.mount.frequency < shown.mount.frequency
    assert shown.best.factor < 0.1
    assert shown.softer.factor < 1 < shown.once.transmissibility
    text = "\n".join(footage_lines(shown))
    assert "Softer dampers would help" in text


def test_a_mount_that_sways_with_the_gimbal():
    shown = footage(Mount(9.0, 0.1), HOVER)
    assert {"mount_near_gimbal", "arms_not_given", "mount_fits"} <= codes(shown)
    assert shown.craft is None
    assert shown.best.mount.frequency >= 20.0


def test_a_mount_that_fits_is_left_alone():
    shown = footage(Mount(21.0, 0.08), HOVER, arms=SIX)
    assert "mount_fits" in codes(shown)
    assert not {"mount_amplifies", "softer_mount_helps", "harder_mount_helps"} & codes(shown)


def test_a_slow_craft_on_a_stiff_mount_amplifies_blade_pass():
    shown = footage(Mount(90.0, 0.05), rad_s_from_rpm(2400.0), blades=2)
    assert "mount_amplifies_blade_pass" in codes(shown)
    assert footage(Mount(90.0, 0.05), rad_s_from_rpm(2400.0), blades=0).blade_pass is None


def test_more_damping_lets_more_through_above_resonance():
    """Rao, chapter 9 (from memory): beyond r = sqrt 2 damping makes isolation worse."""
    shown = [footage(Mount(20.0, zeta), HOVER).once.transmissibility for zeta in (0.02, 0.1, 0.3)]
    assert shown == sorted(shown)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"arms": (-1e-6,)}, "0 g mm or more"),
        ({"blades": -1}, "blades"),
        ({"craft_mass": 0.0}, "mass of the craft"),
        ({"craft_mass": 0.2, "camera_mass": 0.3}, "below that of the craft"),
        ({"speed": 0.0}, "hover speed"),
    ],
)
def test_impossible_numbers(change, words):
    asked = {"speed": HOVER, **change}
    with pytest.raises(InputError, match=words):
        footage(Mount(20.0, 0.1), **asked)

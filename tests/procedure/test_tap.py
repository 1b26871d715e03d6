"""A tap test from a recording."""

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.procedure.tap import read_taps
from balancer.units import G_STANDARD
from balancer.wording.run_up import decay_lines
from tests.taps import recorded, tapped

MODES = [(18.0, 0.09, np.array([0.2, 1.0, 0.3]))]


@pytest.fixture
def samples():
    return tapped(np.random.default_rng(8), MODES)


def test_a_camera_on_rubber(samples):
    found = read_taps(recorded(samples))
    assert found.strongest.frequency == pytest.approx(18.0, rel=0.01)
    assert found.strongest.damping == pytest.approx(0.09, rel=0.05)
    first, second = decay_lines(found)
    assert first.startswith("3 taps")
    assert "damping ratio" in second


def test_one_channel_will_do(samples):
    found = read_taps(recorded(samples[1:2]))
    assert found.strongest.frequency == pytest.approx(18.0, rel=0.01)


def test_a_turning_rotor_is_refused(samples):
    with pytest.raises(InputError, match=r"taps.csv: the rotor turned"):
        read_taps(recorded(samples, marks=np.arange(1, 50) / 10.0, source="taps.csv"))


def test_a_clipped_tap_is_refused():
    hard = np.clip(tapped(np.random.default_rng(8), MODES, peak=400.0), -16 * G_STANDARD, 16 * G_STANDARD)
    with pytest.raises(InputError, match="full scale"):
        read_taps(recorded(hard))


def test_no_tap_is_refused(samples):
    with pytest.raises(InputError, match="no tap stands out"):
        read_taps(recorded(samples[:, :1000]))

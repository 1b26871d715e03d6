"""Vectors block by block, at steady speed and in a sweep."""

from dataclasses import replace

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.procedure.track import track
from balancer.simulator.bench import Bench
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.simulator.rotor import Rotor
from balancer.simulator.sensor import Sensor
from balancer.simulator.stand import Mode, Stand
from balancer.units import rad_s_from_rpm
from tests.sweeps import swept

QUIET = Bench(
    Rotor(bell=2e-6 + 1e-6j),
    Stand(0.25, Mode(5.0, 0.3), Mode(6.0, 0.3), Mode(400.0, 0.05)),
    Sensor(bandwidth=1e5),
)


@pytest.fixture
def steady():
    return coastal_propeller(3).record(speed=COASTAL_SPEED, duration=10, seed=4)


def test_the_mean_of_the_blocks_is_the_measured_vector(steady):
    followed = track(steady)
    whole = measure(steady)
    for once, sd, channel in zip(followed.once, followed.sd, whole.channels, strict=True):
        off = abs(once.mean() - channel.once.value)
        assert off < 5 * np.sqrt(np.mean(sd**2) / once.size) + 0.002 * abs(once.mean())
    assert followed.speeds.mean() == pytest.approx(whole.speed, rel=1e-3)
    assert followed.turns.sum() == pytest.approx(whole.revolutions, abs=10)
    assert followed.channels == ("x", "y", "z")


def test_orders_and_turns_as_asked(steady):
    followed = track(steady, turns=20, orders=(2, 1))
    assert followed.orders == (1, 2)
    assert followed.vectors.shape == (3, 2, followed.times.size)
    assert set(followed.turns.tolist()) == {20}
    second = measure(steady).channels[2].vectors[1].value
    assert followed.vectors[2, 1].mean() == pytest.approx(second, rel=0.03)


def test_blocks_join_up_and_do_not_overlap(steady):
    followed = track(replace(steady, gaps=()))
    assert np.all(followed.starts[1:] >= followed.ends[:-1] - 1e-9)
    assert np.all((followed.ends - followed.starts) > 0.03)


def test_a_ramp_above_the_resonances_is_followed():
    """Far above the stand's resonances 1x is U w^2 / M, in a quick ramp as at steady speed."""
    first, last = rad_s_from_rpm(4000), rad_s_from_rpm(9000)
    followed = track(swept(QUIET, 1, first=first, last=last, duration=3.0))
    expected = np.array([QUIET.truth(speed=w).vectors[0] for w in followed.speeds])
    assert np.max(np.abs(followed.once[0] / expected - 1)) < 0.01
    middle = np.argmin(np.abs(followed.times - 2.0))
    assert followed.accelerations[middle] > 1.1 * (last - first) / 3.0
    assert followed.accelerations.min() > -10


def test_the_uncertainty_is_that_of_white_noise():
    """Of a component over n samples: sd sqrt(2/n) (Rife and Boorstyn 1974)."""
    noisy = replace(QUIET, sensor=Sensor(noise_density=(0.01, 0.01, 0.01)))
    followed = track(noisy.record(speed=500.0, duration=20, seed=3), turns=8)
    sample = 0.01 * np.sqrt(3200 / 2)
    wanted = sample * np.sqrt(2 / (3200 * 8 * 2 * np.pi / 500))
    assert np.sqrt(np.mean(followed.sd**2)) == pytest.approx(wanted, rel=0.15)
    assert followed.once[0].real.std() == pytest.approx(wanted, rel=0.2)


def test_lost_samples_leave_out_blocks_and_nothing_else(steady):
    keep = np.ones(steady.times.size, dtype=bool)
    keep[5000:5200] = False
    holed = replace(steady, times=steady.times[keep], samples=steady.samples[:, keep])
    whole, left = track(steady, turns=8), track(holed, turns=8)
    assert 1 <= whole.times.size - left.times.size <= 3
    for time, vector in zip(left.times, left.once.T, strict=True):
        at = int(np.argmin(np.abs(whole.times - time)))
        assert vector == pytest.approx(whole.once[:, at], abs=0.2)


def test_a_recording_without_marks_has_no_phase(steady):
    with pytest.raises(InputError, match="no marks"):
        track(replace(steady, marks=None))


def test_blocks_that_are_too_short(steady):
    with pytest.raises(InputError, match="3 turns is too short"):
        track(steady, turns=3)


def test_too_few_samples_a_turn(steady):
    slow = replace(steady, times=steady.times[::16].copy(), samples=steady.samples[:, ::16].copy())
    with pytest.raises(InputError, match="three samples a turn"):
        track(slow)

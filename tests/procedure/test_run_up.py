"""From a sweep to resonances, a speed to balance at and how the force grows."""

import cmath
from dataclasses import replace

import numpy as np
import pytest

from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.procedure.run_up import run_up
from balancer.procedure.track import track
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.simulator.stand import Mode
from balancer.units import rad_s_from_rpm
from balancer.wording import finding_text
from balancer.wording.run_up import run_up_lines
from tests.sweeps import FASTEST, SLOWEST, bench_with_resonances, coast_down, swept


def codes(shown):
    return {finding.code for finding in shown.findings}


def nearest(shown, frequency):
    return min(shown.resonances, key=lambda mode: abs(mode.frequency - frequency))


def check_lateral(shown, bench):
    """The tolerances of the job are 1 % and 15 %; hundreds of draws stay within 0.4 % and 7 %."""
    for mode in (bench.stand.first, bench.stand.second):
        found = nearest(shown, mode.frequency)
        assert found.frequency == pytest.approx(mode.frequency, rel=0.005)
        assert found.damping == pytest.approx(mode.damping, rel=0.08)
        assert abs(found.frequency - mode.frequency) < 5 * found.sd_frequency
        assert abs(found.damping - mode.damping) < 5 * found.sd_damping


@pytest.mark.parametrize("seed", range(3))
def test_a_coast_down_of_four_seconds_tells_the_stand(seed):
    bench = bench_with_resonances(seed)
    shown = run_up(coast_down(bench, seed))
    check_lateral(shown, bench)
    low, high = (2 * np.pi * mode.frequency for mode in (bench.stand.first, bench.stand.second))
    for w in (low, high):
        assert any(bottom < w < top for bottom, top in shown.avoid)


def test_a_run_up_tells_the_same():
    bench = bench_with_resonances(1)
    shown = run_up(swept(bench, 1, duration=10.0), hover=rad_s_from_rpm(5200))
    check_lateral(shown, bench)
    assert "growth_as_unbalance" in codes(shown)
    assert "growth_not_unbalance" not in codes(shown)
    at = shown.proposed.speed
    assert SLOWEST <= at <= FASTEST
    assert not any(bottom < at < top for bottom, top in shown.avoid)
    for mode in shown.resonances:
        assert abs(at / mode.speed - 1) >= max(0.149, 4.9 * mode.damping)


def test_the_fit_predicts_what_a_steady_run_shows():
    bench = bench_with_resonances(2)
    shown = run_up(coast_down(bench, 5))
    speed = rad_s_from_rpm(8000)
    predicted = shown.fit.steady(np.array([speed]))[:2, 0]
    assert predicted == pytest.approx(np.array(bench.truth(speed=speed, powered=False).vectors)[:2], rel=0.03)


def test_no_resonance_is_invented():
    """Far above every mode of the stand 1x just grows."""
    bench = coastal_propeller(2)
    stand = replace(bench.stand, first=Mode(4.0, 0.05), second=Mode(5.0, 0.05), axial=Mode(700.0, 0.03))
    shown = run_up(
        swept(replace(bench, stand=stand), 3, first=rad_s_from_rpm(4000), duration=5.0), hover=COASTAL_SPEED
    )
    assert shown.resonances == ()
    assert shown.avoid == ()
    assert {"no_resonance_in_range", "growth_not_told"} <= codes(shown)
    assert abs(shown.proposed.from_hover) <= 0.2


def test_magnet_pull_shows_and_a_coast_down_has_none():
    bench = bench_with_resonances(4)
    speed = rad_s_from_rpm(3674)  # the geometric mean of the sweep
    pull = 0.5 * bench.rotor.unbalance * speed**2 * cmath.exp(2j)
    bench = replace(bench, rotor=replace(bench.rotor, magnet_pull=pull))
    powered = run_up(swept(bench, 4, duration=12.0))
    assert "growth_not_unbalance" in codes(powered)
    assert powered.growth.constant == pytest.approx(0.5 * cmath.exp(2j), abs=0.1)
    coasting = run_up(coast_down(bench, 4))
    assert "growth_not_unbalance" not in codes(coasting)


def test_hover_at_a_resonance_and_outside_the_sweep():
    bench = bench_with_resonances(0)
    followed = track(coast_down(bench, 0))
    at = 2 * np.pi * bench.stand.first.frequency
    shown = run_up(followed, hover=at)
    assert "hover_near_resonance" in codes(shown)
    assert not any(bottom < shown.proposed.speed < top for bottom, top in shown.avoid)
    text = "\n".join(run_up_lines(shown))
    assert "balance at" in text
    assert "keep out of" in text


def test_a_quick_sweep_is_named():
    shown = run_up(coast_down(bench_with_resonances(0), 0, duration=3.0))
    assert "sweep_quick" in codes(shown)


def test_noise_alone_is_refused():
    bench = coastal_propeller(2)
    rotor = replace(bench.rotor, bell=1e-12, propeller=0j)
    quiet = replace(bench, rotor=rotor, electric=(), air=())
    recording = swept(quiet, 3, duration=5.0)
    with pytest.raises(InputError, match="does not stand out of the noise"):
        run_up(recording)


def test_a_steady_run_is_no_sweep():
    recording = coastal_propeller(2).record(speed=COASTAL_SPEED, duration=5, seed=1)
    with pytest.raises(InputError, match="the speed changes only from"):
        run_up(recording)


def test_a_sweep_of_a_moment():
    recording = swept(coastal_propeller(2), 3, duration=0.05)
    short = replace(recording, marks=recording.marks[recording.marks < 0.7])
    with pytest.raises(InputError, match="too few to read a curve"):
        run_up(short)


def test_a_small_mass_moves_nothing():
    """A trial mass of 50 mg on 100 g and more moves frequencies by a part in four thousand."""
    bench = bench_with_resonances(3)
    plain = run_up(coast_down(bench, 3))
    loaded = bench.record(
        speed=down(bench), duration=5.0, seed=3, masses=(Mass(5e-5, 0.05, 0.3),), powered=False
    )
    for mode in plain.resonances[:1]:
        assert nearest(run_up(loaded), mode.frequency).frequency == pytest.approx(mode.frequency, rel=2e-3)


def down(bench):
    return Motion(Motion.ramp(FASTEST, SLOWEST, 0.5, 4.5).profile, bench.wander, bench.wander_time)


def test_words_for_what_cannot_be_told():
    text = finding_text(Finding.of("growth_not_told", "info", slowest_rpm=1500.0))
    assert "cannot be told" in text

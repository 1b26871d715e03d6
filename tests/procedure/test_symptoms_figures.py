"""The figures behind the findings against the closed forms of the bench, and what the data cannot tell."""

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest

from balancer.core.masses import Mass
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.procedure.symptoms import compare_recordings, pull_between, repeat_symptoms, symptoms
from balancer.procedure.symptoms.axial import axial_ratio
from balancer.procedure.symptoms.change import amplification, analyse_change
from balancer.procedure.symptoms.coast import find_cut, jump_at
from balancer.procedure.symptoms.spectrum import order_table
from balancer.procedure.track import track
from balancer.recording.model import Channel, Recording
from balancer.simulator import faults
from balancer.simulator.forces import Line, OrderForce
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_bell, coastal_propeller
from balancer.simulator.stand import Mode


@pytest.fixture(scope="module")
def bench():
    drawn = coastal_propeller(3)
    return replace(drawn, electric=drawn.electric[:2])


@pytest.fixture(scope="module")
def healthy(bench):
    return bench.record(speed=COASTAL_SPEED, duration=6.0, seed=1)


def response(bench, order, speed):
    """Vibration of all axes per unit force at an order, by the closed form of the stand and its low-pass."""
    w = order * speed
    gain = bench.sensor.gain(w) / bench.stand.moving_mass

    def along(force):
        return np.array(
            [
                gain
                * sum(
                    shape.seen[axis]
                    * (
                        shape.lateral * force.lateral * math.cos(shape.direction - force.direction)
                        + shape.axial * force.axial
                    )
                    * shape.mode.accelerance(w)
                    for shape in bench.stand.shapes
                )
                for axis in range(3)
            ]
        )

    return along


def test_orders_are_those_of_the_closed_form(bench):
    """Half and whole orders of a rattle, through the stand."""
    loose = faults.rattle(replace(bench, turbulence=0.0, wander=0.0, air=()), 5e-7, width=0.05)
    table = order_table(loose.record(speed=COASTAL_SPEED, duration=6.0, seed=2))
    for force in loose.air:
        if force.order in (0.5, 1.5, 2.0, 3.0, 5.0):
            along = response(loose, force.order, COASTAL_SPEED)(force)
            expected = np.abs(along) * abs(force.aerodynamic) * COASTAL_SPEED**2
            found = table.amplitudes[:, table.orders == force.order][:, 0]
            np.testing.assert_allclose(found, expected, atol=0.02 * np.max(expected) + 0.01)


def test_axial_over_radial_is_that_of_the_truth(bench):
    bent = faults.bent_shaft(bench, 2e-6)
    table = order_table(bent.record(speed=COASTAL_SPEED, duration=6.0, seed=2))
    force = bent.air[-1]
    extra = force.aerodynamic * COASTAL_SPEED**2 * cmath.exp(1j * force.lag)
    vectors = np.array(bent.truth(speed=COASTAL_SPEED).vectors)
    vectors += extra * response(bent, 1, COASTAL_SPEED)(force)
    ratio, sd = axial_ratio(table, "z")
    assert ratio == pytest.approx(abs(vectors[2]) / max(abs(vectors[:2])), rel=0.03)
    assert sd < 0.05 * ratio


def test_power_of_speed_is_that_of_the_stand():
    """dV/dw w/V by differences of the closed form, near a resonance."""
    bench = faults.at_resonance(coastal_propeller(4), COASTAL_SPEED, 0.06)
    change = analyse_change(track(bench.record(speed=COASTAL_SPEED, duration=8.0, seed=3), turns=9))
    low, high = (np.array(bench.truth(speed=COASTAL_SPEED * (1 + s)).vectors) for s in (-1e-3, 1e-3))
    expected = np.log(high / low) / 2e-3
    for axis in (0, 1):
        if change.sizes[axis] > 0.3 * change.sizes.max():
            assert abs(change.slopes[axis] - expected[axis]) < 0.15 * abs(expected[axis]) + 1.0


def test_amplification_beside_one_mode(bench):
    """With the modes at 0.9 of 2x the response is 4.3 times the force; with both far below it, about once."""
    for natural, least, most in ((0.9 * 2 * COASTAL_SPEED / (2 * math.pi), 3.5, 9.0), (21.0, 1.0, 2.5)):
        moved = replace(bench.stand, first=Mode(natural, 0.03), second=Mode(natural, 0.03))
        shaken = replace(bench, stand=moved, air=(OrderForce(2, aerodynamic=1e-6),))
        recording = shaken.record(speed=COASTAL_SPEED, duration=6.0, seed=4)
        found = amplification(analyse_change(track(recording, turns=9, orders=(2,))))
        assert least < found < most


@pytest.mark.parametrize("pull", [0.0, 0.4, 0.9])
def test_the_jump_at_the_cut_is_the_pull(bench, pull):
    speed = COASTAL_SPEED
    force = pull * abs(bench.rotor.unbalance) * speed**2 * cmath.exp(2.0j)
    motion = Motion.coast(speed, cut=3.0, end=4.5, halving=0.9, wander=0.002)
    recording = faults.off_centre_bell(bench, force).record(speed=motion, duration=4.5, seed=5)
    cut = find_cut(recording)
    assert cut.at == pytest.approx(3.0, abs=0.02)
    assert cut.speed == pytest.approx(speed, rel=0.01)
    jump = jump_at(recording, cut)
    expected = abs(force) / abs(bench.rotor.unbalance * speed**2 + force)
    assert jump.share == pytest.approx(expected, abs=0.05)
    assert jump.sd < 0.1


def test_a_held_speed_and_a_run_up_have_no_cut(bench, healthy):
    assert find_cut(healthy) is None
    rising = bench.record(speed=Motion.ramp(300.0, 600.0, 1.0, 5.0), duration=6.0, seed=1)
    assert find_cut(rising) is None
    assert symptoms(rising).codes == {"untold_speed", "untold_pull"}


def test_a_coast_down_to_a_crawl_is_looked_at(bench):
    motion = Motion.coast(COASTAL_SPEED, cut=4.0, end=9.0, halving=0.5)
    found = symptoms(bench.record(speed=motion, duration=9.0, seed=1), blades=2, magnets=14, axial="z")
    assert "pull_absent" in found.codes
    assert "nothing_against" in found.codes


def test_a_step_is_told_with_its_time(bench):
    slipped = faults.slipping(bench, 0.4 * bench.rotor.unbalance, 2.5)
    found = symptoms(slipped.record(speed=COASTAL_SPEED, duration=6.0, seed=1))
    step = next(f for f in found.findings if f.code == "once_stepped")
    assert step.figure("at_s") == pytest.approx(2.5, abs=0.2)
    # from U to 1.4 U: the mean over the run is 1 + 0.4 * 3.5 / 6
    assert step.figure("change_percent") == pytest.approx(100 * 0.4 / (1 + 0.4 * 3.5 / 6), abs=4)


def test_nothing_speaks_against_a_sound_propeller(healthy):
    found = symptoms(healthy, blades=2, magnets=14, axial="z")
    assert found.speaks_against == ()
    assert [f.code for f in found.speaks_for] == [
        "nothing_against",
        "once_dominates",
        "once_radial",
        "once_steady",
    ]
    assert [f.code for f in found.untold] == ["untold_blade", "untold_pull"]


def test_a_bare_bell_needs_no_blades():
    bench = coastal_bell(2)
    found = symptoms(bench.record(speed=COASTAL_SPEED, duration=6.0, seed=1), blades=0, magnets=14, axial="z")
    assert found.speaks_against == ()
    assert "untold_blade" not in found.codes


def test_what_was_not_said_cannot_be_told(healthy):
    untold = {f.code for f in symptoms(healthy).untold}
    assert untold == {"second_order_unclear", "untold_electric", "untold_axial", "untold_pull"}


def test_2x_is_the_blade_pass_of_two_blades_only(bench):
    shaken = faults.twice_per_turn(replace(bench, air=()), 0.8 * abs(bench.rotor.unbalance))
    recording = shaken.record(speed=COASTAL_SPEED, duration=6.0, seed=1)
    assert "second_order" in symptoms(recording, blades=3).codes
    assert "second_order" not in symptoms(recording, blades=2).codes
    assert "second_order_unclear" in symptoms(recording).codes


def test_without_marks_only_the_strongest_line_is_told(healthy):
    bare = replace(healthy, marks=None)
    assert symptoms(bare).codes == {"strongest_line", "untold_marks"}


def test_a_short_recording_says_so(bench):
    short = bench.record(speed=COASTAL_SPEED, duration=1.0, seed=1)
    assert "untold_short" in symptoms(short).codes
    assert symptoms(bench.record(speed=COASTAL_SPEED, duration=0.05, seed=1)).codes == {
        "untold_short",
        "untold_pull",
    }


def test_a_rate_too_low_for_the_blade_pass(bench):
    slow = replace(bench, sensor=replace(bench.sensor, rate=400.0, bandwidth=150.0))
    found = symptoms(slow.record(speed=COASTAL_SPEED, duration=6.0, seed=1), blades=4, magnets=14)
    assert found.speaks_against == ()
    assert "untold_electric" in found.codes


def test_nothing_is_said_of_1x_that_is_not_there(bench):
    still = replace(bench, air=(), electric=(), lines=(Line(150.0, (1.0, 1.0, 1.0)),))
    still = faults.balanced(still, 0.0)
    found = symptoms(still.record(speed=COASTAL_SPEED, duration=6.0, seed=1), blades=2, magnets=14, axial="z")
    assert {"once_minor", "untold_once"} <= found.codes
    assert not {"axial_strong", "near_resonance", "once_unsteady"} & found.codes


def test_a_dead_sensor_is_no_symptom():
    times = np.arange(6000) / 1000
    dead = Recording(times, np.zeros((1, 6000)), (Channel("x", "m/s^2"),), marks=np.arange(0.0, 6.0, 0.0123))
    untold = {"untold_once", "untold_blades", "untold_electric", "untold_pull"}
    assert symptoms(dead).codes == untold


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"axial": "w"}, "there is no channel w; name the one along the shaft"),
        ({"blades": -1}, "the number of blades is below 0"),
        ({"magnets": 13}, "a bell does not have 13 magnets"),
    ],
)
def test_impossible_answers_are_refused(healthy, said, words):
    with pytest.raises(InputError, match=words.split(";")[0]):
        symptoms(healthy, **said)


def reading(value, sd=0.02):
    return UncertainComplex(value, Covariance.circular(sd**2))


def codes(runs):
    return {finding.code for finding in repeat_symptoms(runs)}


def test_runs_are_compared_only_when_their_masses_are_the_same():
    trial = (Mass(1e-5, 0.06, 0.0),)
    assert codes([]) == {"untold_one_run"}
    assert codes([Run((reading(1 + 0j),)), Run((reading(2 + 0j),), masses=trial)]) == {"untold_one_run"}
    assert codes([Run((reading(1 + 0j),)), Run((reading(1.05 + 0j),))]) == {"mountings_agree"}
    assert codes([Run((reading(1 + 0j),)), Run((reading(1.5 + 0j),))]) == {"mountings_scatter"}
    assert codes([Run((reading(1 + 0j, 0.5),)), Run((reading(1.5 + 0j, 0.5),))]) == {"mountings_agree"}


def test_amplitudes_alone_show_scatter_too():
    runs = [Run((Amplitude(value, 0.01),), speed=500.0) for value in (1.0, 1.02, 1.4)]
    assert codes(runs) == {"mountings_scatter"}


def test_runs_at_different_speeds_show_a_resonance_but_no_scatter():
    """5 % of speed: an unbalance grows by 10 %, near a resonance by half."""
    near = [Run((reading(size + 0j),), speed=speed) for size, speed in ((1.0, 500.0), (1.6, 525.0))]
    far = [Run((reading(size + 0j),), speed=speed) for size, speed in ((1.0, 500.0), (1.12, 525.0))]
    assert codes(near) == {"resonance_between"}
    assert codes(far) == {"untold_one_run"}


def test_runs_with_and_without_current_are_compared():
    powered = Run((reading(1 + 0j), reading(0.5j)), speed=500.0)
    for turned, code in (
        (1.0, "pull_absent_between"),
        (1.1, "pull_absent_between"),
        (1.3j, "magnet_pull_between"),
    ):
        coasting = Run((reading(turned + 0j), reading(turned * 0.5j)), speed=502.0)
        assert [finding.code for finding in pull_between(powered, coasting)] == [code]


def test_recordings_are_compared_but_for_coast_downs(bench, healthy):
    again = bench.record(speed=COASTAL_SPEED, duration=5.0, seed=7)
    motion = Motion.coast(COASTAL_SPEED, cut=2.0, end=4.0)
    coasting = bench.record(speed=motion, duration=4.0, seed=8)
    assert {f.code for f in compare_recordings([healthy, again, coasting])} == {"mountings_agree"}
    assert {f.code for f in compare_recordings([healthy, coasting])} == {"untold_one_run"}


def test_after_balancing_others_are_compared_with_what_1x_was(bench, healthy):
    """A sound propeller balanced to 2 %: its blade pass, there all along, is large against what is left."""
    done = faults.balanced(bench, 0.02).record(speed=COASTAL_SPEED, duration=6.0, seed=9)
    alone = symptoms(done, blades=2, magnets=14, axial="z")
    known = symptoms(done, blades=2, magnets=14, axial="z", before=healthy)
    assert {"once_minor", "blade_pass_strong"} <= {f.code for f in alone.speaks_against}
    assert known.speaks_against == ()
    reduced = next(f for f in known.speaks_for if f.code == "once_reduced")
    assert reduced.figure("left_percent") == pytest.approx(2.0, abs=0.5)


def test_noise_that_hides_changes_is_told(bench):
    done = faults.balanced(bench, 0.001).record(speed=COASTAL_SPEED, duration=6.0, seed=9)
    found = symptoms(done, blades=2)
    assert "once_steady" not in found.codes
    assert found.codes & {"untold_change", "untold_once"}

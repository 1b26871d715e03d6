"""Stored influence coefficients: round trips, means, and how far they are trusted."""

import cmath
import json
import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.core.masses import Mass
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.procedure.coefficients import SetUp, StoredCoefficient, average, coefficient_of
from balancer.procedure.measure import measure, run_of
from balancer.procedure.solve import solve_runs
from balancer.procedure.trust import SPEED_BAND, trust
from balancer.recording.model import SensorFacts
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import rad_s_from_rpm
from balancer.wording.coefficients import coefficient_lines, trust_lines

SPEED = rad_s_from_rpm(5200)
GAINS = (cmath.rect(4.0e5, 0.7), cmath.rect(1.5e5, -1.9))  # (m/s^2)/(kg m)
DAY = date(2026, 3, 1)
SET_UP = SetUp(
    stand="green vice",
    channels=("x", "y"),
    sensor="5-euro board",
    rate=1600.0,
    lowpass=800.0,
    full_scale=156.9,
    mark_edge="rising",
    pickup="left of the motor",
    hand="ccw",
    moving_mass=0.26,
)


def stored(share=0.01, gains=GAINS, **changes):
    influence = tuple(UncertainComplex(g, Covariance.circular((share * abs(g)) ** 2)) for g in gains)
    return replace(StoredCoefficient(SET_UP, SPEED, influence, DAY, runs=2), **changes)


def codes(findings):
    return [finding.code for finding in findings]


def test_a_set_up_takes_what_the_recording_says_of_its_sensor():
    facts = SensorFacts(
        name="5-euro board", full_scale=156.9, lowpass=800.0, nominal_rate=1600.0, mark_edge="rising"
    )
    made = SetUp.of("green vice", ("x", "y"), facts, pickup="left of the motor", hand="ccw", moving_mass=0.26)
    assert made == SET_UP


sizes = st.floats(1e-3, 1e3)
numbers = st.one_of(st.none(), st.floats(1e-3, 1e6))
words = st.text(max_size=8)


@st.composite
def coefficients(draw):
    count = draw(st.integers(1, 3))
    channels = tuple(f"{draw(words)}{k}" for k in range(count))
    set_up = SetUp(
        stand="s" + draw(words),
        channels=channels,
        unit=draw(st.sampled_from(["m/s^2", "mil"])),
        sensor=draw(words),
        rate=draw(numbers),
        lowpass=draw(numbers),
        full_scale=draw(numbers),
        mark_edge=draw(st.sampled_from(["", "rising", "falling"])),
        pickup=draw(words),
        hand=draw(st.sampled_from(["", "cw", "ccw"])),
        moving_mass=draw(numbers),
    )
    influence = tuple(
        UncertainComplex(
            cmath.rect(draw(st.floats(1e-3, 1e9)), draw(st.floats(-4, 4))),
            Covariance(draw(sizes) ** 2, draw(sizes) ** 2, 0.0),
        )
        for _ in range(count)
    )
    return StoredCoefficient(
        set_up,
        draw(st.floats(1.0, 1e4)),
        influence,
        draw(st.one_of(st.none(), st.dates())),
        draw(st.integers(1, 99)),
        draw(st.booleans()),
        draw(st.integers(1, 9)),
        draw(st.one_of(st.none(), st.floats(0, 2))),
    )


def close(one, other):
    return one == pytest.approx(other, rel=1e-12) if one is not None else other is None


@settings(max_examples=60)
@given(coefficients())
def test_a_round_trip_through_json_keeps_everything(coefficient):
    again = StoredCoefficient.from_json(json.loads(json.dumps(coefficient.to_json())))
    plain = replace(coefficient.set_up, moving_mass=None)
    assert replace(again.set_up, moving_mass=None) == plain
    assert close(again.set_up.moving_mass, coefficient.set_up.moving_mass)
    assert close(again.speed, coefficient.speed)
    assert close(again.scatter, coefficient.scatter)
    for one, other in zip(again.influence, coefficient.influence, strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-12)
        for name in ("re", "im", "cross"):
            assert close(getattr(one.covariance, name), getattr(other.covariance, name))
    rest = ("when", "runs", "has_phase", "determinations")
    assert [getattr(again, name) for name in rest] == [getattr(coefficient, name) for name in rest]


def test_json_is_in_trade_units():
    data = stored().to_json()
    assert data["speed_rpm"] == pytest.approx(5200)
    assert data["set_up"]["moving_mass_g"] == pytest.approx(260)
    entry = data["influence_per_gmm"][0]
    assert math.hypot(entry["re"], entry["im"]) == pytest.approx(0.4)  # (m/s^2)/(g mm)
    assert entry["unit"] == "m/s^2/(g mm)"
    assert data["when"] == "2026-03-01"


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("speed_rpm", None, "speed_rpm must be a number"),
        ("speed_rpm", "fast", "speed_rpm must be a number"),
        ("when", "yesterday", "when must be a day"),
        ("influence_per_gmm", None, "influence_per_gmm must be a list"),
        ("influence_per_gmm", [3], "is an object with re, im"),
        ("influence_per_gmm", [], "coefficient of 0 channels"),
        ("set_up", None, "set_up must be an object"),
        ("set_up", {}, "channels must be a list"),
        ("runs", True, "runs must be a number"),
    ],
)
def test_what_is_no_coefficient_is_refused(key, value, words):
    data = {**stored().to_json(), key: value}
    with pytest.raises(InputError, match=words):
        StoredCoefficient.from_json(data)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"stand": " "}, "name of its stand"),
        ({"channels": ()}, "names of its channels"),
        ({"hand": "left"}, "cw or ccw"),
        ({"lowpass": 0.0}, "lowpass of a set-up must be above 0"),
    ],
)
def test_what_is_no_set_up_is_refused(changes, words):
    with pytest.raises(InputError, match=words):
        replace(SET_UP, **changes)


def typed_runs(h=GAINS, unbalance=2e-6 * 1j, phase=True):
    plan = [(), *((Mass(3e-5, 0.06, angle),) for angle in (0.0, 2.0, 4.0))]
    runs = []
    for masses in plan:
        vectors = [g * (unbalance + sum(m.unbalance for m in masses)) for g in h]
        readings = tuple(
            UncertainComplex(v, Covariance.circular(1e-6)) if phase else Amplitude(abs(v), 1e-3)
            for v in vectors
        )
        runs.append(Run(readings, masses, speed=SPEED))
    return runs


def test_a_solved_job_gives_its_coefficient():
    made = coefficient_of(solve_runs(typed_runs(), radius=0.06), SET_UP, DAY)
    assert [h.value for h in made.influence] == pytest.approx(GAINS, rel=1e-9)
    assert (made.speed, made.when, made.runs, made.has_phase) == (SPEED, DAY, 4, True)


def test_without_phase_only_the_size_is_kept():
    made = coefficient_of(solve_runs(typed_runs(phase=False), radius=0.06), SET_UP, DAY)
    assert [h.value for h in made.influence] == pytest.approx([abs(g) for g in GAINS], rel=1e-6)
    assert not made.has_phase


def test_a_coefficient_that_was_only_used_is_not_stored_anew():
    solution = solve_runs(typed_runs()[:1], radius=0.06, known=stored().influence)
    with pytest.raises(InputError, match="came from a stored one"):
        coefficient_of(solution, SET_UP, DAY)


def test_a_coefficient_needs_its_speed():
    solution = solve_runs([replace(run, speed=None) for run in typed_runs()], radius=0.06)
    with pytest.raises(InputError, match="needs its speed"):
        coefficient_of(solution, SET_UP, DAY)


def determinations(count, scatter, seed=1, share=0.001):
    rng = np.random.default_rng(seed)
    return [
        stored(share, [g * (1 + scatter * complex(*rng.normal(size=2))) for g in GAINS]) for _ in range(count)
    ]


def test_the_mean_carries_the_scatter():
    several = determinations(40, 0.05)
    mean = average(several)
    assert mean.scatter == pytest.approx(0.05, rel=0.25)  # 156 degrees of freedom: 6 %
    assert [h.value for h in mean.influence] == pytest.approx(
        [np.mean([c.influence[k].value for c in several]) for k in range(2)], rel=1e-9
    )
    for h in mean.influence:
        assert h.covariance.radius / h.amplitude == pytest.approx(mean.scatter / math.sqrt(40), rel=1e-6)
    assert (mean.determinations, mean.runs) == (40, 80)


def test_without_scatter_the_measurements_speak():
    mean = average(determinations(4, 0.0, share=0.02))
    assert mean.scatter == pytest.approx(0, abs=1e-12)
    assert mean.influence[0].covariance.radius == pytest.approx(0.01 * abs(GAINS[0]), rel=1e-9)


def test_the_mean_brings_speeds_together_by_the_square():
    near = [stored(), stored(speed=SPEED * 1.004, gains=[g * 1.004**2 for g in GAINS])]
    assert average(near).scatter == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("others", "words"),
    [
        ([], "no influence coefficient"),
        ([stored(), stored(set_up=replace(SET_UP, stand="table"))], "different set-ups"),
        ([stored(), stored(has_phase=False)], "different set-ups"),
        ([stored(), stored(speed=1.05 * SPEED)], "different speeds"),
        ([stored(), stored(determinations=3, scatter=0.1)], "mean of means"),
    ],
)
def test_what_has_no_mean_is_refused(others, words):
    with pytest.raises(InputError, match=words):
        average(others)


def test_the_same_set_up_the_next_day_serves():
    trusted = trust(stored(), SET_UP, SPEED, date(2026, 3, 2))
    assert trusted.usable
    assert codes(trusted.findings) == ["coefficient_serves"]
    assert [h.value for h in trusted.influence] == pytest.approx(GAINS)
    # 2 % a job and component, two jobs, two components: 4 %; the measurement adds a little
    assert trusted.expected_left == pytest.approx(0.041, abs=0.002)


OTHER = {
    "stand": ("table", "stand"),
    "channels": (("x", "z"), "channels"),
    "unit": ("mil", "unit"),
    "sensor": ("better board", "sensor"),
    "rate": (3200.0, "sample rate"),
    "lowpass": (400.0, "low-pass"),
    "mark_edge": ("falling", "mark edge"),
    "pickup": ("above the motor", "place of the pick-up"),
    "hand": ("cw", "hand of rotation"),
}


@pytest.mark.parametrize(("field", "value", "name"), [(f, *v) for f, v in OTHER.items()])
def test_another_set_up_is_refused_and_named(field, value, name):
    trusted = trust(stored(), replace(SET_UP, **{field: value}), SPEED, DAY)
    assert not trusted.usable
    assert trusted.influence == ()
    assert trusted.expected_left == 1.0
    assert trusted.findings[0].code == "coefficient_other_set_up"
    assert trusted.findings[0].figure("names") == name


def test_all_that_differs_is_named_at_once():
    other = replace(SET_UP, stand="table", hand="cw")
    trusted = trust(stored(), other, 2 * SPEED, DAY)
    assert codes(trusted.findings) == ["coefficient_other_set_up", "coefficient_other_speed"]
    assert trusted.findings[0].figure("names") == "stand, hand of rotation"


@pytest.mark.parametrize("field", ["mark_edge", "pickup", "hand"])
def test_without_phase_the_mark_does_not_matter(field):
    other = replace(SET_UP, **{field: OTHER[field][0]})
    assert trust(stored(), other, SPEED, DAY, with_phase=False).usable


def test_a_size_alone_does_not_serve_with_phase():
    sized = stored(has_phase=False)
    assert codes(trust(sized, SET_UP, SPEED, DAY).findings) == ["coefficient_without_phase"]
    assert trust(sized, SET_UP, SPEED, DAY, with_phase=False).usable


def test_what_is_not_known_is_said():
    trusted = trust(stored(), replace(SET_UP, mark_edge="", lowpass=None), SPEED, DAY)
    assert trusted.usable
    assert trusted.findings[0].code == "coefficient_unchecked"
    assert trusted.findings[0].figure("names") == "low-pass, mark edge"


@pytest.mark.parametrize("off", [-0.04, -0.01, 0.02, 0.049])
def test_another_speed_scales_by_the_square_and_widens(off):
    speed = SPEED * (1 + off)
    there, here = trust(stored(), SET_UP, speed, DAY), trust(stored(), SET_UP, SPEED, DAY)
    assert [h.value for h in there.influence] == pytest.approx([g * (1 + off) ** 2 for g in GAINS])
    h, plain = there.influence[0], here.influence[0]
    # a power of doubt along H, shared by the two channels, and as much across it beside the filter's delay
    more = (h.sd_amplitude / h.amplitude) ** 2 - (plain.sd_amplitude / plain.amplitude) ** 2
    assert more == pytest.approx(2 * off**2, rel=1e-6)
    assert h.sd_lag > h.sd_amplitude / h.amplitude
    assert there.expected_left > here.expected_left


@pytest.mark.parametrize(("rpm", "degrees"), [(3000, 0.10), (6000, 0.22), (9000, 0.34)])
def test_the_delay_of_a_filter_turns_by_360_tau_df(rpm, degrees):
    """Project's timing budget for a second-order filter of 400 Hz and 1 % of speed (computed there)."""
    set_up = replace(SET_UP, channels=("x",), lowpass=400.0)
    kept = replace(stored(), set_up=set_up, influence=stored().influence[:1], speed=rad_s_from_rpm(rpm))
    h = trust(kept, set_up, rad_s_from_rpm(1.01 * rpm), DAY).influence[0]
    turn = math.sqrt(h.sd_lag**2 - (h.sd_amplitude / h.amplitude) ** 2)
    # the delay far below the filter's frequency: near it the true phase bends by up to an eighth
    assert math.degrees(turn) == pytest.approx(degrees, rel=0.13)


@pytest.mark.parametrize("off", [-1.02 * SPEED_BAND, 1.02 * SPEED_BAND])
def test_a_speed_beyond_the_band_is_refused(off):
    trusted = trust(stored(), SET_UP, SPEED * (1 + off), DAY)
    assert codes(trusted.findings) == ["coefficient_other_speed"]
    assert trusted.findings[0].figure("speed_rpm") == pytest.approx(5200)


def left(coefficient=None, set_up=SET_UP, today=DAY):
    return trust(coefficient or stored(), set_up, SPEED, today).expected_left


def test_age_scatter_and_moving_mass_make_it_less_sure():
    assert left(today=date(2028, 3, 1)) > left(today=date(2027, 3, 1)) > left()
    assert left(stored(when=None)) > left()
    assert left(stored(determinations=5, scatter=0.10)) > left(stored(determinations=5, scatter=0.02))
    assert left(set_up=replace(SET_UP, moving_mass=0.29)) > left()


def test_remarks():
    old = trust(stored(), SET_UP, SPEED, date(2027, 3, 1))
    assert codes(old.findings) == ["coefficient_old", "coefficient_serves"]
    assert codes(trust(stored(when=None), SET_UP, SPEED, DAY).findings)[0] == "coefficient_undated"
    scattering = trust(stored(determinations=6, scatter=0.3), SET_UP, SPEED, DAY)
    assert codes(scattering.findings) == ["coefficient_scatters", "coefficient_weak"]
    heavier = replace(SET_UP, moving_mass=0.35, full_scale=78.5)
    found = codes(trust(stored(), heavier, SPEED, DAY).findings)
    assert found[:2] == ["coefficient_other_range", "coefficient_other_mass"]
    fast = trust(stored(), SET_UP, SPEED * 1.04, DAY)
    assert codes(fast.findings) == ["coefficient_speed_off", "coefficient_serves"]


def test_scatter_that_was_measured_is_what_to_expect():
    """Drawn: the mean of 3 jobs against the next one, z scores of the correction from one exact run."""
    rng = np.random.default_rng(9)
    scores = []
    for _ in range(60):
        jobs = [
            stored(1e-4, [g * (1 + 0.05 * complex(*rng.normal(size=2))) for g in GAINS]) for _ in range(3)
        ]
        trusted = trust(average(jobs), SET_UP, SPEED, DAY)
        h = [g * (1 + 0.05 * complex(*rng.normal(size=2))) for g in GAINS]
        answer = solve_runs(typed_runs(h)[:1], radius=0.06, known=trusted.influence).answer
        error = answer.correction.value + 2e-6j
        root = np.linalg.cholesky(answer.correction.covariance.matrix)
        scores.append(np.linalg.solve(root, (error.real, error.imag)))
    # drawn for each channel by itself, taken for shared: somewhat wide; three jobs tell scatter to a third
    assert 0.6 <= np.sqrt(np.mean(np.square(scores))) <= 1.2


def test_one_run_on_the_simulated_stand_with_the_coefficient_of_another_propeller():
    first, second = coastal_propeller(3), coastal_propeller(4)
    second = replace(second, rotor=replace(second.rotor, hand=first.rotor.hand))

    def run(bench, seed, masses=()):
        recording = bench.record(speed=COASTAL_SPEED, duration=6.0, masses=masses, seed=seed)
        return run_of(measure(recording), masses)

    trial = (Mass(2e-5, 0.06, 1.0),)
    job = solve_runs([run(first, 1), run(first, 2, trial)], radius=0.06)
    set_up = replace(SET_UP, channels=("x", "y", "z"), hand=first.rotor.hand)
    kept = coefficient_of(job, set_up, DAY)
    one = run(second, 3)
    trusted = trust(kept, set_up, one.speed, DAY)
    found = solve_runs([one], radius=0.06, known=trusted.influence).answer
    truth = second.truth(speed=one.speed).correction
    # seen over 40 random benches: 0.5 % in the median, 0.9 % in 9 of 10
    assert abs(found.correction.value - truth) < 0.03 * abs(truth)
    assert trusted.expected_left < 0.06


def test_words():
    lines = coefficient_lines(average(determinations(3, 0.02)))
    assert lines[0].startswith(
        "influence coefficient of green vice at 5200 rpm, ccw (2026-03-01, 3 jobs, 6 runs"
    )
    assert lines[1].startswith("  x: 0.4")
    assert "m/s^2 per g mm" in lines[1]
    assert "no phase" in coefficient_lines(stored(has_phase=False))[1]
    (line,) = trust_lines(trust(stored(), replace(SET_UP, hand="cw"), SPEED, DAY))
    assert line.startswith("warning: The stored coefficient is of another set-up (hand of rotation)")

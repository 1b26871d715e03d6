"""Index files and indexing jobs: from runs with one part turned to each part's own unbalance."""

import cmath
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from balancer.core.masses import Mass
from balancer.core.runs import Amplitude, Run
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError
from balancer.procedure.index_file import PartFacts, parse_index, read_index_file
from balancer.procedure.indexing import index_file, index_parts
from balancer.procedure.measure import measure, run_of
from balancer.procedure.solve import solve_runs
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller, random_bench
from balancer.units import kgm_from_gmm, rad_s_from_rpm

SPEED = rad_s_from_rpm(5200)
H = 1.3e6 * cmath.exp(2.0j)
BELL, PROPELLER = cmath.rect(0.5e-6, 0.3), cmath.rect(2.0e-6, 1.3)


def known(doubt=0.0):
    return [UncertainComplex(H, Covariance.circular((doubt * abs(H)) ** 2))]


def runs_at(degrees, *, scatter=0.0, noise=0.005, rng=None, speed=SPEED, parts=(BELL, PROPELLER)):
    bell, propeller = parts
    found = []
    for angle in np.radians(degrees):
        seat = scatter * complex(*rng.normal(size=2)) if rng is not None else 0j
        error = noise * complex(*rng.normal(size=2)) if rng is not None else 0j
        value = H * (bell + propeller * cmath.exp(1j * angle) + seat) + error
        found.append(Run((UncertainComplex(value, Covariance.circular(noise**2)),), speed=speed))
    return found


def solve(degrees, *, possible=None, kept=PartFacts(), turned=PartFacts(), influence=True, **facts):  # noqa: B008
    return index_parts(
        runs_at(degrees, **facts),
        np.radians(degrees),
        influence=known() if influence else None,
        kept=kept,
        turned=turned,
        possible=None if possible is None else list(np.radians(possible)),
    )


def codes(found):
    return [finding.code for finding in found.findings]


def test_each_part_in_its_own_frame():
    found = solve((0, 180))
    assert found.kept.vector.value == pytest.approx(BELL)
    assert found.turned.vector.value == pytest.approx(PROPELLER)
    assert found.in_unbalance
    assert codes(found) == ["seating_scatter_untold"]


def test_grade_of_each_part_whose_mass_is_known():
    found = solve((0, 180), turned=PartFacts("propeller A", 0.016))
    assert found.turned.name == "propeller A"
    assert found.kept.grade is None
    # ISO 21940-11 (second hand): e omega = G
    assert found.turned.grade == pytest.approx(2.0e-6 / 0.016 * SPEED)
    assert found.turned.permissible == pytest.approx(0.016 * 6.3e-3 / SPEED)


def test_without_a_coefficient_the_parts_are_vibration_and_positions_still_serve():
    found = solve((0, 180), influence=False, turned=PartFacts("", 0.016))
    assert not found.in_unbalance
    assert found.kept.vector.value == pytest.approx(H * BELL)
    assert found.turned.grade is None
    assert [round(math.degrees(p.angle)) for p in found.positions] == [180, 0]


def test_the_best_position_is_the_one_with_least_left():
    found = solve((0, 180), possible=(0, 60, 120, 180, 240, 300))
    left = [abs(BELL + PROPELLER * cmath.exp(1j * p.angle)) for p in found.positions]
    assert left == sorted(left)
    assert [p.left.amplitude for p in found.positions] == pytest.approx(left)
    assert len(left) == 6


def test_positions_are_those_of_the_runs_once_each():
    found = solve((0, 180, 360, 180, -180))
    assert len(found.positions) == 2


def test_a_light_propeller_may_sit_anyhow():
    rng = np.random.default_rng(1)
    parts = (BELL, 0.001 * PROPELLER)
    found = solve((0, 180, 0, 180), rng=rng, parts=parts)
    assert {"positions_alike", "part_not_seen"} <= set(codes(found))
    assert [f.figure("names") for f in found.findings if f.code == "part_not_seen"] == ["turned part"]


def test_scatter_larger_than_the_parts_is_named():
    rng = np.random.default_rng(2)
    large, small = (solve((0, 180, 0, 180, 0, 180), rng=rng, scatter=size) for size in (2.5e-6, 0.05e-6))
    assert "seating_scatter_large" in codes(large)
    assert "seating_scatter_large" not in codes(small)


def test_runs_and_coefficient_of_slightly_different_speeds_are_converted():
    # a soft stand answers an unbalance with the square of the speed
    first, second = runs_at((0, 180))
    slower = Run((second.readings[0].times(0.99**2),), speed=0.99 * SPEED)
    found = index_parts(
        [first, slower],
        [0.0, math.pi],
        influence=[known()[0].times(1.01**2)],
        influence_speed=1.01 * SPEED,
    )
    assert found.kept.vector.value == pytest.approx(BELL)
    assert found.turned.vector.value == pytest.approx(PROPELLER)
    far = index_parts([first, Run(second.readings, speed=0.9 * SPEED)], [0.0, math.pi])
    assert "speeds_differ" in codes(far)


def test_no_phase_no_indexing():
    runs = [Run((Amplitude(1.0, 0.01),)), Run((Amplitude(2.0, 0.01),))]
    with pytest.raises(InputError, match="needs a phase"):
        index_parts(runs, [0.0, math.pi])


def test_the_stated_95_percent_hold_with_scatter_and_a_doubtful_coefficient():
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(60):
        off = known(0.02)[0]
        off = UncertainComplex(
            off.value + off.covariance.radius * complex(*rng.normal(size=2)), off.covariance
        )
        runs = runs_at((0, 120, 240, 0), scatter=0.1e-6, rng=rng)
        parts = index_parts(runs, np.radians((0, 120, 240, 0)), influence=[off]).parts
        for part, truth in ((parts.kept, BELL), (parts.turned, PROPELLER)):
            inside.append(abs(part.value - truth) <= parts.coverage * part.covariance.radius)
    assert np.mean(inside) >= 0.92


# the simulated bench


def spin(bench, speed, degrees, seed, *, masses=(), propeller=None):
    rotor = replace(
        bench.rotor,
        index=math.radians(degrees),
        propeller=bench.rotor.propeller if propeller is None else propeller,
    )
    return replace(bench, rotor=rotor).record(speed=speed, duration=4.0, seed=seed, masses=masses)


@pytest.mark.parametrize("degrees", [(0, 180, 0, 180), (0, 120, 240)])
def test_bell_and_propeller_of_simulated_rotors(degrees):
    rng = np.random.default_rng(4)
    for number in range(2):
        bench, speed = random_bench(rng)
        hidden = bench.rotor
        runs = []
        for k, angle in enumerate(degrees):
            seat = hidden.propeller * (1 + 0.03 * complex(*rng.normal(size=2)))
            runs.append(run_of(measure(spin(bench, speed, angle, 10 * number + k, propeller=seat)), ()))
        mass = (Mass.of_unbalance(abs(hidden.propeller), 0.05),)
        trial = run_of(
            measure(spin(bench, speed, degrees[-1], 10 * number + 9, masses=mass, propeller=seat)), mass
        )
        solved = solve_runs([runs[-1], trial], radius=0.05)
        found = index_parts(
            runs, np.radians(degrees), influence=solved.answer.influence, influence_speed=solved.speed
        ).parts
        for part, truth in ((found.kept, hidden.bell), (found.turned, hidden.propeller)):
            assert abs(part.value - truth) <= found.coverage * part.covariance.radius
        assert abs(found.turned.value - hidden.propeller) < 0.1 * abs(hidden.propeller)
        assert found.scatter.low <= 0.03 * abs(hidden.propeller) <= found.scatter.high


def test_an_index_file_of_recordings_with_a_runs_file(tmp_path):
    bench = coastal_propeller(3)
    mass = (Mass(20e-6, 0.06, 0.0),)
    for name, angle, seed, masses in (("a", 0, 1, ()), ("b", 180, 2, ()), ("t", 0, 3, mass)):
        recording = spin(bench, COASTAL_SPEED, angle, seed, masses=masses)
        write(recording, tmp_path / f"{name}.stream.csv")
    (tmp_path / "runs.toml").write_text(
        "radius_mm = 60\n[[run]]\nrecording = 'a.stream.csv'\n[[run]]\nrecording = 't.stream.csv'\n"
        "masses = [{ mass_g = 0.02, angle_deg = 0 }]\n"
    )
    for channel in ("", "channel = 'x'\n"):
        (tmp_path / "index.toml").write_text(
            f"runs = 'runs.toml'\n{channel}kept_mass_g = 25\nturned = 'A'\nturned_mass_g = 16\n"
            "[[run]]\nrecording = 'a.stream.csv'\nindex_deg = 0\n"
            "[[run]]\nrecording = 'b.stream.csv'\nindex_deg = 180\n"
        )
        told = []
        found = index_file(read_index_file(tmp_path / "index.toml"), progress=told.append)
        assert abs(found.kept.vector.value - bench.rotor.bell) < 0.03 * abs(bench.rotor.propeller)
        assert abs(found.turned.vector.value - bench.rotor.propeller) < 0.03 * abs(bench.rotor.propeller)
        assert found.turned.grade is not None
        assert set(told) == {"a.stream.csv", "b.stream.csv", "t.stream.csv"}
    bad = (tmp_path / "index.toml").read_text().replace("'x'", "'q'")
    with pytest.raises(InputError, match="no channel q"):
        index_file(parse_index(bad, name="index.toml", folder=tmp_path))


# the file

TYPED = """\
speed_rpm = 5200
kept = "bell 3"
turned_mass_g = 16
grade = 2.5
possible_deg = [0, 60.0, 180]
influence_amplitude = 1.30
influence_phase_deg = 115
[[run]]
index_deg = 0
amplitude = 2.95
phase_deg = 185
[[run]]
index_deg = 180
amplitude = 2.30
phase_deg = 4
"""


def parse(text):
    return parse_index(text, name="index.toml", folder=Path("job"))


def test_every_setting_in_si():
    job = parse(TYPED)
    assert job.speed == pytest.approx(SPEED)
    assert job.grade == pytest.approx(2.5e-3)
    assert job.kept == PartFacts("bell 3")
    assert job.turned == PartFacts("", 0.016)
    assert job.angles == pytest.approx((0, math.pi))
    assert job.possible == pytest.approx((0, math.pi / 3, math.pi))
    assert job.influence.value == pytest.approx(cmath.rect(1.30 / kgm_from_gmm(1), math.radians(115)))
    assert job.influence.sd_amplitude == pytest.approx(0.01 / math.sqrt(12) / kgm_from_gmm(1))
    assert [run.line for run in job.runs] == [8, 12]
    assert job.runs[1].reading.amplitude == pytest.approx(2.3)


def test_a_stated_uncertainty_of_the_coefficient():
    job = parse("sd_influence_amplitude = 0.1\nsd_influence_phase_deg = 3\n" + TYPED)
    assert job.influence.sd_amplitude == pytest.approx(1e5)
    assert job.influence.sd_lag == pytest.approx(math.radians(3))
    assert not job.assumed_sd


def test_the_coefficient_is_a_lag_even_beside_leading_readings():
    job = parse('phase = "lead"\n' + TYPED)
    assert job.influence.lag == pytest.approx(math.radians(115))
    assert job.runs[0].reading.lag == pytest.approx(math.radians(-185 + 360))


def test_typed_readings_to_the_parts():
    found = index_file(parse(TYPED))
    first, second = (cmath.rect(a, math.radians(p)) for a, p in ((2.95, 185), (2.30, 4)))
    coefficient = cmath.rect(1.30e6, math.radians(115))
    assert found.kept.vector.value == pytest.approx((first + second) / 2 / coefficient)
    assert found.turned.vector.value == pytest.approx((first - second) / 2 / coefficient)
    assert found.kept.name == "bell 3"
    assert {"reading_uncertainty_assumed", "influence_uncertainty_assumed"} <= set(codes(found))


def test_a_coefficient_found_at_another_speed_is_named(tmp_path):
    (tmp_path / "runs.toml").write_text(
        "speed_rpm = 4000\nradius_mm = 60\n[[run]]\namplitude = 2.95\nphase_deg = 185\n"
        "[[run]]\namplitude = 1.5\nphase_deg = 100\nmasses = [{ mass_g = 0.03, angle_deg = 0 }]\n"
    )
    text = re.sub(r"influence.*\n", "", TYPED)
    (tmp_path / "index.toml").write_text('runs = "runs.toml"\n' + text)
    assert "influence_speed_differs" in codes(index_file(read_index_file(tmp_path / "index.toml")))
    unphased = (tmp_path / "runs.toml").read_text().replace("phase_deg", "#")
    more = "[[run]]\namplitude = 2\nmasses = [{ mass_g = 0.03, angle_deg = 120 }]\n"
    (tmp_path / "runs.toml").write_text(unphased + more + more.replace("120", "240").replace("2\n", "4\n"))
    job = read_index_file(tmp_path / "index.toml")
    with pytest.raises(InputError, match="no influence coefficient with a phase"):
        index_file(job)


def run_of_two(line, rest=""):
    return f"[[run]]\nindex_deg = 0\n{line}\n{rest}[[run]]\nindex_deg = 180\namplitude = 2.3\nphase_deg = 4\n"


GOOD = run_of_two("amplitude = 2.95\nphase_deg = 185")

BAD = [
    ("empty", "", "there are no runs in it"),
    ("no TOML", "runs = [  # here", "this is not TOML"),
    ("an unknown key", "speed = 5200  # here\n" + GOOD, "speed is not known here"),
    (
        "an unknown key in a run",
        run_of_two("amplitude = 2.9\nphase_deg = 3\nangle = 3  # here"),
        "angle is not known",
    ),
    ("masses", run_of_two("amplitude = 2.9\nphase_deg = 3\nmasses = []  # here"), "masses is not known here"),
    ("no index", "[[run]]  # here\namplitude = 2.9\nphase_deg = 3\n" + GOOD, "a run has no index_deg"),
    ("an index in words", GOOD.replace("index_deg = 180", 'index_deg = "half"  # here'), "is not a number"),
    ("no phase", "[[run]]  # here\nindex_deg = 0\namplitude = 2.9\n" + GOOD, "a run has no phase_deg"),
    (
        "neither reading nor recording",
        "[[run]]  # here\nindex_deg = 0\n" + GOOD,
        "a recording or an amplitude",
    ),
    ("a mass of nothing", "kept_mass_g = 0  # here\n" + GOOD, "kept_mass_g must be above 0"),
    ("a part without a name", 'turned = " "  # here\n' + GOOD, "turned must be a name in quotes"),
    ("a part by number", "kept = 3  # here\n" + GOOD, "kept must be a name in quotes"),
    ("one position", "possible_deg = 180  # here\n" + GOOD, "possible_deg must be a list"),
    ("no positions", "possible_deg = []  # here\n" + GOOD, "possible_deg must be a list"),
    ("a position in words", 'possible_deg = [0, "b"]  # here\n' + GOOD, "is not a number"),
    ("half a coefficient", "influence_amplitude = 1.3  # here\n" + GOOD, "has no influence_phase_deg"),
    ("the other half", "influence_phase_deg = 15  # here\n" + GOOD, "has no influence_amplitude"),
    (
        "a coefficient of nothing",
        "influence_amplitude = 0.0  # here\ninfluence_phase_deg = 3\n" + GOOD,
        "coefficient of 0",
    ),
    (
        "a negative coefficient",
        "influence_amplitude = -1.0  # here\ninfluence_phase_deg = 3\n" + GOOD,
        "cannot be negative",
    ),
    (
        "two sources of it",
        "influence_amplitude = 1.3  # here\ninfluence_phase_deg = 3\nruns = 'r.toml'\n" + GOOD,
        "say the same",
    ),
    ("a runs file that is not there", "runs = 'nowhere.toml'\n" + GOOD, "nowhere.toml"),
    ("a channel of typed readings", "channel = 'x'\n" + GOOD, "readings typed in have no names"),
    ("one run", "[[run]]  # here\nindex_deg = 0\namplitude = 2.9\nphase_deg = 3\n", "one run cannot tell"),
    ("one index", GOOD.replace("180", "0"), "at the same angle"),
    ("both kinds", run_of_two("recording = 'a.csv'"), "do not mix"),
    (
        "a recording that is not there",
        "[[run]]  # here\nindex_deg = 0\nrecording = 'gone.csv'\n"
        "[[run]]\nindex_deg = 180\nrecording = 'b.csv'\n",
        "gone.csv",
    ),
]


@pytest.mark.parametrize(("text", "words"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_refusal(tmp_path, text, words):
    path = tmp_path / "index.toml"
    path.write_text(text)
    with pytest.raises(InputError) as refused:
        index_file(read_index_file(path))
    said = str(refused.value)
    assert words in said
    assert "; " in said, "it must say what to do"
    assert "\n" not in said
    marked = [n for n, line in enumerate(text.splitlines(), 1) if line.endswith("# here")]
    if marked:
        assert said.startswith(f"{path}, line {marked[0]}: ")


def test_not_text(tmp_path):
    path = tmp_path / "index.toml"
    path.write_bytes(bytes(range(256)))
    with pytest.raises(InputError, match="give an index file in TOML"):
        read_index_file(path)

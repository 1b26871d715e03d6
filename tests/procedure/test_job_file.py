"""The job file: everything comes back as it was, and whatever cannot be used is named by its place."""

from __future__ import annotations

import copy
import json
import math
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Places, Ring, Slot, Spots
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import Strip, Tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.errors import InputError, OperationError
from balancer.findings import Finding
from balancer.procedure.coefficients import SetUp
from balancer.procedure.job import Job, JobRun, Limits, SensorCheck, Stand
from balancer.procedure.job_file import job_from_data, job_to_data, read_job, write_job
from balancer.procedure.json_file import read_json, write_json
from balancer.procedure.next_step import next_step
from balancer.procedure.part import Part

sizes = st.floats(1e-3, 1e3)
small = st.floats(1e-6, 1e-3)
angles = st.floats(-10, 10)
words = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
tapes = st.builds(Tape, words, small, small, st.booleans())
masses = st.builds(Mass, st.floats(-1e-3, 1e-3), small, angles)
strips = st.builds(Strip, tapes, small, st.integers(1, 9))
pieces = st.builds(
    Piece,
    words,
    st.sampled_from(["tape", "drop", "washer", "removed", "mass"]),
    small,
    small,
    angles,
    st.none() | strips,
    st.booleans(),
    st.sampled_from([1, 2]),
)
findings = st.builds(
    Finding,
    words,
    st.sampled_from(["info", "warning", "error"]),
    st.dictionaries(words, st.integers(-9, 9) | angles | words, max_size=3).map(lambda d: tuple(d.items())),
)
vectors = st.builds(
    lambda re, im, a, b, share: UncertainComplex(
        complex(re, im), Covariance(a * a, b * b, 0.9 * share * a * b)
    ),
    angles,
    angles,
    small,
    small,
    st.floats(-1, 1),
)
amplitudes = st.builds(Amplitude, sizes, small)
runs = st.builds(
    JobRun,
    st.builds(
        Run,
        st.lists(vectors, min_size=2, max_size=2).map(tuple)
        | st.lists(amplitudes, min_size=2, max_size=2).map(tuple),
        st.lists(masses, max_size=2).map(tuple),
        st.sampled_from(["as-is", "trial", "check", ""]),
        st.none() | sizes,
    ),
    words,
    st.lists(findings, max_size=2).map(tuple),
    st.lists(findings, max_size=1).map(tuple),
    words,
)
places = st.sampled_from(
    [
        Places.of_bell(0.018),
        Places.of_bell(
            0.018, slots=(Slot(1.0, 0.3), Slot(4.0, 0.0)), screws=Spots("screw", 0.01, (0.0, 2.0))
        ),
        Places.of_bell(None, screws=Spots("screw", 0.012, (0.1,), removable=True)),
    ]
)
blades = st.sampled_from(
    [
        Places.of_propeller(2, 0.03, 0.13, usual=0.08, ring=Ring("hub", 0.018)),
        Places.of_propeller(3, 0.02, 0.06, first=0.4, faces=1, sanded_from=0.05),
    ]
)
parts = st.builds(
    Part, st.just("bell"), small, places, words, st.sampled_from(["cw", "ccw"]), small
) | st.builds(Part, st.just("propeller"), small, blades, words, st.sampled_from(["cw", "ccw"]), small)
jobs = st.builds(
    Job,
    part=parts,
    stock=st.builds(Stock, tapes) | st.builds(Stock, st.none(), washers=st.just((1e-5, 2e-5))),
    speed=st.none() | sizes,
    stand=st.builds(Stand, words, st.none() | small),
    limits=st.builds(Limits, st.none() | small, st.none() | sizes),
    below=st.sampled_from(["balanced", "unbalanced", "accepted"]),
    acknowledged=st.booleans(),
    check=st.none() | st.builds(SensorCheck, st.lists(findings, max_size=2).map(tuple), st.booleans()),
    set_up=st.none() | st.builds(SetUp, st.just("bench"), st.just(("x", "y")), rate=st.none() | sizes),
    known=st.none() | st.lists(vectors, min_size=2, max_size=2).map(tuple),
    hint=st.none() | st.lists(vectors, min_size=2, max_size=2).map(tuple),
    fitted=st.lists(pieces, max_size=3).map(tuple),
    runs=st.lists(runs, max_size=3).map(tuple),
)


def close(one, other):
    """The same but for the rounding of conversions between units."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-300)
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(close(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(close, one, other))
    return one == other


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs)
def test_every_job_comes_back(job):
    data = json.loads(json.dumps(job_to_data(job), allow_nan=False))
    again = job_from_data(data)
    assert close(job_to_data(again), data)
    assert [run.run.purpose for run in again.runs] == [run.run.purpose for run in job.runs]
    assert again.part.kind == job.part.kind
    assert again.part.places.blades_first == job.part.places.blades_first


def example():
    part = Part("propeller", 0.041, Places.of_propeller(2, 0.03, 0.13, ring=Ring("hub", 0.018)), "P-07")
    job = Job(part, Stock(Tape("test", 0.07, 0.006)), speed=540.0, acknowledged=True, check=SensorCheck())
    reading = UncertainComplex(2 + 1j, Covariance.circular(1e-4))
    job = job.with_run(JobRun(Run((reading,), (), "as-is", 540.0), "a.stream"))
    return job.with_run(JobRun(Run((reading,), (), "as-is", 541.0), "b.stream"))


def test_written_and_read_the_job_goes_on(tmp_path):
    job, file = example(), tmp_path / "p-07.json"
    write_job(job, file, new=True)
    again = read_job(file)
    assert next_step(again).why.code == next_step(job).why.code == "trial_next"
    assert next_step(again).pieces[0].mass.unbalance == pytest.approx(next_step(job).pieces[0].mass.unbalance)


def test_a_job_is_not_begun_over_another(tmp_path):
    file = tmp_path / "job.json"
    file.write_text("precious")
    with pytest.raises(OperationError, match="there is a file of this name already"):
        write_job(example(), file, new=True)
    assert file.read_text() == "precious"


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    file = tmp_path / "job.json"
    write_job(example(), file)
    before = file.read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OperationError, match="No space left on device"):
        write_job(replace(example(), acknowledged=False), file)
    assert file.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["job.json"]


def spoiled(*path, value=None, drop=False):
    data = copy.deepcopy(job_to_data(example()))
    place = data
    for key in path[:-1]:
        place = place[key]
    if drop:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return data


BAD = [
    ([], "this must be an object"),
    (spoiled("part", drop=True), "this lacks part"),
    (spoiled("colour", value="red"), "this has colour, which are not known"),
    (spoiled("part", "mass_g", value="41"), "part.mass_g must be a finite number, not '41'"),
    (spoiled("part", "mass_g", value=True), "part.mass_g must be a finite number, not 'True'"),
    (spoiled("part", "mass_g", value=10**400), "part.mass_g must be a finite number, not '1000"),
    (spoiled("part", "mass_g", value=0), "part: the mass of the part must be a number above 0"),
    (spoiled("part", "kind", value="wheel"), "part.kind must be propeller or bell or adapter"),
    (spoiled("runs", value={}), "runs must be a list"),
    (spoiled("runs", 1, "run", "speed_rpm", value=[]), r"runs\[1\].run.speed_rpm must be a finite number"),
    (spoiled("runs", 0, "run", "readings", 0, "var_re", value=-1), r"is not a covariance"),
    (spoiled("runs", 0, "run", "readings", 0, "re", drop=True), r"runs\[0\].run.readings\[0\] lacks re"),
    (spoiled("stock", "layers", value=1.5), "stock.layers must be a whole number"),
    (spoiled("cautions_acknowledged", value=1), "cautions_acknowledged must be true or false"),
    (spoiled("part", "places", "blades", value=[3]), r"part.places.blades\[0\] must be an object"),
]


@pytest.mark.parametrize(("data", "words"), BAD, ids=[words for _, words in BAD])
def test_what_cannot_be_used_is_named(data, words):
    with pytest.raises(InputError, match=words):
        job_from_data(data)


def test_no_json_is_refused_with_its_line(tmp_path):
    file = tmp_path / "job.json"
    file.write_text('{\n"form": "balancer job 1",\n"part": ]\n}')
    with pytest.raises(InputError, match=r"job\.json, line 3: this is not JSON"):
        read_job(file)


@pytest.mark.parametrize("text", ["[]", '{"form": "else"}', "{}", "3"])
def test_another_file_is_refused(tmp_path, text):
    file = tmp_path / "job.json"
    file.write_text(text)
    with pytest.raises(InputError, match=r'job\.json: this does not begin with "form": "balancer job 1"'):
        read_job(file)


@pytest.mark.parametrize(
    ("form", "todo"),
    [("balancer job 2", "open it with the newer program that wrote it"), ("balancer job 0", "give")],
)
def test_another_version_is_told_from_another_file(tmp_path, form, todo):
    file = tmp_path / "job.json"
    file.write_text(f'{{"form": "{form}"}}')
    with pytest.raises(
        InputError, match=f'this is "{form}", and this program reads "balancer job 1"; {todo}'
    ):
        read_job(file)


def test_half_a_character_is_written_and_comes_back(tmp_path):
    """Only JSON can hold one, so it goes as JSON writes it; all else stays readable."""
    write_json(tmp_path / "a.json", "a", {"é": "\ud800 ✓"})
    text = (tmp_path / "a.json").read_text("utf-8")
    assert '"é": "\\ud800 ✓"' in text
    assert read_json(tmp_path / "a.json", "a", "") == {"é": "\ud800 ✓"}

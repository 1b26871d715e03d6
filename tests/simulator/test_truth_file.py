"""The truth beside a recording: written in the trade's units, read back the same."""

import cmath
import json
import math
from dataclasses import replace

import pytest

from balancer.core.masses import Mass
from balancer.errors import InputError, OperationError
from balancer.simulator.truth_file import read_truth, truth_to_json, write_truth


@pytest.fixture
def truth(bench):
    pulled = replace(bench, rotor=replace(bench.rotor, magnet_pull=0.05j))
    return pulled.truth(speed=545.0, masses=[Mass(0.02e-3, 0.06, 1.0), Mass(-0.01e-3, 0.02, 4.0)])


def close(a, b):
    return pytest.approx(b, rel=1e-9) == a


def test_what_is_written_is_read_back(truth, tmp_path):
    path = tmp_path / "as-is.truth.json"
    write_truth(truth, path)
    again = read_truth(path)
    for name in ("speed", "bell", "propeller", "pull", "rotor_mass", "unbalance", "correction"):
        assert close(getattr(again, name), getattr(truth, name)), name
    assert again.channels == truth.channels
    assert all(map(close, again.influence, truth.influence))
    assert all(map(close, again.vectors, truth.vectors))
    assert [m.unbalance for m in again.masses] == pytest.approx([m.unbalance for m in truth.masses])


def test_the_figures_carry_the_trades_units(truth):
    data = truth_to_json(truth)
    assert data["speed_rpm"] == pytest.approx(545.0 * 30 / math.pi)
    assert data["bell"] == {
        "unbalance_gmm": pytest.approx(0.4),
        "angle_deg": pytest.approx(math.degrees(0.5)),
    }
    assert data["masses"][1]["mass_g"] == pytest.approx(-0.01)
    assert data["masses"][0]["radius_mm"] == pytest.approx(60.0)
    first = data["channels"][0]
    assert first["amplitude_m_s2"] == pytest.approx(abs(truth.vectors[0]))
    # V = H (U + pull / w^2) in the printed units
    felt = truth.unbalance + 0.05j / 545.0**2
    assert first["influence_m_s2_per_gmm"] * abs(felt) * 1e6 == pytest.approx(first["amplitude_m_s2"])
    turned = (first["influence_phase_deg"] + math.degrees(cmath.phase(felt)) - first["phase_deg"]) % 360
    assert min(turned, 360 - turned) == pytest.approx(0.0, abs=1e-9)
    assert data["correction"]["unbalance_gmm"] == pytest.approx(abs(felt) * 1e6)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfe\x00", "truth.json: is not a text file"),
        (b"", "truth.json, line 1: is not valid JSON"),
        (b'{"form": "balancer truth 1",\n "speed_rpm": }', "truth.json, line 2: is not valid JSON"),
        (b"[1, 2]", "is not a truth file"),
        (b'{"form": "something else"}', "is not a truth file"),
        (b'{"form": "balancer truth 1"}', "a value of the truth is missing or wrong"),
    ],
)
def test_other_files_are_refused(tmp_path, content, words):
    path = tmp_path / "truth.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=words):
        read_truth(path)


def test_a_wrong_number_is_refused(truth, tmp_path):
    data = truth_to_json(truth)
    data["speed_rpm"] = "fast"
    path = tmp_path / "truth.json"
    path.write_text(json.dumps(data))
    with pytest.raises(InputError, match="could not convert string to float: 'fast'"):
        read_truth(path)


def test_a_missing_file_is_named(tmp_path):
    path = tmp_path / "gone.json"
    with pytest.raises(InputError, match=r"gone\.json: cannot be read"):
        read_truth(path)


def test_a_place_that_cannot_be_written_is_an_operation_error(truth, tmp_path):
    path = tmp_path / "no folder" / "truth.json"
    with pytest.raises(OperationError, match="the truth could not be written"):
        write_truth(truth, path)

"""`balancer index`: the check set through the command line, in words and as JSON."""

import json

import pytest

import balancer.cli.index  # noqa: F401 - registers the command
from balancer.wording.indexing import TURNING_CAUTION

# Bloch and Geitner, Machinery Component Maintenance and Repair, p. 312 for the practice; numbers computed:
# kept 1.2 at 40, turned 0.8 at 170. With 2 units per g mm at 30 degrees: 0.6 g mm at 10, 0.4 g mm at 140
CHECK_SET = [(0, 0.919700, 81.7854), (120, 1.193030, 0.9409), (240, 1.992694, 43.9976)]
COEFFICIENT = "influence_amplitude = 2.000\ninfluence_phase_deg = 30.0\n"


@pytest.fixture
def indexed(tmp_path):
    def write(top="", readings=CHECK_SET):
        path = tmp_path / "index.toml"
        runs = [
            f"[[run]]\nindex_deg = {i}\namplitude = {a}\nphase_deg = {p}\n"
            "sd_amplitude = 0.001\nsd_phase_deg = 0.1\n"
            for i, a, p in readings
        ]
        path.write_text(top + "".join(runs))
        return path

    return write


def test_json(balancer, indexed):
    top = COEFFICIENT + "speed_rpm = 5200\nturned = 'A'\nturned_mass_g = 16\n"
    status, out, err = balancer("index", indexed(top), "--json")
    assert (status, err) == (0, "")
    data = json.loads(out)
    assert set(data) == {
        *("runs", "speed_rpm", "kept", "turned", "scatter"),
        *("positions", "any_position", "findings"),
    }
    assert data["kept"]["unbalance_gmm"] == pytest.approx(0.6, abs=1e-5)
    assert data["kept"]["angle_deg"] == pytest.approx(10, abs=1e-3)
    assert data["turned"]["unbalance_gmm"] == pytest.approx(0.4, abs=1e-5)
    assert data["turned"]["angle_deg"] == pytest.approx(140, abs=1e-3)
    assert data["turned"]["name"] == "A"
    # ISO 21940-11 (second hand): e_per[um] = 9549.3 G / n
    assert data["turned"]["permissible_gmm"] == pytest.approx(0.016 * 9549.3 * 6.3 / 5200, rel=1e-4)
    assert data["kept"]["amplitude"] is None
    assert data["scatter"]["redundant_numbers"] == 2
    assert data["positions"][0]["index_deg"] == pytest.approx(0)
    assert data["positions"][0]["unbalance_gmm"] == pytest.approx(0.919700 / 2, abs=1e-5)
    assert data["any_position"]["unbalance_gmm"] == pytest.approx(0.2, abs=1e-5)


def test_json_without_a_coefficient(balancer, indexed):
    _, out, _ = balancer("index", indexed(readings=[CHECK_SET[0], (180, 1.820481, 20.3281)]), "--json")
    data = json.loads(out)
    assert data["kept"]["amplitude"] == pytest.approx(1.2, abs=1e-5)
    assert data["turned"]["amplitude"] == pytest.approx(0.8, abs=1e-5)
    assert data["kept"]["unbalance_gmm"] is data["scatter"] is data["speed_rpm"] is None
    assert {"seating_scatter_untold", "index_without_influence"} == {f["code"] for f in data["findings"]}


def test_words(balancer, indexed):
    top = COEFFICIENT + "speed_rpm = 5200\nkept = 'bell 3'\nkept_mass_g = 25\n"
    status, out, _ = balancer("index", indexed(top))
    lines = out.splitlines()
    assert status == 0
    assert lines[0] == "3 runs at 5200 rpm."
    assert "against the rotation" in lines[1]
    assert lines[2].startswith("bell 3: heavy by 0.600 g mm at 10 deg (95 % within ")
    assert "permissible 0.289 g mm, counted from the mark" in lines[2]
    assert lines[3].startswith("turned part: heavy by 0.400 g mm at 140 deg")
    assert "Best of the positions: index 0 deg leaves 0.460 g mm." in lines
    assert "If every position were possible: index 50 deg would leave 0.200 g mm." in lines
    assert lines[-1] == TURNING_CAUTION


@pytest.mark.parametrize(
    ("grade", "verdict"), [(13, "above its"), (13.1, "not surely inside its"), (40, ", inside its")]
)
def test_a_part_is_inside_only_with_its_uncertainty(balancer, indexed, grade, verdict):
    # 0.6 g mm on 25 g at 5200 rpm is G13.07 (ISO 21940-11, second hand: e omega = G)
    top = COEFFICIENT + f"speed_rpm = 5200\nkept_mass_g = 25\ngrade = {grade}\n"
    assert verdict in balancer("index", indexed(top))[1].splitlines()[2]


def test_angles_with_the_rotation(balancer, indexed):
    _, out, _ = balancer("index", indexed(COEFFICIENT), "--angles", "with")
    assert "heavy by 0.600 g mm at 350 deg" in out
    assert "Angles count with the rotation" in out


def test_without_a_coefficient_it_says_vibration(balancer, indexed):
    _, out, _ = balancer("index", indexed())
    assert "heavy by 1.20 in vibration at 40 deg" in out
    assert "g mm" not in out.split("note:")[0]


def test_an_error_is_one_sentence_with_file_and_line(balancer, indexed):
    path = indexed("kept_mass_g = 'light'\n")
    status, out, err = balancer("index", path)
    assert (status, out) == (2, "")
    assert err.startswith(f"{path}, line 1: kept_mass_g = 'light' is not a number; ")
    assert err.count("\n") == 1


def test_help_warns_before_anything_is_turned(balancer):
    status, out, _ = balancer("index", "--help")
    assert status == 0
    assert "disarm and unplug" in " ".join(out.split())

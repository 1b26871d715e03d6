"""`balancer place`: from a correction to pieces, in words and as data."""

from __future__ import annotations

import json
import math

import pytest

import balancer.cli.place  # the command is there once it is imported
from balancer.units import degrees_0_360

assert balancer.cli.place

PROPELLER = ["--blades", 2, "--blade-mm", 40, 110, "--usual-mm", 60]
ALUMINIUM = ["--tape-g-m2", 145]
RUNS = """
speed_rpm = 5200
radius_mm = 60
rotor_mass_g = 40
[[run]]
amplitude = 7.0
phase_deg = 160
[[run]]
amplitude = 9.0
phase_deg = 100
masses = [{ mass_g = 0.030, angle_deg = 90 }]
"""


def placed(balancer, *arguments):
    status, out, err = balancer("place", *arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def vector(pieces):
    """Sum of what short pieces do, in g mm."""
    return sum(
        (-1 if p["kind"] == "removed" else 1)
        * p["mass_g"]
        * p["radius_mm"]
        * complex(math.cos(math.radians(p["angle_deg"])), math.sin(math.radians(p["angle_deg"])))
        for p in pieces
    )


def test_pieces_in_words_with_cautions_and_alternatives(balancer):
    status, out, err = balancer("place", "--gmm", 1.7, "--deg", 220, *PROPELLER, "--ring-mm", 18, *ALUMINIUM)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "To add: 1.70 g mm at 220 deg."
    assert any(line.startswith("  - blade 2: one layer of ") for line in lines)
    assert any(line.startswith("  - hub or bell rim: ") for line in lines)
    assert any(line.startswith("Hands add about ") for line in lines)
    assert any(line.startswith("Instead, one piece: ") for line in lines)
    assert lines[-1].startswith("Before you fit anything: disarm")


def test_what_lies_across_is_told(balancer):
    _, out, _ = balancer("place", "--gmm", 1.7, "--deg", 250, *PROPELLER, *ALUMINIUM, "--angles", "with")
    assert "To add: 1.70 g mm at 110 deg." in out
    assert "warning: 1.6 g mm lie across all places where masses may go" in out


def test_json_adds_up(balancer):
    data = placed(
        balancer, "--gmm", 1.7, "--deg", 20, *PROPELLER, "--drop-mg", 1, "--rotor-g", 40, "--rpm", 5200
    )
    best = data["recommended"]
    left = 1.7 * complex(math.cos(math.radians(20)), math.sin(math.radians(20))) - vector(best["put_on"])
    assert best["left_gmm"] == pytest.approx(abs(left), rel=1e-6)
    assert best["left_deg"] == pytest.approx(degrees_0_360(math.atan2(left.imag, left.real)), abs=1e-6)
    # e_per omega = G (ISO 21940-11)
    assert best["grade_mm_s"] == pytest.approx(best["left_gmm"] / 40 * 5200 * math.pi / 30)
    assert data["correction"] == {"unbalance_gmm": pytest.approx(1.7), "angle_deg": pytest.approx(20)}
    assert all(
        {"put_on", "take_off", "stays_on", "left_gmm", "hand_error_gmm"} <= set(one)
        for one in data["alternatives"]
    )


def test_a_runs_file_gives_the_correction_and_what_is_on(balancer, tmp_path):
    runs = tmp_path / "runs.toml"
    runs.write_text(RUNS)
    _, out, _ = balancer("solve", runs, "--json")
    wanted = json.loads(out)["next"]
    data = placed(balancer, runs, *PROPELLER, "--ring-mm", 18, *ALUMINIUM)
    assert data["correction"]["unbalance_gmm"] == pytest.approx(wanted["unbalance_gmm"])
    assert data["correction"]["angle_deg"] == pytest.approx(wanted["angle_deg"])
    every = [data["recommended"], *data["alternatives"]]
    assert any(piece["mass_g"] == pytest.approx(0.030) for one in every for piece in one["take_off"])


def test_slots_screws_and_sanding(balancer):
    bell = placed(balancer, "--gmm", 0.8, "--deg", 33, "--ring-mm", 14, "--slots", 12, 22, *ALUMINIUM)
    assert all(piece["where"].startswith("rim, slot ") for piece in bell["recommended"]["put_on"])
    screws = placed(balancer, "--gmm", 0.4, "--deg", 33, "--screws", 4, 9, "--drop-mg", 2, "--washer-mg", 40)
    assert {piece["where"] for piece in screws["recommended"]["put_on"]} <= {
        f"screw {n}" for n in (1, 2, 3, 4)
    }
    sanded = ["--gmm", 2, "--deg", 180, *PROPELLER, "--sand-from-mm", 90, "--sand-mg", 1]
    (piece,) = placed(balancer, *sanded)["recommended"]["put_on"]
    assert (piece["kind"], piece["where"]) == ("removed", "blade 1")
    _, out, _ = balancer("place", *sanded)
    assert "never the spar or the root" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--gmm", 2, *PROPELLER, *ALUMINIUM], "give a runs file, or --gmm and --deg"),
        (["--gmm", 2, "--deg", 3, "--blades", 2, *ALUMINIUM], "--blade-mm INNER OUTER"),
        (["--gmm", 2, "--deg", 3, *PROPELLER, "--slots", 3, 20, *ALUMINIUM], "--slots needs --ring-mm"),
        (["--gmm", 2, "--deg", 3, *ALUMINIUM], "no place for a mass on this part"),
        (["--gmm", 2, "--deg", 3, *PROPELLER], "nothing to put on or to take off"),
        (["--gmm", 2, "--deg", 3, *PROPELLER, "--sand-from-mm", 50, "--sand-mg", 1], "never at the spar"),
    ],
)
def test_refusals_are_one_sentence(balancer, arguments, words):
    status, out, err = balancer("place", *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1

"""`balancer match` on the example history: the table, the data, what is left out, what is refused."""

from __future__ import annotations

import json
import shutil

import pytest


@pytest.fixture
def matched(balancer, example_home):
    def run(*words):
        status, out, err = balancer("match", *words, "--home", example_home)
        assert (status, err) == (0, "")
        return out

    return run


def test_a_table_with_what_is_left_out_and_why(matched):
    lines = matched().splitlines()
    assert lines[0].startswith("warning: Left out: P4, for it crashed or was repaired")
    assert lines[1] == "note: So arm 4 is left as it is."
    assert "what its last job left, measured at 5200 rpm" in lines[2]
    head = next(line for line in lines if line.startswith("motor  propeller"))
    rows = lines[lines.index(head) + 1 :][:5]
    assert [row[:5] for row in rows] == ["arm 1", "arm 2", "arm 3", "arm 5", "arm 6"]
    assert max(map(len, [head, *rows])) <= 100


def test_data_with_units_in_their_names(matched):
    data = json.loads(matched("--json"))
    assert data["arrangements"][0]["motors_touched"] == 0
    chosen = data["arrangements"][data["recommended"]]
    assert {pairing["motor"] for pairing in chosen["pairings"]} == {f"arm {n}" for n in (1, 2, 3, 5, 6)}
    assert all(pairing["left"]["unbalance_gmm"] < 0.5 for pairing in chosen["pairings"])
    assert chosen["worst_n"] <= data["arrangements"][0]["worst_n"]
    assert [found["code"] for found in data["left_out"]] == ["own_disturbed", "arm_left_out"]
    assert {own["part"]: own["bell"] for own in data["own"]}["P8"] == "M2"


@pytest.fixture
def own_copy(balancer, example_home, tmp_path):
    """A copy of the example to change; gives what runs a command on it."""
    shutil.copytree(example_home, tmp_path / "home")

    def run(*words):
        status, out, err = balancer(*words, "--home", tmp_path / "home")
        assert (status, err) == (0, "")
        return out

    return run


def test_how_a_propeller_is_turned_is_what_was_noted(own_copy):
    assert "Marks of propeller and bell are taken to be in line now" in own_copy("match")
    before = {one["propeller"]: one for one in json.loads(own_copy("match", "--json"))["fitted"]}
    assert before["P2"] == {"motor": "arm 2", "propeller": "P2", "mark_at_deg": 0.0, "assumed": True}
    own_copy("parts", "move", "P2", "--arm", 2, "--turned-deg", 180)
    out = own_copy("match")
    assert "The marks of P1, P7, P9, P6 are taken to be in line with those of their bells now" in out
    # it was trimmed with marks in line: turned by half a turn it is to be turned back
    assert "turn it on the hub to 0 deg" in next(
        line for line in out.splitlines() if line.startswith("arm 2")
    )
    after = {one["propeller"]: one for one in json.loads(own_copy("match", "--json"))["fitted"]}
    assert (after["P2"]["mark_at_deg"], after["P2"]["assumed"]) == (pytest.approx(180), False)
    for arm, label in ((1, "P1"), (3, "P7"), (5, "P9"), (6, "P6")):
        own_copy("parts", "move", label, "--arm", arm, "--turned-deg", 0)
    assert "How the propellers are turned on their hubs is known." in own_copy("match")


def test_a_free_hub_leaves_no_more_than_two_positions(matched):
    worst = [
        json.loads(matched("--json", "--positions", many))["arrangements"][-1]["worst_n"]
        for many in ("2", "6", "free")
    ]
    assert worst[0] >= worst[1] >= worst[2]


def test_goals_measures_and_speed(matched):
    by_sum = json.loads(matched("--json", "--goal", "sum"))["arrangements"][-1]
    by_worst = json.loads(matched("--json"))["arrangements"][-1]
    assert by_sum["sum_n"] <= by_worst["sum_n"]
    assert by_worst["worst_n"] <= by_sum["worst_n"]
    assert "worst_gmm" in json.loads(matched("--json", "--measure", "unbalance"))["arrangements"][0]
    faster = json.loads(matched("--json", "--rpm", 7353.9))["arrangements"][0]
    slower = json.loads(matched("--json", "--rpm", 5200))["arrangements"][0]
    assert faster["worst_n"] == pytest.approx(2 * slower["worst_n"], rel=1e-3)


def test_tape_takes_away_what_turning_cannot(matched):
    tape = ["--tape", "polyimide", "--tape-width-mm", 5, "--pieces", 1]
    taped, bare = (json.loads(matched("--json", *words))["arrangements"][0] for words in (tape, []))
    assert taped["sum_n"] < bare["sum_n"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["Gull"], 'there is no machine "Gull" in the history'),
        (["--positions", "many"], "'many' is neither a number from 1 to 72 nor free"),
    ],
)
def test_what_is_refused(balancer, example_home, words, sentence):
    status, out, err = balancer("match", *words, "--home", example_home)
    assert (status, out) == (2, "")
    assert sentence in err


def test_an_empty_machine_says_what_to_do_first(balancer, tmp_path):
    balancer("machines", "add", "Tern", "--arms", 4, "--home", tmp_path)
    status, _, err = balancer("match", "--home", tmp_path)
    assert status == 2
    assert err == (
        "the history knows the own unbalance of bell and propeller for no arm of Tern; balance the bare "
        "bells, then each propeller on a bell, and keep the jobs with job save.\n"
    )

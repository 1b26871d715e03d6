"""`balancer parts` and `balancer machines`: lists, pages, changes, and what they refuse in one sentence."""

from __future__ import annotations

import json
import shutil

import pytest
from click.testing import CliRunner

from balancer.cli import commands

MOTOR = ["--kind", "bell", "--mass-g", 25, "--ring-mm", 18]
PROPELLER = ["--kind", "propeller", "--mass-g", 16, "--diameter-in", 12, "--pitch-in", 4.5, "--blades", 2]
NAMES = ['M"1"', "🛸<P>", "مروحة", "../../x", "a;b|c"]
BUILD = [
    ["machines", "add", "Tern", "--arms", 4],
    ["parts", "add", "M1", *MOTOR, "--arm", 1],
    ["parts", "add", "P1", *PROPELLER, "--hand", "ccw", "--blade-mm", 40, 80, "--arm", 1],
    ["parts", "add", "P10", *PROPELLER, "--hand", "ccw"],
    ["parts", "add", "P2", *PROPELLER, "--hand", "cw", "--words", "from the first bag"],
]


@pytest.fixture
def call(balancer, tmp_path):
    """Run a command on a history of its own; gives what it prints, or its one sentence where it fails."""

    def run(*words, fails=None):
        home = [] if "--home" in words else ["--home", tmp_path / "home"]
        status, out, err = balancer(*words, *home)
        if fails is None:
            assert (status, err) == (0, "")
            return out
        assert status == fails
        assert out == ""
        assert err.endswith(".\n")
        assert err.count("\n") == 1
        return err

    return run


@pytest.fixture(scope="module")
def once(tmp_path_factory):
    home = tmp_path_factory.mktemp("built") / "home"
    for words in BUILD:
        arguments = [*map(str, words), "--home", str(home)]
        CliRunner().invoke(commands, arguments, standalone_mode=False, catch_exceptions=False)
    return home


@pytest.fixture
def built(call, once, tmp_path):
    shutil.copytree(once, tmp_path / "home")
    return call


def listed(call, *words):
    return json.loads(call("parts", *words, "--json"))["parts"]


def test_a_list_is_a_table_of_aligned_columns(built):
    lines = built("parts").splitlines()
    where = lines[0].index("where")
    assert [line.split()[0] for line in lines[1:5]] == ["M1", "P1", "P2", "P10"]
    assert [line[where:].split("  ")[0] for line in lines[1:5]] == [*["Tern, arm 1"] * 2, "spare", "spare"]
    assert lines[-1] == "4 parts, 4 due."
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize(
    ("words", "labels"),
    [
        (["--kind", "bell"], ["M1"]),
        (["--state", "spare"], ["P2", "P10"]),
        (["--machine", "tern"], ["M1", "P1"]),
        (["--due", 3], ["M1", "P1", "P2", "P10"]),
        (["--state", "retired"], []),
    ],
)
def test_a_list_can_be_narrowed(built, words, labels):
    assert [part["label"] for part in listed(built, *words)] == labels


def test_a_checked_part_is_no_longer_due_until_it_crashes(built):
    assert "Nothing is due before" in built("parts", "event", "P1", "checked", "--words", "looks fine")
    assert [part["label"] for part in listed(built, "--due", 3)] == ["M1", "P2", "P10"]
    assert "crashed 0 days ago" in built("parts", "event", "P1", "crashed", "--words", "a fence")
    assert listed(built, "--due", 3)[1]["due"] == "disturbed"


def test_an_old_check_is_due_by_time(built):
    built("parts", "event", "P1", "checked", "--day", "2020-02-29")
    assert "Due for a check by time" in built("parts", "show", "P1")
    assert {part["due"] for part in listed(built) if part["label"] == "P1"} == {"age"}


def test_a_page_has_its_facts_and_what_happened(built):
    built("parts", "event", "P1", "crashed", "--day", "2026-05-31", "--words", 'a "gust" <at> the cliff')
    out = built("parts", "show", "p1")
    assert out.startswith("P1: propeller, 12 x 4.5 in, 2 blades, ccw, 16.0 g\n  now: arm 1 of Tern;")
    assert '  2026-05-31  CRASHED: a "gust" <at> the cliff' in out
    page = json.loads(built("parts", "show", "P1", "--json"))
    assert page["part"]["machine"] == "Tern"
    assert page["part"]["sizes"]["diameter_mm"] == pytest.approx(304.8)
    assert [event["kind"] for event in page["events"]] == ["crashed"]
    assert [reason["reason"] for reason in page["due"]["reasons"]] == ["crashed", "never_checked"]


def test_a_part_moves_and_its_place_is_free(built):
    assert "now: spare" in built("parts", "move", "P1", "--spare")
    assert "now: arm 3 of Tern" in built("parts", "move", "P10", "--machine", "TERN", "--arm", 3)
    assert "now: retired" in built("parts", "move", "P2", "--retired", "--words", "a crack at the root")
    built("parts", "add", "P2", *PROPELLER, "--hand", "cw")  # the label is free again
    assert "arm 3, ccw: P10" in built("machines")
    assert {part["state"] for part in listed(built) if part["label"] == "P2"} == {"spare", "retired"}


def test_a_moved_part_is_due(built):
    built("parts", "event", "P1", "checked")
    assert [part["label"] for part in listed(built, "--due", 3)] == ["M1", "P2", "P10"]
    built("parts", "move", "P1", "--arm", 1, "--turned-deg", 180)
    part = listed(built, "--due", 3)[1]
    assert (part["label"], part["due"], part["moved_at"] > part["looked_at"]) == ("P1", "moved", True)
    row = next(line for line in built("parts").splitlines() if line.startswith("P1 "))
    assert row.endswith("moved")
    shown = json.loads(built("parts", "show", "P1", "--json"))
    assert [reason["reason"] for reason in shown["due"]["reasons"]] == ["moved"]
    built("parts", "event", "P1", "checked")
    assert "P1" not in [part["label"] for part in listed(built, "--due", 3)]


def test_a_propeller_is_turned_on_its_hub(built):
    out = built("parts", "move", "P1", "--arm", 1, "--turned-deg", 180, "--words", "for the footage")
    assert "now: arm 1 of Tern, its mark at 180 deg from that of the bell; wanted grade" in out
    page = json.loads(built("parts", "show", "P1", "--json"))
    assert page["part"]["now"]["turned_deg"] == pytest.approx(180)
    assert page["events"][0]["now"]["turned_deg"] == pytest.approx(180)
    told = built("parts", "show", "P1", "--angles", "with")
    assert "moved, its mark at 180 deg from that of the bell: for the footage" in told
    built("parts", "move", "P1", "--arm", 1, "--turned-deg", -90)
    assert "its mark at 270 deg" in built("parts", "show", "P1")
    assert "its mark at 90 deg" in built("parts", "show", "P1", "--angles", "with").split("What happened")[0]
    # what is not said is not known
    assert "now: arm 1 of Tern; " in built("parts", "move", "P1", "--arm", 1)


def test_what_is_not_named_stays_as_it_is(built):
    built("parts", "change", "P1", "--mass-g", 15.5, "--label", "P1b", "--material", "carbon")
    page = json.loads(built("parts", "show", "P1b", "--json"))["part"]
    assert page["mass_g"] == pytest.approx(15.5)
    assert (page["sizes"]["material"], page["sizes"]["blades"]) == ("carbon", 2)
    assert page["places"]["blades"][0]["inner_mm"] == pytest.approx(40)


@pytest.mark.parametrize("name", NAMES)
def test_any_label_is_kept_and_shown_as_it_is(call, tmp_path, name):
    call("parts", "add", name, *MOTOR, "--words", name)
    assert [part["label"] for part in listed(call)] == [name]
    assert f"  {name}\n" in call("parts", "show", name)
    # a name is never a path
    assert {path.name for path in tmp_path.iterdir()} == {"home"}


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        (["parts", "show", "nope"], 2, 'there is no part "nope" in the history; look at balancer parts.'),
        (["parts", "add", "P1", *PROPELLER, "--hand", "cw"], 2, 'a part in use with the label "P1"'),
        (["parts", "add", "P3", "--kind", "propeller"], 2, "a propeller needs its diameter, blades, hand"),
        (["parts", "add", "a label far too long", *MOTOR], 2, "longer than 12 characters"),
        (["parts", "add", "M2", *MOTOR, "--arm", 1], 2, "arm 1 of Tern carries bell M1 already"),
        (["parts", "move", "P2", "--arm", 1], 2, "propeller P2 turns cw, but arm 1 of Tern turns ccw"),
        (["parts", "move", "P2", "--arm", 9], 2, "Tern has no arm 9; choose one of 1, 2, 3, 4"),
        (["parts", "move", "P2", "--arm", 1, "--spare"], 2, "say one of: --arm"),
        (["parts", "move", "P10", "--spare", "--turned-deg", 90], 2, "--turned-deg belongs to --arm"),
        (["parts", "move", "M1", "--arm", 2, "--turned-deg", 90], 2, "only a propeller is turned on a hub"),
        (["parts", "move", "P10", "--arm", 3, "--turned-deg", "nan"], 2, "a mark stands at 0 to 360 degrees"),
        (["parts", "move", "P2", "--machine", "Gull", "--arm", 1], 2, 'there is no machine "Gull"'),
        (["parts", "event", "P1", "crashed", "--day", "2100-01-01"], 2, "this day is in the future"),
        (["parts", "event", "P1", "crashed", "--day", "31.5."], 2, "does not match the format"),
        (["parts", "add", "M3", *MOTOR, "--photo", "none.jpg"], 2, "none.jpg"),
        (["parts", "--json", "show", "P1"], 2, "belong after show"),
        (["machines", "add", "Gull", "--arms", 4, "--hands", "ccw,cw"], 2, "names 2 arms, but there are 4"),
        (["machines", "add", "tern", "--arms", 4], 2, 'there is a machine "tern" already'),
        (["machines", "change", "Tern", "--hands", "up,cw,cw,cw"], 2, "takes ccw and cw only"),
    ],
)
def test_what_cannot_be_is_one_sentence(built, words, status, sentence):
    assert sentence in built(*words, fails=status)


def test_a_folder_that_was_mistyped_does_not_become_a_history(call, tmp_path):
    assert "there is no history here yet" in call("parts", "--home", tmp_path / "typo", fails=2)
    assert not (tmp_path / "typo").exists()


def test_the_folder_may_stand_before_or_after_the_command(balancer, tmp_path):
    balancer("machines", "--home", tmp_path / "h", "add", "Tern", "--arms", 4)
    status, out, _ = balancer("machines", "--home", tmp_path / "h")
    assert (status, out.splitlines()[0]) == (0, "Tern: 4 arms")


def test_a_machine_gets_another_name_and_hands(built):
    assert built("machines", "change", "Tern", "--name", "Gull", "--hands", "ccw,ccw,cw,cw").startswith(
        "Gull"
    )
    shown = json.loads(built("machines", "--json"))["machines"][0]
    assert [arm["hand"] for arm in shown["arms"]] == ["ccw", "ccw", "cw", "cw"]
    assert shown["fitted"] == [{"part": "M1", "arm": 1}, {"part": "P1", "arm": 1}]


def test_a_story_of_a_year(balancer, example_home):
    status, out, err = balancer("parts", "show", "P6", "--home", example_home)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert sum("good, on M6" in line for line in lines) == 3
    assert any(line.startswith("warning: It has changed since last time: by 0.") for line in lines)
    assert any("CRASHED: tipped over on landing" in line for line in lines)
    page = json.loads(balancer("parts", "show", "P6", "--json", "--home", example_home)[1])
    assert [job["bell"] for job in page["jobs"]] == ["M6"] * 3
    last = page["jobs"][-1]
    assert last["left"]["unbalance_gmm"] < last["permissible_gmm"] < last["found"]["unbalance_gmm"]
    assert page["change"]["state"] == "changed"

"""`balancer history`, `job start --for` and `job save`, `demo --home`: the whole way of a job."""

from __future__ import annotations

import json
import shutil

import pytest
from click.testing import CliRunner

from balancer.cli import commands
from balancer.history.store import DATABASE

PROPELLER = ["--kind", "propeller", "--mass-g", 16, "--diameter-in", 12, "--blades", 2, "--hand", "cw"]


def invoke(*words, **more):
    result = CliRunner().invoke(commands, [*map(str, words)], standalone_mode=False, **more)
    assert result.exception is None, result.exception
    return result.output


@pytest.fixture
def call(balancer, tmp_path, monkeypatch):
    """Run a command in an empty folder on a history of its own there."""
    monkeypatch.chdir(tmp_path)

    def run(*words, fails=None):
        home = [] if "--home" in words else ["--home", "home"]
        status, out, err = balancer(*words, *home)
        if fails is None:
            assert (status, err) == (0, "")
            return out
        assert status == fails
        assert err.endswith(".\n")
        return err

    return run


@pytest.fixture(scope="module")
def benched(tmp_path_factory):
    """A folder with a history, and a finished job of its propeller on the simulated bench."""
    folder = tmp_path_factory.mktemp("benched")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        home = ["--home", "home"]
        invoke("machines", "add", "Tern", "--arms", 2, *home)
        invoke("parts", "add", "M2", "--kind", "bell", "--mass-g", 25, "--ring-mm", 18, "--arm", 2, *home)
        places = ["--blade-mm", 30, 130, "--ring-mm", 18]
        invoke("parts", "add", "P2", *PROPELLER, *places, "--arm", 2, *home)
        tape = ["--tape", "aluminium", "--moving-g", 260, "--stand", "bench"]
        words = ["--for", "P2", "--on", "M2", "--rpm", 5200, "--bell", "accepted", *tape]
        invoke("job", "start", "p.json", *words, *home)
        invoke("job", "acknowledge", "p.json")
        invoke("job", "check", "p.json", "--skip")
        for number in range(12):
            step = json.loads(invoke("job", "next", "p.json", "--json"))
            if step["action"] not in {"spin", "fit"}:
                break
            if step["action"] == "fit":
                invoke("job", "fit", "p.json")
            else:
                invoke("job", "add", "p.json", spin(folder, number))
        assert step["action"] == "done"
    return folder


def spin(folder, number):
    """Record what is on in the job's file on the simulated bench."""
    masses = []
    for piece in json.loads((folder / "p.json").read_text())["fitted"]:
        masses += ["--mass", piece["mass_g"], piece["radius_mm"], piece["angle_deg"]]
    name = f"{number}.stream.csv"
    invoke("simulate", name, "--seed", 3, "--run", number, "--seconds", 4, *masses)
    return name


@pytest.fixture
def bench(call, benched, tmp_path):
    shutil.copytree(benched, tmp_path, dirs_exist_ok=True)
    return call


def story(call, label):
    return json.loads(call("parts", "show", label, "--json"))


def test_a_job_begins_with_what_the_history_knows(benched):
    part = json.loads((benched / "p.json").read_text())["part"]
    assert (part["name"], part["mass_g"], part["hand"]) == ("P2", 41.0, "cw")
    assert part["places"]["rings"][0]["name"] == "hub"


def test_a_job_is_kept_with_its_recordings_and_only_once(bench, tmp_path):
    out = bench("job", "save", "p.json", "--on", "M2")
    assert "The job is kept in the history of P2:" in out
    assert "The stand bench is new and was added." in out
    assert "P2 counts as balanced." in out
    page = story(bench, "P2")
    fitted = json.loads((tmp_path / "p.json").read_text())["fitted"]
    assert [piece["where"] for piece in page["part"]["pieces"]] == [piece["where"] for piece in fitted]
    assert (page["jobs"][0]["bell"], page["jobs"][0]["good"]) == ("M2", True)
    # again: nothing is doubled
    assert "no new runs" in bench("job", "save", "p.json", "--on", "M2")
    again = story(bench, "P2")
    assert (again["runs"], len(again["jobs"]), again["part"]["pieces"]) == (
        page["runs"],
        1,
        page["part"]["pieces"],
    )
    assert [event["kind"] for event in again["events"]] == ["balanced"]
    assert [event["words"] for event in story(bench, "M2")["events"]] == ["P2 on the stand"]
    assert json.loads(bench("history", "recompute", "--json"))["differ"] == []
    assert len(json.loads(bench("history", "stands", "--json"))["stands"][0]["coefficients"]) == 1


def test_a_job_that_grows_is_kept_run_by_run(bench, tmp_path):
    whole = json.loads((tmp_path / "p.json").read_text())
    early = {**whole, "runs": whole["runs"][:2], "fitted": []}
    (tmp_path / "early.json").write_text(json.dumps(early))
    out = bench("job", "save", "early.json", "--for", "P2")
    assert "2 new runs" in out
    assert "It is not done yet" in out
    assert story(bench, "P2")["part"]["pieces"] == []
    kept = json.loads(bench("job", "save", "p.json", "--on", "M2", "--json"))
    assert (kept["new_runs"], kept["event"]) == (len(whole["runs"]) - 2, "balanced")
    page = story(bench, "P2")
    assert (len(page["jobs"]), page["runs"]) == (1, len(whole["runs"]))
    assert len(page["part"]["pieces"]) == len(whole["fitted"])


def test_a_recording_that_is_gone_or_replaced_is_told(bench, tmp_path):
    (tmp_path / "0.stream.csv").rename(tmp_path / "elsewhere")
    assert bench("job", "save", "p.json", fails=2).startswith(
        "0.stream.csv: the recording of this run is gone"
    )
    shutil.copy(tmp_path / "1.stream.csv", tmp_path / "0.stream.csv")
    assert "another recording than the one" in bench("job", "save", "p.json", fails=2)
    assert story(bench, "P2")["runs"] == 0
    (tmp_path / "0.stream.csv").unlink()
    assert "P2 counts as balanced" in bench("job", "save", "p.json", "--without-recordings")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["job", "save", "p.json", "--for", "M2"], "p.json: the job is about a propeller, but M2 is a bell"),
        (["job", "save", "p.json", "--on", "P2"], "p.json: P2, a propeller, cannot stand on P2, a propeller"),
        (["job", "save", "p.json", "--for", "X"], 'there is no part "X" in the history'),
        (
            ["job", "start", "q.json", "--for", "P2", "--rpm", "5200", "--tape", "vinyl"],
            "name it with --on BELL",
        ),
        (
            ["job", "start", "q.json", "--for", "M2", "--rpm", "5200", "--tape", "vinyl", "--ring-mm", "9"],
            "the history tells this of M2: leave out --ring-mm",
        ),
        (["job", "start", "q.json", "--rpm", "5200", "--tape", "vinyl", "--ring-mm", "9"], "give --mass-g"),
    ],
)
def test_what_does_not_fit_is_one_sentence(bench, words, sentence):
    assert sentence in bench(*words, fails=2)


def test_a_job_of_another_day(bench):
    bench("job", "save", "p.json", "--day", "2025-03-01")
    assert story(bench, "P2")["jobs"][0]["started_at"][:10] in {"2025-02-28", "2025-03-01"}


def test_a_backup_is_a_history(bench):
    bench("job", "save", "p.json")
    assert "open it with --home" in bench("history", "backup", "copy")
    assert "The history is sound" in bench("history", "check", "--home", "copy")
    assert "there is something of this name already" in bench("history", "backup", "copy", fails=1)


def test_an_archive_goes_to_another_computer_and_nothing_is_doubled(bench):
    bench("job", "save", "p.json", "--on", "M2")
    assert bench("history", "export", "all.zip").startswith("all.zip: 1 machine, 1 stand, 2 parts, 1 job, ")
    assert "there is a file of this name already" in bench("history", "export", "all.zip", fails=1)
    assert "New: " in bench("history", "import", "all.zip", "--home", "other")
    again = json.loads(bench("history", "import", "all.zip", "--home", "other", "--json"))
    assert (again["added"], again["updated"], again["files"]) == ({}, {}, 0)
    assert json.loads(bench("parts", "show", "P2", "--json", "--home", "other")) == story(bench, "P2")
    assert bench("history", "import", "p.json", fails=2).startswith("p.json: ")


def test_removed_restored_purged(bench):
    bench("job", "save", "p.json")
    assert "balancer history restore part P2" in bench("history", "remove", "part", "P2")
    assert 'there is no part "P2"' in bench("parts", "show", "P2", fails=2)
    assert "  part P2" in bench("history", "marked")
    bench("history", "restore", "part", "p2")
    assert story(bench, "P2")["jobs"]
    bench("history", "remove", "job", "P2", "--number", 1)
    assert story(bench, "P2")["jobs"] == []
    assert "there is no job 2 of P2" in bench("history", "remove", "job", "P2", "--number", 2, fails=2)
    assert "parts are fitted to it: M2, P2" in bench("history", "remove", "machine", "Tern", fails=2)


def test_a_purge_asks_and_takes_no_for_an_answer(bench):
    bench("job", "save", "p.json")
    bench("history", "remove", "part", "P2")
    out = invoke("history", "purge", "--home", "home", input="n\n")
    assert "Marked as removed" in out
    assert out.endswith("Nothing was deleted.\n")
    assert "so it needs --yes" in bench("history", "purge", "--json", fails=2)
    gone = json.loads(bench("history", "purge", "--yes", "--json"))
    # the part itself stays, for the stand's coefficient says which of its jobs found it
    assert (gone["records"]["runs"], gone["records"]["parts"]) == (gone["files"], 0)
    assert gone["files"] >= 4
    assert "Nothing is marked" in bench("history", "purge")


def test_a_lost_file_is_found_out(bench, tmp_path):
    bench("job", "save", "p.json")
    next(path for path in (tmp_path / "home" / "files").rglob("*") if path.is_file()).unlink()
    status = CliRunner().invoke(commands, ["history", "check", "--home", "home"])
    assert status.exit_code == 1
    assert "The history is NOT sound" in status.output
    assert "cannot be read" in bench("history", "recompute")


def test_stands_and_a_coefficient_from_a_job_file(bench):
    assert "no influence coefficients yet" in bench("history", "stands", "add", "bench", "--moving-g", 260)
    assert "influence coefficient of bench at 52" in bench("history", "stands", "take", "bench", "p.json")
    assert "yes" in bench("history", "stands").splitlines()[2].split()
    assert 'there is no stand "x"' in bench("history", "stands", "take", "x", "p.json", fails=2)
    assert 'there is a stand "Bench" already' in bench("history", "stands", "add", "Bench", fails=2)


def test_an_example_does_not_go_into_a_history_in_use(bench, tmp_path):
    before = (tmp_path / "home" / DATABASE).read_bytes()
    assert "there is something in this history already" in bench("demo", fails=1)
    assert (tmp_path / "home" / DATABASE).read_bytes() == before


def test_nothing_of_the_example_is_wider_than_a_page(balancer, example_home):
    for words in (["parts"], ["machines"], ["parts", "--due", 6]):
        lines = balancer(*words, "--home", example_home)[1].splitlines()
        assert max(map(len, lines)) <= 100
    assert balancer("history", "check", "--quick", "--home", example_home)[0] == 0

"""The commands that deal with boards: `ports` and `record`."""

import json
import re

import pytest

from balancer.live import ports as ports_module
from balancer.procedure.measure import measure
from balancer.recording.files import read
from balancer.simulator.presets import coastal_bell, coastal_propeller


def test_ports_lists_what_is_there_or_says_what_to_do(balancer, monkeypatch):
    monkeypatch.setattr(ports_module.list_ports, "comports", list)
    status, out, _ = balancer("ports")
    assert status == 0
    assert out.startswith("No serial port is there: plug the board in")
    assert json.loads(balancer("ports", "--json")[1]) == {"ports": []}


def test_record_prints_the_cautions_first_and_one_object(balancer, tmp_path):
    out = tmp_path / "run.stream"
    status, printed, words = balancer(
        "record", "--source", "simulated:2", "--out", out, "--seconds", 1.5, "--json"
    )
    assert status == 0
    assert words.startswith("Before any propeller turns:\n  - Stay out of the plane of the propeller")
    end = json.loads(printed)
    assert end["state"] == "finished"
    assert end["samples"] == read(out).times.size
    assert [channel["name"] for channel in end["channels"]] == ["x", "y", "z"]
    assert 5000 < end["speed_rpm"] < 5400


def test_record_tells_a_person_what_it_has(balancer, tmp_path):
    first, second = tmp_path / "one.stream", tmp_path / "two.stream"
    balancer("record", "--source", "simulated", "--out", first, "--seconds", 1.2, "--replay-speed", 4)
    status, printed, _ = balancer(
        "record", "--source", f"file:{first}", "--out", second, "--replay-speed", "inf"
    )
    assert status == 0
    assert second.read_bytes() == first.read_bytes()
    assert re.search(r"\d+ rpm at the end, \d+ revolutions; 1x over all of them:\n  x: \d", printed)


@pytest.mark.parametrize(
    ("name", "bench"),
    [
        ("simulated", coastal_propeller(1)),
        ("simulated:4", coastal_propeller(4)),
        ("simulated:propeller:4", coastal_propeller(4)),
        ("simulated:bell:4", coastal_bell(4)),
    ],
)
def test_a_simulated_part_by_its_name_shows_what_it_hides(balancer, tmp_path, name, bench):
    out = tmp_path / "run.stream"
    balancer("record", "--source", name, "--out", out, "--seconds", 2, "--replay-speed", "inf")
    measured = measure(read(out))
    truth = bench.truth(speed=measured.speed).vectors
    for channel, true in zip(measured.channels, truth, strict=True):
        assert abs(channel.once.value - true) < 0.05 * abs(true) + 0.02


@pytest.mark.parametrize(
    ("arguments", "status", "sentence"),
    [
        (("--source", "file:{there}", "--out", "{there}"), 1, "there is a file of this name already"),
        (
            ("--source", "file:{there}", "--out", "{new}", "--seconds", "60", "--replay-speed", "inf"),
            1,
            "ended too early",
        ),
        (("--source", "/dev/nowhere", "--out", "{new}"), 2, "there is no such port; see balancer ports"),
        (("--source", "file:nowhere", "--out", "{new}"), 2, "the file cannot be read"),
        (("--source", "simulated:x", "--out", "{new}"), 2, "write simulated:propeller:1 or simulated:bell:1"),
        (("--source", "simulated:bell:10000", "--out", "{new}"), 2, "another number up to 9999"),
        (("--source", "simulated", "--out", "{new}/no/such/folder.stream"), 1, "the file cannot be made"),
        (("--source", "simulated"), 2, "Missing option '--out'"),
    ],
)
def test_what_goes_wrong_is_said_in_one_sentence(balancer, tmp_path, arguments, status, sentence):
    there, new = tmp_path / "there.stream", tmp_path / "new.stream"
    balancer("record", "--source", "simulated", "--out", there, "--seconds", 0.3, "--replay-speed", 4)
    named = [argument.format(there=there, new=new) for argument in arguments]
    ended, _, words = balancer("record", *named)
    assert ended == status
    assert sentence in words.splitlines()[-1]
    assert words.splitlines()[-1].endswith(".")
    assert "Traceback" not in words

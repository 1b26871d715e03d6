"""`balancer diagnose`: for, against, what cannot be told, and the cautions."""

import json
from dataclasses import replace

import pytest

from balancer.cli import diagnose as _diagnose  # noqa: F401  the command is there once its module is
from balancer.recording.files import write
from balancer.simulator import faults
from balancer.simulator.motion import Motion
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.wording.sentences.symptoms import SENTENCES
from balancer.wording.symptoms import LOOKING_CAUTION


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A sound propeller twice, one with a slip, and a coast-down with magnet pull."""
    folder = tmp_path_factory.mktemp("diagnose")
    bench = coastal_propeller(3)
    bench = replace(bench, electric=bench.electric[:2])
    unbalance = bench.rotor.unbalance
    pulled = faults.off_centre_bell(bench, 0.7j * unbalance * COASTAL_SPEED**2)
    coast = Motion.coast(COASTAL_SPEED, cut=3.0, end=4.5, wander=0.003)
    runs = {
        "sound": bench.record(speed=COASTAL_SPEED, duration=4.0, seed=1),
        "again": bench.record(speed=COASTAL_SPEED, duration=4.0, seed=2),
        "slip": faults.slipping(bench, 0.5j * unbalance, 2.0).record(
            speed=COASTAL_SPEED, duration=4.0, seed=3
        ),
        "pull": pulled.record(speed=coast, duration=4.5, seed=4),
    }
    for name, recording in runs.items():
        write(recording, folder / f"{name}.stream")
    return {name: folder / f"{name}.stream" for name in runs}


def test_a_sound_propeller_in_words(balancer, files):
    status, out, err = balancer("diagnose", files["sound"], "--blades", 2, "--magnets", 14, "--axial", "z")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].endswith("is it unbalance?")
    assert lines[1].strip() == "Speaks for unbalance:"
    assert "Nothing in this recording speaks against unbalance" in lines[2]
    assert "Cannot be told from this recording:" in out
    assert "Speaks against" not in out
    assert lines[-1] == LOOKING_CAUTION


def test_a_slip_in_words(balancer, files):
    out = balancer("diagnose", files["slip"], "--blades", 2, "--axial", "none")[1]
    against = out[out.index("Speaks against it") : out.index("Cannot be told")]
    assert "warning: 1x changed by" in against
    assert "a piece of tape came off" in against
    assert "Nothing in this recording" not in out
    assert "Which channel lies along the shaft was not said" in out


def test_magnet_pull_as_json(balancer, files):
    status, out, _ = balancer(
        "diagnose", files["pull"], "--blades", 2, "--magnets", 14, "--axial", "z", "--json"
    )
    (found,) = json.loads(out)["recordings"]
    assert status == 0
    assert found["file"].endswith("pull.stream")
    assert "magnet_pull" in {finding["code"] for finding in found["speaks_against"]}
    assert set(found) == {"file", "speaks_for", "speaks_against", "untold"}
    assert all(set(finding) == {"code", "severity", "text"} for finding in found["speaks_for"])


def test_runs_are_compared_when_they_are_said_to_be_the_same(balancer, files):
    pair = (files["sound"], files["again"])
    compared = json.loads(balancer("diagnose", *pair, "--same", "--json")[1])["compared"]
    assert [finding["code"] for finding in compared] == ["mountings_agree"]
    assert "How well the part seats shows only in several runs" in balancer("diagnose", *pair)[1]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--axial", "w"), "there is no channel w"),
        (("--magnets", 13), "a bell does not have 13 magnets"),
        (("--blades", -1), "--blades"),
    ],
)
def test_bad_answers_are_refused_in_one_sentence(balancer, files, options, words):
    status, out, err = balancer("diagnose", files["sound"], *options)
    assert status == 2
    assert out == ""
    assert words in err
    assert err.count("\n") == 1


def test_every_sentence_says_what_to_look_at():
    """What speaks against unbalance names a thing to look at, to change or to check."""
    against = {
        *(
            "once_minor",
            "second_order",
            "blade_pass_strong",
            "electric_orders",
            "harmonics_many",
            "half_orders",
        ),
        *("axial_strong", "blade_suspect", "once_unsteady", "once_drifts", "once_stepped", "near_resonance"),
        *("magnet_pull", "mountings_scatter", "resonance_between"),
    }
    for code in against - {"once_minor"}:
        assert any(word in SENTENCES[code].lower() for word in ("look", "check", "choose", "repeat")), code

"""Archives from anywhere: one sentence, and not a byte changed."""

import json
import struct
import zipfile

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.archive import export_store, import_store
from balancer.history.archive_reader import USUAL, Limits
from balancer.history.machines import add_machine
from balancer.history.parts import add_part
from balancer.history.queries import count_parts
from balancer.history.records.run import RecordingRef
from balancer.history.runs import add_run
from balancer.history.store import Store
from tests.history import makers

MANIFEST = json.dumps({"form": "balancer history 2"})
ON_ARM = dict(state="fitted", machine=makers.machine().id, arm=1, turned_deg=90.0)


@pytest.fixture
def good(tmp_path):
    """An archive as it should be: a machine, a part, a run with its recording."""
    with Store.open(tmp_path / "source") as source:
        add_machine(source, makers.machine())
        add_part(source, makers.part())
        file = source.files.keep(b"samples" * 5000)
        add_run(source, makers.run(makers.part(), recording=RecordingRef(file, "run.stream", file)))
        export_store(source, tmp_path / "good.zip", makers.START)
    return tmp_path / "good.zip"


def with_entries(path, entries, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in entries:
            archive.writestr(name, content)
    return path


def entries_of(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def with_changes(good, **contents):
    """Change the content of tables."""
    entries = entries_of(good) | {f"{name}.jsonl": content for name, content in contents.items()}
    return with_entries(good.with_name("bad.zip"), entries.items())


def with_record(good, table, **changes):
    """Change the first record of a table."""
    entries = entries_of(good)
    record = json.loads(entries[f"{table}.jsonl"].splitlines()[0]) | changes
    entries[f"{table}.jsonl"] = json.dumps(record).encode() + b"\n"
    return with_entries(good.with_name("bad.zip"), entries.items())


def refused(store, path, words, limits=USUAL):
    with pytest.raises(InputError, match=words) as told:
        import_store(store, path, limits)
    assert str(told.value).startswith(f"{path}: ")
    assert count_parts(store) == 0
    assert store.rows("SELECT * FROM machines") == []


def test_names_in_an_archive_are_never_paths(store, good, tmp_path):
    names = [
        "../../evil.txt",
        "/etc/evil.txt",
        "files/../../evil.txt",
        "C:\\evil.txt",
        "__MACOSX/._x",
        "files/",
    ]
    entries = entries_of(good) | dict.fromkeys(names, b"evil")
    came = import_store(store, with_entries(tmp_path / "bad.zip", entries.items()))
    assert set(came.ignored) == set(names)
    assert count_parts(store) == 1
    assert not [path for path in tmp_path.rglob("*") if "evil" in path.name]


def test_a_file_that_is_not_what_its_name_says(store, good):
    entries = entries_of(good)
    entries[next(name for name in entries if name.startswith("files/"))] = b"other"
    refused(store, with_entries(good.with_name("bad.zip"), entries.items()), "is not what its name says")
    assert list(store.files.all()) == []


def test_a_bomb(store, good):
    small = Limits(total=100_000)
    entries = [*entries_of(good).items(), ("zeros", bytes(1_000_000))]
    refused(store, with_entries(good.with_name("bad.zip"), entries), "it unpacks to 0.0 GB, more than", small)


def test_a_recording_beyond_the_limit(store, good):
    refused(store, good, r"files/[0-9a-f]+ is larger than 0 MB", Limits(file=1000))


def test_too_many_entries(store, good):
    refused(store, good, "it holds more than 3 files", Limits(entries=3))


def test_a_line_without_an_end(store, good):
    path = with_changes(good, parts=b'{"id": "' + b"x" * 9_000_000)
    refused(store, path, "line 1 of parts.jsonl is too long")


def test_a_size_that_is_a_lie(store, good):
    """The directory says that a large entry is small: no more is read than is stated."""
    path = with_changes(good, events=b"x" * 300_000)
    data = bytearray(path.read_bytes())
    place = data.rindex(b"events.jsonl") - 46  # the central directory's entry
    data[place + 24 : place + 28] = struct.pack("<L", 10)
    path.write_bytes(data)
    refused(store, path, "events.jsonl")


def test_an_encrypted_archive(store, good):
    data = bytearray(good.read_bytes())
    place = data.index(b"PK\x01\x02")
    data[place + 8] |= 1
    good.write_bytes(data)
    refused(store, good, "it is encrypted")


def test_an_entry_that_is_there_twice(store, good):
    with pytest.warns(UserWarning, match="Duplicate name"):
        path = with_entries(good.with_name("bad.zip"), [*entries_of(good).items(), ("parts.jsonl", b"")])
    refused(store, path, "it holds parts.jsonl twice")


@pytest.mark.parametrize("cut", [0.2, 0.5, 0.9])
def test_an_archive_that_is_cut_off(store, good, cut):
    data = good.read_bytes()
    good.write_bytes(data[: int(cut * len(data))])
    refused(store, good, "not an archive of a history, or it is damaged; export it anew")


def test_any_damaged_byte_is_harmless(store, good):
    """Whatever a byte is changed to: all comes, or nothing and a sentence."""
    data = good.read_bytes()
    told = []
    for place in range(11, len(data), 97):
        bad = bytearray(data)
        bad[place] ^= 0x5A
        path = good.with_name(f"bad-{place}.zip")
        path.write_bytes(bad)
        try:
            import_store(store, path)
        except InputError as error:
            told.append(str(error).startswith(f"{path}: "))
    assert len(told) > 10
    assert all(told)


def test_what_is_no_zip(store, tmp_path):
    (tmp_path / "notes.zip").write_text("notes")
    refused(store, tmp_path / "notes.zip", "this is not an archive of a history, or it is damaged")
    refused(store, tmp_path / "nothing.zip", "there is no such file")
    refused(store, tmp_path, "this is a folder, not a file")


@pytest.mark.parametrize(
    ("manifest", "words"),
    [
        (None, "it has no manifest, so it is not the archive of a history"),
        ("{}", "it is not the archive of a history"),
        ('{"form": "balancer history 0"}', "it is not the archive of a history"),
        ("[]", "manifest.json is not JSON with named values"),
        ("{", "manifest.json is not JSON with named values"),
        (
            '{"form": "balancer history 3"}',
            "this archive has form 3, made by a newer program; update the program",
        ),
    ],
)
def test_manifests(store, tmp_path, manifest, words):
    entries = [("parts.jsonl", b"")] + ([("manifest.json", manifest)] if manifest else [])
    refused(store, with_entries(tmp_path / "bad.zip", entries), words)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"[1, 2]\n", "line 1 of parts.jsonl is not JSON with named values"),
        (b"\xff\n", "line 1 of parts.jsonl is not JSON"),
        (b'{"mass_g": NaN}\n', "line 1 of parts.jsonl is not JSON"),
        (b"[" * 100_000 + b"\n", "line 1 of parts.jsonl is not JSON"),
        (b'{"a": ' + b"9" * 9000 + b"}\n", "line 1 of parts.jsonl is not JSON"),
        (b"{}\n", "line 1 of parts.jsonl: this lacks id, edited_at"),
    ],
)
def test_lines_that_are_no_records(store, tmp_path, line, words):
    path = with_entries(tmp_path / "bad.zip", [("manifest.json", MANIFEST), ("parts.jsonl", line)])
    refused(store, path, words)


@pytest.mark.parametrize(
    ("table", "changes", "words"),
    [
        ("parts", dict(label="x" * 40), 'line 1 of parts.jsonl: this: the label "x+" is longer'),
        ("parts", dict(mass_g="heavy"), "line 1 of parts.jsonl: mass_g must be a finite number, not 'heavy'"),
        ("parts", dict(mass_g=10**400), "line 1 of parts.jsonl: mass_g must be a finite number"),
        ("parts", dict(surprise=1), "line 1 of parts.jsonl: this has surprise, which are not known"),
        ("parts", dict(id="../../etc"), "the id '../../etc' is no UUID"),
        ("parts", dict(edited_at="yesterday"), "edited_at must be a time such as 2026-05-31T12:00"),
        ("parts", dict(now=ON_ARM | dict(machine=makers.ident(1))), "not among the machines"),
        ("parts", dict(now=dict(state="spare", machine=None, arm=None)), "parts.jsonl: now lacks turned_deg"),
        (
            "parts",
            dict(now=ON_ARM | dict(turned_deg=-1)),
            "now: a mark stands at 0 to 360 degrees on the hub",
        ),
        ("parts", dict(now=ON_ARM | dict(turned_deg=360.5)), "a mark stands at 0 to 360 degrees"),
        (
            "parts",
            dict(now=ON_ARM | dict(turned_deg="half")),
            "turned_deg must be a finite number, not 'half'",
        ),
        ("parts", dict(now=ON_ARM | dict(turned_deg=10**400)), "turned_deg must be a finite number"),
        (
            "parts",
            dict(now=ON_ARM | dict(state="spare", machine=None, arm=None)),
            "only a propeller on an arm",
        ),
        (
            "parts",
            dict(now=ON_ARM, kind="adapter", sizes=None, places=None),
            "called a adapter, and only a propeller is turned on a hub",
        ),
        ("parts", dict(now=[]), "now must be an object with named values"),
        ("runs", dict(part=makers.ident(2)), "line 1 of runs.jsonl: the run .* which is not among the parts"),
        ("runs", dict(number=10**30), "runs of a job are numbered from 1"),
        ("machines", dict(arms=[]), "line 1 of machines.jsonl: this: a machine has one arm or more"),
    ],
)
def test_records_that_are_impossible(store, good, table, changes, words):
    refused(store, with_record(good, table, **changes), words)


@pytest.mark.parametrize("now", [None, [], "spare", {}, {"state": "spare"}, {"turned_deg": []}])
def test_an_older_archive_is_checked_no_less(store, good, now):
    entries = entries_of(good)
    record = json.loads(entries["parts.jsonl"]) | {"now": now}
    entries |= {
        "parts.jsonl": json.dumps(record).encode(),
        "manifest.json": b'{"form": "balancer history 1"}',
    }
    refused(store, with_entries(good.with_name("bad.zip"), entries.items()), "line 1 of parts.jsonl: now ")


def test_a_bad_record_at_the_very_end_leaves_all_as_it_was(store, good):
    refused(store, with_changes(good, events=b'{"id": 1}\n'), "line 1 of events.jsonl")


def test_no_room_for_it(store, good, monkeypatch):
    class Full:
        free = 10

    monkeypatch.setattr("shutil.disk_usage", lambda folder: Full)
    with pytest.raises(OperationError, match="the disk has no room for the 0 MB of the archive's recordings"):
        import_store(store, good)

import os
import signal
import sqlite3
import threading

import pytest

from balancer.errors import InputError, OperationError
from balancer.history import connection as connection_module
from balancer.history.check import check
from balancer.history.connection import in_words
from balancer.history.machines import add_machine, list_machines, update_machine
from balancer.history.parts import add_part
from balancer.history.queries import count_parts
from balancer.history.store import DATABASE, Store, backup, default_home
from tests.history import makers


def test_the_home_is_in_the_persons_data_folder_by_default(monkeypatch, tmp_path):
    monkeypatch.setattr("platformdirs.user_data_dir", lambda name, appauthor: str(tmp_path / name))
    with Store.open() as store:
        assert store.home == default_home() == tmp_path / "multirotor-balancer"


def test_settings_of_the_file(store):
    assert store.row("PRAGMA journal_mode")[0] == "wal"
    assert store.row("PRAGMA foreign_keys")[0] == 1
    assert store.row("PRAGMA synchronous")[0] == 2
    tables = store.rows("SELECT name, strict FROM pragma_table_list WHERE type = 'table' AND schema = 'main'")
    assert {row["name"] for row in tables if not row["strict"]} == {"sqlite_schema"}


def test_a_transaction_is_all_or_nothing(store):
    add_machine(store, makers.machine("Tern"))
    with pytest.raises(InputError, match="is no UUID"), store.transaction():  # noqa: PT012 - the point of it
        add_machine(store, makers.machine("Gull"))
        makers.machine("Skua", id="3")
    assert [machine.name for machine in list_machines(store)] == ["Tern"]


def test_one_inside_another_is_a_savepoint(store):
    with store.transaction():
        add_machine(store, makers.machine("Tern"))
        with pytest.raises(InputError, match='there is a machine "tern" already'):
            add_machine(store, makers.machine("tern"))
        add_machine(store, makers.machine("Gull"))
    assert [machine.name for machine in list_machines(store)] == ["Gull", "Tern"]


def test_rows_are_changed_in_a_transaction_only(store):
    with pytest.raises(RuntimeError, match=r"inside Store\.transaction"):
        store.execute("DELETE FROM parts")


def test_a_snapshot_does_not_see_what_others_write_meanwhile(store, home):
    with Store.open(home) as other, store.snapshot():
        assert list_machines(store) == ()
        add_machine(other, makers.machine())
        assert list_machines(store) == ()
    assert len(list_machines(store)) == 1


def test_a_snapshot_is_for_reading(store):
    with store.snapshot(), pytest.raises(RuntimeError, match="a snapshot is for reading"):
        add_machine(store, makers.machine())
    add_machine(store, makers.machine())
    with store.transaction(), store.snapshot():
        assert len(list_machines(store)) == 1


def test_a_python_with_an_old_sqlite_is_told_in_a_sentence(home, monkeypatch):
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 34, 1))
    with pytest.raises(OperationError, match=r"and the history needs 3\.38; use a newer Python"):
        Store.open(home)


def test_threads_share_a_store(store):
    def add(first):
        for number in range(first, first + 10):
            add_part(store, makers.part(f"P{number}"))

    threads = [threading.Thread(target=add, args=(100 * k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert count_parts(store) == 40


def test_two_programs_on_one_store_lose_nothing(writers, home, tmp_path):
    """They even begin at the same moment, on a store that is not there yet."""
    said = [tmp_path / name for name in "ab"]
    for writer in [writers.start(home, one, 40) for one in said]:
        writers.wait_for_end(writer)
    with Store.open(home) as store:
        kept = {row["id"] for row in store.rows("SELECT id FROM runs")}
        assert kept == {line for one in said for line in one.read_text().split()}
        assert len(kept) == 80
        assert check(store).sound


def test_an_edit_of_what_another_program_has_changed_meanwhile_is_refused(store):
    first = makers.machine()
    add_machine(store, first)
    update_machine(store, makers.machine(words="theirs"), makers.later(days=1))
    with pytest.raises(OperationError, match="another program has changed this machine meanwhile"):
        update_machine(store, makers.machine(words="mine"), makers.later(days=2))
    assert list_machines(store)[0].words == "theirs"


def test_an_edit_is_later_than_the_one_before_even_if_the_clock_was_set_back(store):
    first = makers.machine()
    add_machine(store, first)
    assert update_machine(store, first, makers.later(days=-3)).edited > first.edited


def test_a_locked_store_is_told_in_a_sentence(store, home, monkeypatch):
    monkeypatch.setattr(connection_module, "PATIENCE", 0.02)
    monkeypatch.setattr(connection_module, "WAIT", 0.01)
    with (
        Store.open(home) as other,
        other.transaction(),
        Store.open(home) as third,
        pytest.raises(OperationError) as told,
    ):
        add_machine(third, makers.machine())
    assert str(told.value) == (
        f"{home / DATABASE}: another program is writing to it; close the other program and try again."
    )


def test_a_full_disk_is_told_in_a_sentence_and_changes_nothing(store, home):
    add_machine(store, makers.machine())
    pages = store.row("PRAGMA page_count")[0]
    store.rows(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(OperationError, match="the disk is full, so nothing was changed; make room"):
        add_machine(store, makers.machine("Gull", words="x" * 20_000))
    store.rows("PRAGMA max_page_count = 1000000")
    add_machine(store, makers.machine("Skua"))
    assert [machine.name for machine in list_machines(store)] == ["Skua", "Tern"]


def test_a_file_that_may_only_be_read_is_told_in_a_sentence(store, home):
    reader = sqlite3.connect(f"file:{home / DATABASE}?mode=ro", uri=True)
    with pytest.raises(OperationError, match="it may only be read; check who may write"), in_words(home):
        reader.execute("DELETE FROM parts")
    reader.close()


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="whoever may do all is never refused")
def test_a_folder_that_may_only_be_read_is_told_in_a_sentence(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OperationError, match=r"cannot be (opened|written)"):
        Store.open(tmp_path / "home")


def test_what_is_no_database_is_refused_and_left_alone(home):
    home.mkdir()
    (home / DATABASE).write_bytes(b"to be or not to be, that is the question" * 100)
    with pytest.raises(InputError, match="this is no database; choose another folder"):
        Store.open(home)
    assert (home / DATABASE).read_bytes().startswith(b"to be")


def test_a_database_of_something_else_is_refused(home):
    home.mkdir()
    with sqlite3.connect(home / DATABASE) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    with pytest.raises(InputError, match="this is a database of something else, not a history"):
        Store.open(home)


def test_a_home_that_is_a_file_is_told_in_a_sentence(tmp_path):
    (tmp_path / "home").write_text("not a folder")
    with pytest.raises(OperationError, match="this cannot be written"):
        Store.open(tmp_path / "home")


def test_a_damaged_database_is_told_in_a_sentence(home):
    with Store.open(home) as store:
        for number in range(60):
            add_part(store, makers.part(f"P{number}"))
    path = home / DATABASE
    data = bytearray(path.read_bytes())
    data[4096 : 40 * 4096] = b"\xa5" * (39 * 4096)
    path.write_bytes(data)
    with pytest.raises(OperationError, match="the database is damaged; keep the file and restore a backup"):
        Store.open(home)


def test_a_backup_is_whole_while_another_program_writes(writers, home, tmp_path):
    said = tmp_path / "said"
    writer = writers.start(home, said)
    writers.wait_for_more(said, 37 * 20)
    with Store.open(home) as store:
        done = backup(store, tmp_path / "backup")
        writers.wait_for_more(said)
    os.kill(writer, signal.SIGKILL)
    writers.wait_for_end(writer)
    with Store.open(done.folder) as copy:
        health = check(copy)
        count = copy.row("SELECT count(*) FROM runs")[0]
    assert health.sound
    assert 20 <= count <= done.files
    assert done.damaged == ()


def test_a_backup_never_overwrites(store, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(OperationError, match="something of this name already; name a new folder"):
        backup(store, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_backup_tells_of_a_damaged_recording(store, tmp_path):
    digest = store.files.keep(b"a recording")
    store.files.path(digest).write_bytes(b"a recordinf")
    assert backup(store, tmp_path / "copy").damaged == (digest,)

import math
import sqlite3
from dataclasses import replace

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.connection import connect
from balancer.history.events import events_of
from balancer.history.migrations import BACKUPS, migrate
from balancer.history.parts import find_part, move_part
from balancer.history.queries import list_parts
from balancer.history.run_rows import run_values
from balancer.history.schema import MIGRATIONS
from balancer.history.schema.migration import Migration
from balancer.history.store import DATABASE, Store
from balancer.history.tables import RUNS
from tests.history import makers, old_stores
from tests.history.test_round_trips import alike

NEWEST = len(MIGRATIONS)


@pytest.fixture(params=old_stores.VERSIONS)
def version(request):
    return request.param


@pytest.fixture
def old_home(home, version):
    home.mkdir()
    old_stores.build(home / DATABASE, version)
    return home


def broken(*more):
    steps = ("DROP TABLE readings", "DELETE FROM events", "DROP TRIGGER events_added", *more)
    return (*MIGRATIONS, Migration(NEWEST + 1, "what fails", steps))


def content(path):
    with sqlite3.connect(path) as connection:
        lines = list(connection.iterdump())
    connection.close()
    return lines


def test_there_is_a_store_of_every_version_before_this_one():
    assert [old_stores.file_of(number).is_file() for number in range(1, NEWEST)] == [True] * (NEWEST - 1)


def test_an_older_store_opens_with_every_record_as_it_was(old_home):
    with Store.open(old_home) as store:
        for table, record in old_stores.records():
            rows = store.rows(f"SELECT * FROM {table.name} WHERE id = ?", (record.id,))
            kept = run_values(store, rows)[0] if table is RUNS else table.value(dict(rows[0]))
            assert alike(record, kept)


def test_natural_order_and_dates_come(old_home):
    with Store.open(old_home) as store:
        found = list_parts(store)
    assert [part.label for part in found] == ["M1", "p2", "P10"]
    assert (found[2].looked_at, found[2].disturbed_at) == (makers.later(days=2), makers.later(days=5))
    assert found[2].moved_at == makers.later(days=6)
    assert (found[1].looked_at, found[1].moved_at) == (None, None)


def test_how_a_propeller_is_turned_is_not_known_yet_and_can_be_said(old_home):
    with Store.open(old_home) as store:
        part = find_part(store, "P10")
        assert part.where.turned is None
        assert [event.where.turned for event in events_of(store, part.id) if event.where] == [None]
        move_part(store, part, replace(part.where, turned=math.pi), makers.later(days=9))
        assert find_part(store, "P10").where.turned == pytest.approx(math.pi)
        assert list_parts(store)[2].moved_at == makers.later(days=9)


def test_an_older_store_then_has_the_schema_of_a_new_one(old_home, tmp_path):
    named = "SELECT type, name FROM sqlite_schema ORDER BY type, name"
    with Store.open(old_home) as old, Store.open(tmp_path / "new") as new:
        assert list(map(tuple, old.rows(named))) == list(map(tuple, new.rows(named)))
        for table in ("parts", "events"):
            columns = f"SELECT name, type FROM pragma_table_info('{table}')"
            assert list(map(tuple, old.rows(columns))) == list(map(tuple, new.rows(columns)))


def test_before_each_migration_the_old_file_is_kept(old_home, version):
    before = content(old_home / DATABASE)
    Store.open(old_home).close()
    kept = sorted((old_home / BACKUPS).iterdir())
    assert content(kept[0]) == before
    assert [int(path.name.split("-")[1]) for path in kept] == list(range(version, NEWEST))


def test_a_new_store_needs_no_backup(home):
    Store.open(home).close()
    assert not (home / BACKUPS).exists()


def test_an_open_and_shut_store_is_not_migrated_again(old_home, version):
    for _ in range(2):
        with Store.open(old_home) as store:
            numbers = [row["number"] for row in store.rows("SELECT number FROM migrations")]
            assert numbers == list(range(1, NEWEST + 1))
    assert len(list((old_home / BACKUPS).iterdir())) == NEWEST - version


@pytest.mark.parametrize(
    "step",
    [
        "CREATE TABLE parts (id TEXT) STRICT",
        "INSERT INTO jobs SELECT 'j', 'nobody', NULL, started_at, frame, edited_at, NULL FROM jobs LIMIT 1",
        lambda connection: connection.execute("SELECT * FROM nothing"),
    ],
)
def test_a_failing_migration_leaves_the_store_byte_for_byte(old_home, step):
    Store.open(old_home).close()
    path = old_home / DATABASE
    before = path.read_bytes()
    connection = connect(path)
    with pytest.raises(OperationError, match=r"change to version 4 \(what fails\) failed .* left as it was"):
        migrate(connection, path, broken(step))
    assert not connection.in_transaction
    connection.close()
    assert path.read_bytes() == before
    with Store.open(old_home) as store:
        assert len(store.rows("SELECT * FROM readings")) == 6


@pytest.mark.parametrize("wrong", range(len(MIGRATIONS[2].steps)))
def test_wherever_version_3_fails_the_store_stays_one_of_version_2(home, wrong):
    home.mkdir()
    path = home / DATABASE
    old_stores.build(path, 2)
    before = content(path)
    steps = (*MIGRATIONS[2].steps[: wrong + 1], "SELECT * FROM nothing")
    connection = connect(path)
    with pytest.raises(OperationError, match=r"change to version 3 .* left as it was"):
        migrate(connection, path, (*MIGRATIONS[:2], replace(MIGRATIONS[2], steps=steps)))
    connection.close()
    assert content(path) == before


def test_a_program_that_is_stopped_in_a_migration_leaves_the_store_as_it_was(old_home, version):
    def stopped(connection):
        raise KeyboardInterrupt

    path = old_home / DATABASE
    before = content(path)
    connection = connect(path)
    halted = Migration(version + 1, "halted", ("DROP TABLE readings", stopped))
    with pytest.raises(KeyboardInterrupt):
        migrate(connection, path, (*MIGRATIONS[:version], halted))
    connection.close()
    assert content(path) == before


def test_a_newer_store_is_refused_in_a_sentence(home):
    with Store.open(home) as store, store.transaction():
        store.execute("INSERT INTO migrations VALUES (9, 'from the future', '2030-01-01')")
    with pytest.raises(InputError) as refused:
        Store.open(home)
    assert str(refused.value) == (
        f"{home / DATABASE}: this history has version 9, made by a newer program; this one knows up to 3; "
        "update the program."
    )


def test_every_migration_is_numbered_in_order():
    assert [one.number for one in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))

import sqlite3

import pytest

from balancer.errors import InputError, OperationError
from balancer.history.connection import connect
from balancer.history.migrations import BACKUPS, migrate
from balancer.history.queries import list_parts
from balancer.history.run_rows import run_values
from balancer.history.schema import MIGRATIONS
from balancer.history.schema.migration import Migration
from balancer.history.store import DATABASE, Store
from balancer.history.tables import RUNS
from tests.history import make_version_1, makers
from tests.history.test_round_trips import alike


@pytest.fixture
def old_home(home):
    home.mkdir()
    make_version_1.build(home / DATABASE)
    return home


def broken(*more):
    return (*MIGRATIONS, Migration(3, "what fails", ("DROP TABLE readings", "DELETE FROM events", *more)))


def content(path):
    with sqlite3.connect(path) as connection:
        lines = list(connection.iterdump())
    connection.close()
    return lines


def test_a_store_of_version_1_opens_with_every_record_as_it_was(old_home):
    with Store.open(old_home) as store:
        for table, record in make_version_1.records():
            rows = store.rows(f"SELECT * FROM {table.name} WHERE id = ?", (record.id,))
            kept = run_values(store, rows)[0] if table is RUNS else table.value(dict(rows[0]))
            assert alike(record, kept)


def test_version_2_brings_natural_order_and_dates(old_home):
    with Store.open(old_home) as store:
        found = list_parts(store)
    assert [part.label for part in found] == ["M1", "p2", "P10"]
    assert (found[2].looked_at, found[2].disturbed_at) == (makers.later(days=2), makers.later(days=5))
    assert found[1].looked_at is None


def test_before_a_migration_the_old_file_is_kept(old_home):
    before = content(old_home / DATABASE)
    Store.open(old_home).close()
    (kept,) = (old_home / BACKUPS).iterdir()
    assert content(kept) == before
    assert kept.name.startswith("version-1-")


def test_a_new_store_needs_no_backup(home):
    Store.open(home).close()
    assert not (home / BACKUPS).exists()


def test_an_open_and_shut_store_is_not_migrated_again(old_home):
    for _ in range(2):
        with Store.open(old_home) as store:
            assert [tuple(row) for row in store.rows("SELECT number FROM migrations")] == [(1,), (2,)]
    assert len(list((old_home / BACKUPS).iterdir())) == 1


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
    with pytest.raises(OperationError, match=r"change to version 3 \(what fails\) failed .* left as it was"):
        migrate(connection, path, broken(step))
    assert not connection.in_transaction
    connection.close()
    assert path.read_bytes() == before
    with Store.open(old_home) as store:
        assert len(store.rows("SELECT * FROM readings")) == 6


def test_a_program_that_is_stopped_in_a_migration_leaves_the_store_as_it_was(old_home):
    def stopped(connection):
        raise KeyboardInterrupt

    path = old_home / DATABASE
    before = content(path)
    connection = connect(path)
    with pytest.raises(KeyboardInterrupt):
        migrate(connection, path, (MIGRATIONS[0], Migration(2, "halted", ("DROP TABLE readings", stopped))))
    connection.close()
    assert content(path) == before


def test_a_newer_store_is_refused_in_a_sentence(home):
    with Store.open(home) as store, store.transaction():
        store.execute("INSERT INTO migrations VALUES (9, 'from the future', '2030-01-01')")
    with pytest.raises(InputError) as refused:
        Store.open(home)
    assert str(refused.value) == (
        f"{home / DATABASE}: this history has version 9, made by a newer program; this one knows up to 2; "
        "update the program."
    )


def test_every_migration_is_numbered_in_order():
    assert [one.number for one in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))

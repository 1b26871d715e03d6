"""The history at two sizes in one run: lists, pages and opening must hardly grow with what is stored."""

from dataclasses import replace

import pytest

from balancer.history.jobs import add_job, whole_job
from balancer.history.machines import add_machine
from balancer.history.parts import add_part
from balancer.history.queries import PartFilter, count_parts, list_parts, part_page
from balancer.history.records.part import Location
from balancer.history.runs import add_run
from balancer.history.store import Store, backup
from tests.history import makers

SIZES = (60, 600)
MACHINE = makers.machine()


@pytest.fixture(scope="module")
def homes(tmp_path_factory):
    """A history of each size, five runs to a part."""
    found = {}
    for size in SIZES:
        found[size] = tmp_path_factory.mktemp(f"home-{size}")
        with Store.open(found[size]) as store, store.transaction():
            fill(store, size)
    return found


def fill(store, size):
    add_machine(store, MACHINE)
    for number in range(size):
        where = Location("fitted", MACHINE.id, number + 1) if number < 6 else Location()
        sizes = replace(makers.part().sizes, hand="cw" if number % 2 else "ccw")
        part = makers.part(f"P{number}", where=where, sizes=sizes)
        add_part(store, part)
        job = makers.job(part)
        add_job(store, job)
        for run in range(1, 6):
            at = makers.later(days=run)
            add_run(store, makers.run(part, run, job=job.id, number=run, at=at))


@pytest.fixture(params=SIZES)
def store(homes, request):
    with Store.open(homes[request.param]) as opened:
        yield opened


@pytest.mark.benchmark(group="history: a page of the list")
def test_list(store, benchmark):
    assert len(benchmark(list_parts, store, limit=50)) == 50


@pytest.mark.benchmark(group="history: what is due")
def test_due(store, benchmark):
    only = PartFilter(due_before=makers.later(days=3))
    assert len(benchmark(list_parts, store, only, limit=50)) == 50


@pytest.mark.benchmark(group="history: the parts of one machine")
def test_machine(store, benchmark):
    assert len(benchmark(list_parts, store, PartFilter(machine=MACHINE.id))) == 6


@pytest.mark.benchmark(group="history: count")
def test_count(store, benchmark):
    assert benchmark(count_parts, store, PartFilter(kind="propeller")) >= 60


@pytest.mark.benchmark(group="history: the page of a part")
def test_page(store, benchmark):
    assert benchmark(part_page, store, makers.part("P50").id).run_count == 5


@pytest.mark.benchmark(group="history: a job rebuilt")
def test_job(store, benchmark):
    job = makers.job(makers.part("P50"))
    assert len(benchmark(whole_job, store, job.id).runs) == 5


@pytest.mark.benchmark(group="history: opening")
@pytest.mark.parametrize("size", SIZES)
def test_open(homes, size, benchmark):
    benchmark(lambda: Store.open(homes[size]).close())


@pytest.mark.benchmark(group="history: backup")
def test_backup(store, benchmark, tmp_path):
    names = iter(range(10**6))
    benchmark(lambda: backup(store, tmp_path / str(next(names))))

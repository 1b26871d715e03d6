from datetime import UTC
from types import SimpleNamespace

import pytest

from balancer.history.parts import find_part
from balancer.history.store import Store
from balancer.report.gather import machine_sheet, part_card
from tests.faces.conftest import balancer  # noqa: F401 - the command line in this process
from tests.report import stories


@pytest.fixture(scope="session")
def home(tmp_path_factory):
    """A store with the invented craft; the tests only read it."""
    folder = tmp_path_factory.mktemp("craft")
    with Store.open(folder) as store:
        stories.build(store)
        stories.without_phase(store)
    return folder


@pytest.fixture(scope="session")
def craft(home):
    """Its sheet, and its cards by label."""
    with Store.open(home) as store:
        tern = stories.makers.machine()
        cards = {
            label: part_card(store, find_part(store, label).id, stories.NOW, UTC)
            for label in ("P1", "P2", "P3", "P9", "M1", "M2")
        }
        return SimpleNamespace(sheet=machine_sheet(store, tern.id, stories.NOW, UTC), **cards)


@pytest.fixture(scope="session")
def hostile_home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    with Store.open(folder) as store:
        stories.hostile(store)
    return folder


@pytest.fixture(scope="session")
def hostile(hostile_home):
    """The sheet of a machine whose every name tries to be something else, and its cards."""
    with Store.open(hostile_home) as store:
        machine = stories.makers.machine(stories.MACHINE)
        sheet = machine_sheet(store, machine.id, stories.NOW, UTC)
        ids = [find_part(store, label).id for label in stories.HOSTILE]
        return SimpleNamespace(sheet=sheet, cards=[part_card(store, id, stories.NOW, UTC) for id in ids])


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as opened:
        yield opened

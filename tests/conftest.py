"""Settings that hold for every test."""

import os
from datetime import date

import pytest
from hypothesis import settings

# before numpy is loaded: threads of its linear algebra fight over small matrices on a busy machine
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# the same examples in every run, and no clock: the suite is deterministic on a busy machine, too
settings.register_profile("suite", derandomize=True, deadline=None, database=None)
settings.load_profile("suite")


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """Folder of the example history that ends today and its hidden truth, made once: for reading only."""
    # imported here: most tests need no history
    from balancer.history.example import fill_example  # noqa: PLC0415
    from balancer.history.store import Store  # noqa: PLC0415

    home = tmp_path_factory.mktemp("example") / "home"
    with Store.open(home) as store:
        truth = fill_example(store, date.today(), seconds=2.0)
    return home, truth


@pytest.fixture
def example_home(example):
    return example[0]

"""What the tests of the faces share."""

from __future__ import annotations

import shutil
import sys

import pytest

from balancer import cli
from balancer.app import services, show


@pytest.fixture
def balancer(monkeypatch, capsys):
    """Run the command line in this process: `balancer("measure", name)` gives status, output and errors."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["balancer", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        captured = capsys.readouterr()
        status = ended.value.code
        return (0 if status is None else status), captured.out, captured.err

    return run


@pytest.fixture(autouse=True)
def boxes_stand_open(request, monkeypatch):
    """Every box of a page is open, but in tests that are marked `closed` and open theirs themselves."""
    if "closed" in request.keywords:
        return
    monkeypatch.setattr(
        show,
        "box",
        lambda label, key, fill, **expanded: BOX(label, key, fill, **expanded | {"expanded": True}),
    )


BOX = show.box


@pytest.fixture
def home(tmp_path, monkeypatch, example_home):
    """A copy of the example, as a server started with --home has it."""
    copy = tmp_path / "home"
    shutil.copytree(example_home, copy)
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(copy)])
    yield copy
    services.store(copy).close()
    services.store.cache_clear()


@pytest.fixture
def store(home):
    """Its history."""
    return services.store(home)

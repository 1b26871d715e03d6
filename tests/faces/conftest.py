"""What the tests of the faces share."""

from __future__ import annotations

import sys

import pytest

from balancer import cli


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

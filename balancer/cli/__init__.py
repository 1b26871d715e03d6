"""The command line: each command asks, calls and shows; imports that take long happen inside the commands."""

from __future__ import annotations

import os
import sys

import click

from balancer.cli import (
    diagnose,
    footage,
    history,
    index,
    job,
    job_history,
    machines,
    match,
    measuring,
    parts,
    place,
    recording,
    report,
    run_up,
    showing,
)
from balancer.cli.base import commands
from balancer.errors import BalancerError

__all__ = [
    "commands",
    "diagnose",
    "footage",
    "history",
    "index",
    "job",
    "job_history",
    "machines",
    "main",
    "match",
    "measuring",
    "parts",
    "place",
    "recording",
    "report",
    "run_up",
    "showing",
]


def main() -> None:
    """Run the command line; every error becomes one sentence on standard error."""
    # before numpy is loaded: threads of its linear algebra fight over small matrices
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        status = commands.main(prog_name="balancer", standalone_mode=False)
        sys.exit(status if isinstance(status, int) else 0)
    except BalancerError as error:
        _fail(str(error), error.exit_status)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(2)
    except click.ClickException as error:
        context = getattr(error, "ctx", None)
        command = context.command_path if context else "balancer"
        _fail(f"{error.format_message().rstrip('.')}; see {command} --help.", 2)
    except (click.Abort, KeyboardInterrupt):
        _fail("Stopped.", 130)
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has gone; Python would complain about it at exit
        sys.exit(1)
    except Exception as error:
        # a mistake of ours: whoever stands at a bench can do nothing with a traceback
        what = " ".join(f"{type(error).__name__}: {error}".split())
        _fail(f"The program made a mistake ({what}); please report it with the command that you gave.", 1)


def _fail(sentence: str, status: int) -> None:
    click.echo(sentence, err=True)
    sys.exit(status)

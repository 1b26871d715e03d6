"""The command that tells what belongs to the bell and what to the propeller."""

from __future__ import annotations

from typing import Any

import click

from balancer.cli.base import angles_option, commands, json_option, print_json, print_lines, progress


@commands.command()
@click.argument("file", metavar="FILE.toml")
@angles_option
@json_option
def index(file: str, angles: Any, as_json: bool) -> None:
    """Tell the parts apart from runs with one turned on the other, listed in an index file (TOML).

    Run once as it is, disarm and unplug, turn the propeller on the bell by 180 degrees (or as far as its
    screws allow), tighten it, run again at the same speed. Runs with it seated anew at the same place tell
    how well it seats.
    """
    from balancer.contract.indexing import indexing_json
    from balancer.procedure.index_file import read_index_file
    from balancer.procedure.indexing import index_file
    from balancer.wording.indexing import indexing_lines

    found = index_file(read_index_file(file), progress=lambda name: progress(f"measuring {name}"))
    if as_json:
        print_json(indexing_json(found))
        return
    print_lines(indexing_lines(found, angles))

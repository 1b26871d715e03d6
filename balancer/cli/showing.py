"""Commands that show: the story of the simulated bench, and the display."""

from __future__ import annotations

from pathlib import Path

import click

from balancer.cli.base import commands, folder_at, json_option, print_json, print_lines, progress, write_file
from balancer.cli.home import home_option


@commands.command()
@click.option(
    "--out", type=click.Path(), default="balancing-demo", show_default=True, help="Folder for its files."
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Chooses the propeller."
)
@click.option(
    "--home", type=click.Path(), metavar="DIR", help="Fill a new history here with an example instead."
)
@json_option
def demo(out: str, seed: int, home: str | None, as_json: bool) -> None:
    """Balance a propeller on the simulated bench and tell the story.

    With --home, an example history instead: a year in the life of an invented six-arm craft, two crashes
    included, every run of it made and measured on the simulated bench. It takes some ten seconds.
    """
    if home is not None:
        _example(home, seed, as_json)
        return
    from balancer.contract import solution_json
    from balancer.core.pieces import Stock
    from balancer.core.tape import usual_tape
    from balancer.figures import standalone
    from balancer.pictures import story_pictures
    from balancer.procedure.story import COASTAL_PLACES, play
    from balancer.recording.files import write
    from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
    from balancer.wording import story_lines, story_opening

    folder = folder_at(Path(out))
    if not as_json:
        print_lines(story_opening(COASTAL_SPEED, "One of its propellers, on its motor,"))
    story = play(
        coastal_propeller(seed),
        speed=COASTAL_SPEED,
        duration=8.0,
        seed=seed,
        places=COASTAL_PLACES,
        stock=Stock(usual_tape("aluminium", 0.010)),
        progress=progress,
    )
    for run in (story.as_is, story.trial, story.check):
        write(run.recording, folder / f"{run.purpose}.stream.csv", overwrite=True)
    for name, svg in story_pictures(story).items():
        write_file(folder / name, standalone(svg), overwrite=True)
    if as_json:
        print_json(solution_json(story.outcome))
        return
    print_lines(story_lines(story))
    print_lines(
        ["", f"Recordings and pictures are in {folder}: open {folder / 'propeller.svg'} in a browser."]
    )


def _example(home: str, seed: int, as_json: bool) -> None:
    """Fill an example history."""
    from datetime import date

    from balancer.history.example import MACHINE, check_empty, fill_example
    from balancer.history.queries import count_parts
    from balancer.history.store import Store

    with Store.open(home) as store:
        check_empty(store)
        if not as_json:
            print_lines(["A year in the life of an invented craft, run by run on the simulated bench ..."])
        fill_example(store, date.today(), seed=seed, progress=progress)
        count = count_parts(store)
    if as_json:
        print_json({"home": home, "machine": MACHINE, "parts": count})
        return
    print_lines(
        [
            f"{home}: {count} parts of the machine {MACHINE}. All of it is invented. Try:",
            f"  balancer parts --home {home}",
            f"  balancer parts show P6 --home {home}",
            f"  balancer match --home {home}",
        ]
    )


@commands.command()
@click.option(
    "--port", type=click.IntRange(1, 65535), help="Port of the page; 8501 or the next free one if left out."
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option(
    "--network",
    is_flag=True,
    help="Let phones and computers in your network open it, too, with a code shown here. Whoever knows it "
    "sees your data and can work the bench, and nothing is encrypted.",
)
@home_option
def app(port: int | None, no_browser: bool, network: bool, home: str | None) -> None:
    """Open the display in a browser, on this computer only; jobs are kept in the folder of the history."""
    from balancer.launch import run

    run(port=port, browser=not no_browser, home=home, network=network)

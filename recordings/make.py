"""Make the example recordings and the README's pictures again: an invented build on the simulated bench.

Run from anywhere: ``python recordings/make.py``. The seeds below make it repeatable.
"""

import math
from pathlib import Path

from balancer.core.masses import Mass
from balancer.core.pieces import Stock
from balancer.core.tape import Tape
from balancer.figures import convention_picture, standalone
from balancer.pictures import story_pictures
from balancer.procedure.story import COASTAL_PLACES, Story, play
from balancer.recording.files import write
from balancer.simulator.presets import (
    COASTAL_SPEED,
    coastal_bell,
    coastal_propeller,
)
from balancer.simulator.truth_file import write_truth
from balancer.units import g_from_kg, mm_from_m

HERE = Path(__file__).parent
PROPELLER, BELL = 12, 5  # seeds
SECONDS = 5.0


def propeller_story() -> Story:
    """Balance the example propeller."""
    tape = Tape("aluminium, weighed", areal_density=0.145, width=0.010, weighed=True)
    return play(
        coastal_propeller(PROPELLER),
        speed=COASTAL_SPEED,
        duration=SECONDS,
        seed=PROPELLER,
        places=COASTAL_PLACES,
        stock=Stock(tape),
    )


def runs_file(story: Story) -> str:
    """Write the three runs as a runs file."""
    lines = [
        "# One 12-inch propeller of an invented six-arm coastal-survey craft, on its motor. See README.md.",
        "radius_mm = 60",
        f"rotor_mass_g = {g_from_kg(story.bench.rotor.mass):.1f}",
    ]
    for run, name in ((story.as_is, "as-is"), (story.trial, "trial"), (story.check, "corrected")):
        lines += ["", "[[run]]", f'purpose = "{run.purpose}"', f'recording = "propeller-{name}.stream.csv"']
        if run.masses:
            lines.append("masses = [")
            lines += [f"    {_mass(mass)}," for mass in run.masses]
            lines.append("]")
    return "\n".join(lines) + "\n"


def _mass(mass: Mass) -> str:
    grams, radius = g_from_kg(mass.mass), mm_from_m(mass.radius)
    angle = math.degrees(mass.angle) % 360
    return f"{{ mass_g = {grams:.5f}, radius_mm = {radius:g}, angle_deg = {angle:.1f} }}"


def main() -> None:
    """Write everything."""
    story = propeller_story()
    for run, name in ((story.as_is, "as-is"), (story.trial, "trial"), (story.check, "corrected")):
        write(run.recording, HERE / f"propeller-{name}.stream.csv", overwrite=True)
    (HERE / "propeller.toml").write_text(runs_file(story), encoding="utf-8")
    write_truth(story.bench.truth(speed=COASTAL_SPEED), HERE / "propeller-truth.json")
    bell = coastal_bell(BELL).record(speed=COASTAL_SPEED, duration=SECONDS, seed=BELL)
    write(bell, HERE / "bell-as-is.stream.csv", overwrite=True)
    pictures = story_pictures(story) | {"convention.svg": convention_picture()}
    (HERE / "pictures").mkdir(exist_ok=True)
    for name, svg in pictures.items():
        (HERE / "pictures" / name).write_text(standalone(svg), encoding="utf-8")


if __name__ == "__main__":
    main()

"""The command that follows what is left of the unbalance to the camera."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from balancer.cli.base import ABOVE_0, commands, json_option, print_json, print_lines, progress
from balancer.cli.foreign import foreign_options, read_foreign

if TYPE_CHECKING:
    from balancer.core.decay import Decay

_NOT_BELOW_0 = click.FloatRange(min=0)


@commands.command()
@click.option("--mount-hz", type=ABOVE_0, help="Natural frequency of the camera on its mount.")
@click.option("--mount-damping", type=_NOT_BELOW_0, help="Its damping ratio; rubber: about 0.05 to 0.15.")
@click.option("--tap", type=click.Path(), help="Instead: a recording of taps on the camera, nothing turning.")
@click.option("--rpm", type=ABOVE_0, required=True, help="Speed at hover.")
@click.option("--blades", type=click.IntRange(min=0), default=2, show_default=True)
@click.option(
    "--arm", "arms", type=_NOT_BELOW_0, multiple=True, metavar="GMM", help="g mm left on an arm. Repeat."
)
@click.option("--gmm", type=_NOT_BELOW_0, help="g mm left on each arm, with --arms how many.")
@click.option("--arms", "count", type=click.IntRange(min=1), help="Number of arms, for --gmm.")
@click.option("--craft-g", type=ABOVE_0, help="All-up mass.")
@click.option("--camera-g", type=ABOVE_0, help="Part of it that the mount carries.")
@foreign_options
@json_option
def footage(
    mount_hz: float | None,
    mount_damping: float | None,
    tap: str | None,
    rpm: float,
    blades: int,
    arms: tuple[float, ...],
    gmm: float | None,
    count: int | None,
    craft_g: float | None,
    camera_g: float | None,
    as_json: bool,
    **said: Any,
) -> None:
    """Tell what is left at the camera of 1x and blade pass, and whether other dampers would help."""
    from balancer.contract.run_up import footage_json
    from balancer.core.isolation import Mount
    from balancer.procedure.footage import footage as follow
    from balancer.units import kg_from_g, kgm_from_gmm, rad_s_from_rpm
    from balancer.wording.footage import footage_lines
    from balancer.wording.run_up import decay_lines

    if (gmm is None) != (count is None) or (gmm is not None and arms):
        raise click.UsageError("give --arm for each arm, or --gmm together with --arms")
    if (tap is None) == (mount_hz is None) or (mount_hz is None) != (mount_damping is None):
        raise click.UsageError("give --mount-hz and --mount-damping, or --tap")
    decay = None if tap is None else _tapped(tap, said)
    if decay is not None:
        mount = Mount(decay.strongest.frequency, decay.strongest.damping)
    else:
        mount = Mount(mount_hz or 0.0, mount_damping or 0.0)
    shown = follow(
        mount,
        rad_s_from_rpm(rpm),
        arms=tuple(kgm_from_gmm(u) for u in (arms or (gmm or 0.0,) * (count or 0))),
        blades=blades,
        craft_mass=None if craft_g is None else kg_from_g(craft_g),
        camera_mass=None if camera_g is None else kg_from_g(camera_g),
    )
    if as_json:
        print_json(footage_json(shown, decay))
        return
    print_lines(([] if decay is None else decay_lines(decay)) + footage_lines(shown))


def _tapped(name: str, said: dict[str, Any]) -> Decay:
    from balancer.procedure.tap import read_taps

    progress(f"reading {name}")
    return read_taps(read_foreign(name, said))

"""Options of the command line that answer what a foreign file does not say itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from balancer.recording.model import Recording

_ABOVE_0 = click.FloatRange(min=0, min_open=True)
_FOREIGN = (
    click.option(
        "--time-unit", type=click.Choice(["s", "ms", "us", "ns"]), help="Of a time column without one."
    ),
    click.option("--unit", type=click.Choice(["m/s^2", "g", "mg"]), help="Of accelerations without one."),
    click.option("--rate", type=_ABOVE_0, help="Samples a second, for a table without a time column."),
    click.option(
        "--stamps", type=click.Choice(["sensor", "arrival"]), help="What uneven time stamps are, if in doubt."
    ),
    click.option("--marks", type=click.Path(), help="A second file with mark times on the same clock."),
    click.option("--wav-scale", type=_ABOVE_0, help="m/s^2 at full scale of a WAV file."),
    click.option("--mark-channel", type=click.IntRange(min=0), help="Of the mark in a WAV file; 0 for none."),
    click.option("--calibration", type=click.Path(), help="WAV file of a known vibration, for the scale."),
    click.option("--calibration-rms", type=_ABOVE_0, help="That vibration in m/s^2 rms."),
)


def foreign_options(command: Any) -> Any:
    """Give a command the options that answer what a foreign file leaves open.

    Parameters
    ----------
    command : callable
        A click command in the making; it receives the answers by their names.

    Returns
    -------
    callable
        The command with the options.
    """
    for option in reversed(_FOREIGN):
        command = option(command)
    return command


def read_foreign(name: str, said: dict[str, Any]) -> Recording:
    """Read a recording with what was said about it.

    Parameters
    ----------
    name : str
        The file.
    said : dict
        Values of all of `foreign_options`.

    Returns
    -------
    Recording
        The recording.

    Raises
    ------
    InputError
        If it cannot be used.
    click.UsageError
        If the options contradict each other.
    """
    from balancer.recording.files import read, read_file
    from balancer.recording.hints import Hints

    known = dict(said)
    marks, calibration, rms = (known.pop(key) for key in ("marks", "calibration", "calibration_rms"))
    if (calibration is None) != (rms is None):
        raise click.UsageError("--calibration and --calibration-rms belong together")
    if calibration is not None:
        from balancer.recording.wav import scale_of_calibration

        if known["wav_scale"] is not None:
            raise click.UsageError("--wav-scale and --calibration say the same: give one of them")
        known["wav_scale"] = scale_of_calibration(read_file(calibration), calibration, rms)
    return read(name, Hints(**known), marks)

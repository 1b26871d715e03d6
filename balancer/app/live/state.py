"""What the live page remembers, and what its clicks do. The bench is one for all tabs (`services.bench`).

What is chosen here may be lost by a reload: what runs goes on, and is shown again.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import streamlit as st

from balancer.app import services, state
from balancer.app.live.sources import network_source, simulated_rotor, simulated_source
from balancer.core.masses import Mass
from balancer.errors import InputError
from balancer.units import kg_from_g, m_from_mm, rpm_from_rad_s

if TYPE_CHECKING:
    from balancer.app.bench import Bench, BenchView

SOURCE, KIND, NUMBER = "live_source", "live_kind", "live_number"
PORT, ADDRESS, FILE = "live_port", "live_address", "live_file"
SPEED, GRAMS, RADIUS, ANGLE = "live_speed", "live_grams", "live_radius", "live_angle"
AXIS, PICTURE, BLADES, HAND = "live_axis", "live_picture", "live_blades", "live_hand"

USUAL_RPM = 5200
SLOWEST_RPM, FASTEST_RPM = 1500, 9000

_TAPE = "_live_tape"


def bench() -> Bench:
    """Give the bench of this server."""
    return services.bench(state.home())


def chosen_source() -> str:
    """Name the source that is chosen on the page.

    Raises
    ------
    InputError
        If something is missing.
    """
    kind = state.get(SOURCE) or "simulated"
    if kind == "simulated":
        return simulated_source(state.get(KIND) or "propeller", int(state.get(NUMBER) or 0))
    if kind == "network":
        return network_source(str(state.get(ADDRESS) or ""))
    if kind == "port":
        port = state.get(PORT)
        if not port:
            raise InputError("no serial port is there", todo="plug the board in and look again")
        return str(port)
    file = state.get(FILE)
    if not file:
        raise InputError("no recording is kept yet", todo="record with another source first")
    return str(file)


@state.told
def start() -> None:
    """Start what is chosen."""
    st.session_state.pop(_TAPE, None)
    st.session_state.pop(SPEED, None)
    bench().start(chosen_source())


@state.told
def stop() -> None:
    """End the recording."""
    bench().stop()


@state.told
def pick_up() -> None:
    """Begin again with the source that was lost."""
    bench().pick_up()


@state.told
def look_again() -> None:
    """Look for ports again: the page does so whenever it runs."""


@state.told
def ask_speed() -> None:
    """Ask the simulated motor for the speed chosen."""
    bench().tell(speed_rpm=float(state.get(SPEED)))


@state.told
def put_on() -> None:
    """Put the tape that was typed on the simulated rotor, and no other."""
    grams, radius, angle = (float(state.get(key) or 0.0) for key in (GRAMS, RADIUS, ANGLE))
    if grams <= 0 or radius <= 0:
        raise InputError("the tape has no mass or no radius", todo="type how heavy it is and where it lies")
    against = angle if state.direction() == "against" else -angle
    _refuse_while_recorded()
    bench().tell(masses=(Mass(kg_from_g(grams), m_from_mm(radius), math.radians(against % 360.0)),))
    st.session_state[_TAPE] = (
        f"On it now: {grams:g} g at {radius:g} mm, {angle:g}° {state.direction()} the rotation."
    )


@state.told
def take_off() -> None:
    """Take all tape off."""
    _refuse_while_recorded()
    bench().tell(masses=())
    st.session_state[_TAPE] = "No tape is on it."


def _refuse_while_recorded() -> None:
    """Leave the rotor alone while a run is recorded: it would be kept with masses that were not on it."""
    capture = bench().view().capture
    if capture is not None and capture.pending:
        raise InputError(
            f"{capture.wish.label} is being recorded with what is on the rotor now",
            todo="wait until it is done, or cancel it where it was asked for",
        )


def tape() -> str:
    """Say what was put on from this page; empty when nothing was."""
    return str(state.get(_TAPE) or "")


def speed_now(view: BenchView) -> int:
    """Give the speed of the simulated motor as a choice on the slider, in rpm."""
    if view.now is None:
        return USUAL_RPM
    rounded = round(rpm_from_rad_s(view.now.speed), -2)
    return int(min(max(rounded, SLOWEST_RPM), FASTEST_RPM))


def hand(view: BenchView) -> str:
    """Say how the rotor turns seen from the front: known of a simulated one, else chosen."""
    rotor = simulated_rotor(view.source)
    return str(state.get(HAND) or "ccw") if rotor is None else str(rotor.hand)


def blades(view: BenchView) -> int | None:
    """Give the number of blades; None for a bell, and where nobody said."""
    rotor = simulated_rotor(view.source)
    if rotor is not None:
        return rotor.blades or None
    return int(state.get(BLADES) or 0) or None


def axis() -> str:
    """Name the axis that is shown; empty for the strongest."""
    return str(state.get(AXIS) or "")


def plain_picture() -> bool:
    """Say whether the plain picture is chosen."""
    return bool(state.get(PICTURE) == "plain")

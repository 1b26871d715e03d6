"""What is left of the unbalance at the camera: through the craft, through the mount.

The craft is taken as one free mass that each arm pushes with U w^2, the mount as one spring and damper
between it and the camera. Left out are rotation (of the craft about its centre, of the camera on its mount),
modes of arms and frame, and the gimbal's own motors and control.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from balancer.core.isolation import Mount
from balancer.errors import InputError
from balancer.findings import Finding

GIMBAL_BAND = 10.0
"""Hz up to which a gimbal's control usually works (common practice, no source)."""

_CLEAR = 2.0  # times the gimbal's band that a mount should stay above (common practice, no source)
_SOFTER, _HARDER = 0.7, 1.4  # natural frequency: dampers of half and of twice the stiffness
_FARTHEST = 3.0  # a mount is looked for from this part to this multiple of the present one
_WORTH = 0.1  # less change than this is not worth other dampers


@dataclass(frozen=True)
class AtFrequency:
    """What happens at one frequency.

    Parameters
    ----------
    frequency : float
        In Hz.
    transmissibility : float
        Of the mount.
    """

    frequency: float
    transmissibility: float


@dataclass(frozen=True)
class Shake:
    """Vibration at 1x on one side of the mount, of all arms together.

    Parameters
    ----------
    typical : float
        Root of the sum of squares over the arms, peak, m/s^2: motors never turn at quite the same speed.
    worst : float
        When all arms push the same way, as they do for a moment while their speeds beat.
    displacement, worst_displacement : float
        The same in m, peak.
    """

    typical: float
    worst: float
    displacement: float
    worst_displacement: float


@dataclass(frozen=True)
class Change:
    """Another stiffness of the mount.

    Parameters
    ----------
    mount : Mount
        The other mount.
    once, blade_pass : float
        Its transmissibility at 1x and at blade pass.
    factor : float
        Shake of the camera at 1x against the present mount: below 1 is better.
    """

    mount: Mount
    once: float
    blade_pass: float | None
    factor: float


@dataclass(frozen=True)
class Footage:
    """What reaches the camera.

    Parameters
    ----------
    mount : Mount
        The mount.
    speed : float
        Hover speed in rad/s.
    once : AtFrequency
        At 1x.
    blade_pass : AtFrequency, optional
        At blades times that; None for no blades.
    forces : tuple of float
        U w^2 of each arm in N.
    craft, camera : Shake, optional
        Before and behind the mount; None without a mass of the craft.
    softer, harder : Change
        Dampers of half and of twice the stiffness.
    best : Change
        The mount with the least at 1x that keeps clear of the gimbal's band.
    findings : tuple of Finding
        What to know and what to do.
    """

    mount: Mount
    speed: float
    once: AtFrequency
    blade_pass: AtFrequency | None
    forces: tuple[float, ...]
    craft: Shake | None
    camera: Shake | None
    softer: Change
    harder: Change
    best: Change
    findings: tuple[Finding, ...]


def footage(
    mount: Mount,
    speed: float,
    *,
    arms: tuple[float, ...] = (),
    blades: int = 2,
    craft_mass: float | None = None,
    camera_mass: float | None = None,
) -> Footage:
    """Follow the unbalance that is left from the arms to the camera.

    Parameters
    ----------
    mount : Mount
        Natural frequency and damping ratio of the camera on its mount.
    speed : float
        Hover speed in rad/s.
    arms : tuple of float, optional
        Unbalance left on each arm, in kg m.
    blades : int, optional
        Blades of a propeller, 0 for none.
    craft_mass : float, optional
        All-up mass in kg; without it the forces only are given.
    camera_mass : float, optional
        What the mount carries in kg, part of `craft_mass`. Left out, it is taken as small.

    Returns
    -------
    Footage
        Transmissibility, shake, and whether other dampers would help.

    Raises
    ------
    InputError
        If a number is impossible.
    """
    _check(speed, arms, blades, craft_mass, camera_mass)
    once = speed / (2 * math.pi)
    forces = tuple(unbalance * speed**2 for unbalance in arms)
    craft = None
    if craft_mass is not None and forces:
        # the camera loads the craft by what of the craft's motion it shares
        carried = camera_mass or 0.0
        craft = _shake(forces, abs(craft_mass - carried + carried * mount.passed_on(once)), speed)
    through = mount.transmissibility(once)
    camera = None if craft is None else _scaled(craft, through)
    softer, harder = (_change(mount, mount.frequency * k, once, blades) for k in (_SOFTER, _HARDER))
    best = _best(mount, once, blades)
    passing = blades * once
    return Footage(
        mount=mount,
        speed=speed,
        once=AtFrequency(once, through),
        blade_pass=AtFrequency(passing, mount.transmissibility(passing)) if blades else None,
        forces=forces,
        craft=craft,
        camera=camera,
        softer=softer,
        harder=harder,
        best=best,
        findings=tuple(_findings(mount, once, blades, best, arms)),
    )


def _check(
    speed: float, arms: tuple[float, ...], blades: int, craft_mass: float | None, camera_mass: float | None
) -> None:
    if not 0 < speed < math.inf:
        raise InputError("the hover speed must be above 0 rpm")
    if not all(0 <= unbalance < math.inf for unbalance in arms):
        raise InputError(
            "the unbalance of an arm must be 0 g mm or more", todo="give its size without a sign"
        )
    if blades < 0:
        raise InputError("the number of blades must not be negative")
    if craft_mass is not None and not 0 < craft_mass < math.inf:
        raise InputError("the mass of the craft must be above 0 g")
    if camera_mass is not None and not 0 < camera_mass < (craft_mass or math.inf):
        raise InputError(
            "the mass of the camera must be above 0 g and below that of the craft",
            todo="give what the mount carries, and the all-up mass with the camera",
        )


def _shake(forces: tuple[float, ...], mass: float, speed: float) -> Shake:
    typical = math.sqrt(sum(force**2 for force in forces)) / mass
    worst = sum(forces) / mass
    return Shake(typical, worst, typical / speed**2, worst / speed**2)


def _scaled(shake: Shake, factor: float) -> Shake:
    return Shake(
        shake.typical * factor,
        shake.worst * factor,
        shake.displacement * factor,
        shake.worst_displacement * factor,
    )


def _change(mount: Mount, frequency: float, once: float, blades: int) -> Change:
    other = mount.tuned(frequency)
    through = other.transmissibility(once)
    return Change(
        other,
        through,
        other.transmissibility(blades * once) if blades else None,
        through / mount.transmissibility(once),
    )


def _best(mount: Mount, once: float, blades: int) -> Change:
    """Look through mounts softer and harder than the present one, clear of the gimbal's band."""
    steps = [_FARTHEST ** (k / 40) for k in range(-40, 41)]
    clear = [f for step in steps if (f := mount.frequency * step) >= _CLEAR * GIMBAL_BAND]
    tried = [_change(mount, f, once, blades) for f in clear or [_CLEAR * GIMBAL_BAND]]
    return min(tried, key=lambda change: change.once)


def _findings(mount: Mount, once: float, blades: int, best: Change, arms: tuple[float, ...]) -> list[Finding]:
    findings = []
    through = mount.transmissibility(once)
    if through > 1:
        findings.append(
            Finding.of("mount_amplifies", "warning", once_hz=once, times=through, from_hz=mount.isolates_from)
        )
    if blades and mount.transmissibility(blades * once) > 1:
        findings.append(
            Finding.of(
                "mount_amplifies_blade_pass",
                "warning",
                pass_hz=blades * once,
                times=mount.transmissibility(blades * once),
            )
        )
    if mount.frequency < _CLEAR * GIMBAL_BAND:
        findings.append(
            Finding.of("mount_near_gimbal", "warning", mount_hz=mount.frequency, band_hz=GIMBAL_BAND)
        )
    findings.append(_advice(mount, best))
    if not arms:
        findings.append(Finding.of("arms_not_given", "info"))
    findings.append(Finding.of("footage_not_modelled", "info"))
    return findings


def _advice(mount: Mount, best: Change) -> Finding:
    present, other, left = mount.frequency, best.mount.frequency, 100 * best.factor
    sag = 1e3 * best.mount.sag
    if best.factor > 1 - _WORTH:
        return Finding.of("mount_fits", "info", mount_hz=present)
    if other < present:
        return Finding.of(
            "softer_mount_helps", "info", from_hz=present, to_hz=other, left_percent=left, sag_mm=sag
        )
    return Finding.of(
        "harder_mount_helps", "info", from_hz=present, to_hz=other, left_percent=left, sag_mm=sag
    )

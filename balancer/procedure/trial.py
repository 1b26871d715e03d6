"""How large the trial mass should be and where it goes, before anything of the answer is known."""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from balancer.core.grade import centrifugal_force
from balancer.core.runs import Amplitude, Reading, Run
from balancer.core.vectors import UncertainComplex
from balancer.errors import InputError
from balancer.findings import Finding
from balancer.units import G_STANDARD, gmm_from_kgm

Basis = Literal["influence", "moving-mass", "first-guess"]
Bound = Literal["", "noise", "force", "vibration"]

ABOVE_NOISE = 10.0
"""The effect is to be so many times the uncertainty of the as-is reading."""

THREE_PLACES = (0.0, 2 * math.pi / 3, 4 * math.pi / 3)
"""Where a trial mass goes one after the other without phase, in rad."""

# At speeds between 0.87 and 1.22 of a lightly damped resonance a stand answers 3 times as much as its free
# mass (|1 / (1 - r^2)|): the worst that a moving mass alone is trusted to bound. So the trial starts smaller
# with it; at 0.7 of the as-is size simulated stiff stands still move by a quarter, soft ones by about all.
_RESONANT = 3.0
_AIM_FREE_MASS = 0.7
# Moulded propellers and pressed bells come with their centre of mass some 0.02 to 0.2 mm off the shaft
# (common practice, no source): a trial like the lower middle of them shows and seldom doubles what is there.
_USUAL_ECCENTRICITY = 50e-6
# A rotor weighs about a twentieth of what it carries in hover, so ten times its weight is half the thrust
# that motor and mount take all the time (computed from usual builds, no source). 1 N if nothing was weighed.
_FORCE_IN_WEIGHTS, _FORCE_UNWEIGHED = 10.0, 1.0
_GUESS_UNWEIGHED = 0.3  # N: of the order of what the unbalance of a usual rotor pulls with itself
# A worst case of four times the vibration as found, or 1 g if that is more (common practice, no source)
_VIBRATION_TIMES, _VIBRATION_LEAST = 4.0, 10.0
_HELD_BACK = 0.5  # of the size aimed at: a limit that leaves less is worth a word
_SAME_PLACE = math.radians(5.0)


@dataclass(frozen=True)
class TrialAdvice:
    """A trial mass to try.

    Parameters
    ----------
    unbalance : complex
        Of the (first) trial in kg m, with its direction.
    angles : tuple of float
        Angle in rad of each trial run to make: one with phase, several of one size without.
    basis : {"influence", "moving-mass", "first-guess"}
        What the size rests on.
    bounded_by : {"", "noise", "force", "vibration"}
        What moved the size away from the one aimed at.
    effect : float or None
        Expected change of the clearest channel in m/s^2; None when nothing of the stand is known.
    force : float
        Centrifugal force of the trial mass in N.
    weights : float
        The same in multiples of the piece's own weight at the radius asked for.
    findings : tuple of Finding
        What the person should know about it.
    """

    unbalance: complex
    angles: tuple[float, ...]
    basis: Basis
    bounded_by: Bound
    effect: float | None
    force: float
    weights: float
    findings: tuple[Finding, ...] = ()

    @property
    def unbalances(self) -> tuple[complex, ...]:
        """What goes on in each of the trial runs, in kg m."""
        return tuple(cmath.rect(abs(self.unbalance), angle) for angle in self.angles)


@dataclass(frozen=True)
class Channel:
    """What sizing needs of one channel.

    Parameters
    ----------
    amplitude, noise : float
        Of the as-is reading in m/s^2; the noise is that of one component.
    gain, worst_gain : float
        Likely and largest credible size of the influence coefficient in m/s^2 per kg m.
    """

    amplitude: float
    noise: float
    gain: float
    worst_gain: float


def advise_trial(  # noqa: PLR0913 - each is a fact of its own that may be missing, and all go by name
    as_is: Run,
    *,
    speed: float,
    radius: float,
    influence: Sequence[UncertainComplex] | None = None,
    moving_mass: float | None = None,
    rotor_mass: float | None = None,
    force_limit: float | None = None,
    most_vibration: float | None = None,
    places: Sequence[float] | None = None,
) -> TrialAdvice:
    """Size and place a trial mass.

    With phase it is to move the vector by about its own size (30 % or 30 degrees would do, common practice);
    without phase as well, where less costs accuracy quickly. It rests on the best that is known: the stored
    influence coefficient; else the moving mass M of the stand, which far above its resonances answers an
    unbalance U with the acceleration U w^2 / M (textbook: rotating unbalance); else on usual eccentricities.
    The big-machine rule of a tenth of the rotor's weight is left out: above 1,490 rpm it is less than G6.3.

    Parameters
    ----------
    as_is : Run
        The rotor as found, readings in m/s^2 (any unit with `influence` and `most_vibration` in the same).
    speed : float
        In rad/s.
    radius : float
        Where the piece would go, in m, for `TrialAdvice.weights`.
    influence : sequence of UncertainComplex, optional
        One per channel, in reading per kg m. Without phase in `as_is` only its size is used.
    moving_mass : float, optional
        All that shakes in kg: motor, propeller, holder, sensor.
    rotor_mass : float, optional
        In kg.
    force_limit : float, optional
        In N; by default 10 times the rotor's weight (about half of what it lifts in hover), or 1 N.
    most_vibration : float, optional
        In m/s^2: no channel may come to more, were the effect in phase with the vibration; by default 4
        times the largest as-is amplitude, or 10 m/s^2 if that is more.
    places : sequence of float, optional
        The only angles in rad that a piece may go to, such as the blades'.

    Returns
    -------
    TrialAdvice
        Size, angles, and what they rest on.

    Raises
    ------
    InputError
        If a number is not above 0, or the channels and the coefficients do not match.
    """
    _above_zero(
        speed=speed,
        radius=radius,
        moving_mass=moving_mass,
        rotor_mass=rotor_mass,
        force_limit=force_limit,
        most_vibration=most_vibration,
    )
    if influence is not None and len(influence) != len(as_is.readings):
        raise InputError(
            f"{len(influence)} influence coefficients do not fit {len(as_is.readings)} channels",
            todo="use those of the same stand and sensor set-up",
        )
    basis, channels = _channels(as_is, speed, influence, moving_mass)
    opposite = _opposite(as_is, influence, channels)
    wanted = _wanted(channels, opposite, as_is.has_phase, _guess(rotor_mass, speed))
    limit = most_vibration or max(_VIBRATION_TIMES * max(c.amplitude for c in channels), _VIBRATION_LEAST)
    force = force_limit or _usual_limit(rotor_mass)
    size, bounded_by, findings = _bounded(wanted, channels, limit, force / speed**2)
    angles, placing = _angles(as_is.has_phase, opposite, places)
    clearest = max(channels, key=lambda c: c.gain / c.noise)
    return TrialAdvice(
        unbalance=cmath.rect(size, angles[0]),
        angles=angles,
        basis=basis,
        bounded_by=bounded_by,
        effect=None if basis == "first-guess" else clearest.gain * size,
        force=centrifugal_force(size, speed),
        weights=radius * speed**2 / G_STANDARD,
        findings=(*findings, *placing),
    )


def _above_zero(**facts: float | None) -> None:
    for name, value in facts.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            words = name.replace("_", " ")
            raise InputError(f"the {words} must be above 0 to size a trial mass", todo=f"give the {words}")


def _channels(
    as_is: Run, speed: float, influence: Sequence[UncertainComplex] | None, moving_mass: float | None
) -> tuple[Basis, list[Channel]]:
    read = [(amplitude_of(r), noise_of(r)) for r in as_is.readings]
    # an exact reading still gets a noise, or nothing could be said about how clear a channel is
    floor = 1e-6 * max(amplitude for amplitude, _ in read) or 1e-12
    read = [(amplitude, max(noise, floor)) for amplitude, noise in read]
    if influence is not None:
        if not any(h.amplitude > 0 for h in influence):
            raise InputError("an influence coefficient of 0 sizes no trial mass", todo="leave it out")
        return "influence", [
            Channel(amplitude, noise, h.amplitude, h.amplitude + 2 * h.covariance.radius)
            for (amplitude, noise), h in zip(read, influence, strict=True)
        ]
    if moving_mass is not None:
        gain = speed**2 / moving_mass
        # the axis that sees most is the one that such a mass speaks of
        return "moving-mass", [Channel(*max(read), gain, _RESONANT * gain)]
    return "first-guess", [Channel(amplitude, noise, 0.0, 0.0) for amplitude, noise in read]


def amplitude_of(reading: Reading) -> float:
    """Give the amplitude of a reading with or without phase."""
    return reading.value if isinstance(reading, Amplitude) else reading.amplitude


def noise_of(reading: Reading) -> float:
    """Give the standard uncertainty of a reading; of one component, with phase."""
    return reading.sd if isinstance(reading, Amplitude) else reading.covariance.radius


def _opposite(
    as_is: Run, influence: Sequence[UncertainComplex] | None, channels: Sequence[Channel]
) -> complex | None:
    """Give the unbalance (kg m) opposite the heavy spot that would bring the vector to 0, if phases tell."""
    if influence is None or not as_is.has_phase:
        return None
    power = sum((c.gain / c.noise) ** 2 for c in channels)
    pull = sum(
        h.value.conjugate() * complex(reading.value) / c.noise**2
        for h, reading, c in zip(influence, as_is.readings, channels, strict=True)
    )
    return -pull / power


def _guess(rotor_mass: float | None, speed: float) -> float:
    """Give an unbalance in kg m where nothing of the stand is known."""
    return _GUESS_UNWEIGHED / speed**2 if rotor_mass is None else rotor_mass * _USUAL_ECCENTRICITY


def _usual_limit(rotor_mass: float | None) -> float:
    """Give the force limit in N where the person sets none."""
    return _FORCE_UNWEIGHED if rotor_mass is None else _FORCE_IN_WEIGHTS * rotor_mass * G_STANDARD


def _wanted(channels: Sequence[Channel], opposite: complex | None, with_phase: bool, guess: float) -> float:
    """Give the unbalance in kg m aimed at, before any limit."""
    if opposite is not None:
        return abs(opposite)
    power = sum((c.gain / c.noise) ** 2 for c in channels)
    if power == 0:
        return guess
    same = math.sqrt(sum((c.amplitude / c.noise) ** 2 for c in channels) / power)
    sure = all(c.worst_gain < _RESONANT * c.gain for c in channels)
    return same if sure or not with_phase else _AIM_FREE_MASS * same


def _bounded(
    wanted: float, channels: Sequence[Channel], limit: float, most_by_force: float
) -> tuple[float, Bound, list[Finding]]:
    """Keep an unbalance (kg m) above the noise and below both limits, and say which of them held it."""
    loudest = max(c.amplitude for c in channels)
    if loudest >= limit:
        return 0.0, "vibration", [Finding.of("as_is_past_limit", "error", amplitude=loudest, limit=limit)]
    seen = [c for c in channels if c.gain > 0]
    least = min((ABOVE_NOISE * c.noise / c.gain for c in seen), default=0.0)
    most_by_vibration = min(((limit - c.amplitude) / c.worst_gain for c in seen), default=math.inf)
    aim, most = max(wanted, least), min(most_by_force, most_by_vibration)
    if aim <= most:
        return aim, "noise" if least > wanted else "", []
    bound: Bound = "force" if most_by_force < most_by_vibration else "vibration"
    if least > most:
        needed, allowed = gmm_from_kgm(least), gmm_from_kgm(most)
        return (
            most,
            bound,
            [Finding.of("trial_below_noise", "warning", needed_gmm=needed, allowed_gmm=allowed)],
        )
    if most < _HELD_BACK * wanted:
        return most, bound, [Finding.of("trial_held_back", "warning", share_percent=100 * most / wanted)]
    return most, bound, []


def _angles(
    with_phase: bool, opposite: complex | None, places: Sequence[float] | None
) -> tuple[tuple[float, ...], list[Finding]]:
    """Choose where the trial mass goes: one place with phase, three or two without."""
    allowed = _distinct(places or ())
    if places is not None and not allowed:
        raise InputError("there is no place for a trial mass", todo="name the angles where a piece may go")
    if with_phase:
        aim = cmath.phase(opposite) if opposite else 0.0
        return (min(allowed, key=lambda angle: _apart(angle, aim)) if allowed else aim,), []
    if not allowed:
        return THREE_PLACES, []
    if len(allowed) == 1:
        raise InputError(
            "without phase one place for the trial mass tells nothing about the angle",
            todo="find a second place, or use a pick-up",
        )
    chosen = max(
        itertools.combinations(allowed, min(len(allowed), 3)),
        key=lambda some: min(_apart(a, b) for a, b in itertools.combinations(some, 2)),
    )
    only_two = [Finding.of("trial_two_candidates", "info")] if len(chosen) == 2 else []
    return chosen, only_two


def _apart(first: float, second: float) -> float:
    """Angle in rad between two directions, 0 to pi."""
    return abs(math.remainder(first - second, 2 * math.pi))


def _distinct(angles: Sequence[float]) -> tuple[float, ...]:
    """Leave out angles that are the same place again."""
    kept: list[float] = []
    for angle in angles:
        if all(_apart(angle, other) > _SAME_PLACE for other in kept):
            kept.append(angle)
    return tuple(kept)

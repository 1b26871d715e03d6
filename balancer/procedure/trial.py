"""How large the trial mass should be."""

from __future__ import annotations

from balancer.errors import InputError


def first_trial(amplitude: float, speed: float, moving_mass: float) -> float:
    """Give a trial unbalance that shifts the 1x vector by about its own size.

    Far above its resonances a stand moves as a free mass M, and an unbalance U then gives an acceleration of
    U w^2 / M (textbook: rotating unbalance, any text on mechanical vibrations). Near a resonance the real
    effect is larger, so this is a first guess to be judged by what it does.

    Parameters
    ----------
    amplitude : float
        Of the as-is 1x vector in m/s^2.
    speed : float
        In rad/s.
    moving_mass : float
        Mass in kg of all that shakes: motor, propeller, holder, sensor.

    Returns
    -------
    float
        Unbalance in kg m.

    Raises
    ------
    InputError
        If one of the three is not above 0.
    """
    for name, value in (("amplitude", amplitude), ("speed", speed), ("moving mass", moving_mass)):
        if not value > 0:
            raise InputError(f"the {name} must be above 0 to size a trial mass", todo=f"give the {name}")
    return amplitude * moving_mass / speed**2

"""Refusal of impossible physics: everything that is wrong with a value object, in one sentence."""

from __future__ import annotations

from balancer.errors import InputError


def check(owner: str, *rules: tuple[bool, str]) -> None:
    """Refuse a value object if any of its rules does not hold.

    Parameters
    ----------
    owner : str
        What is being checked, such as ``stand``.
    *rules : tuple of (bool, str)
        Whether the rule holds, and the rule in words, such as ``moving_mass must be above 0``.

    Raises
    ------
    InputError
        If a rule does not hold; the sentence lists all that do not.

    Examples
    --------
    >>> check("stand", (0.0 > 0, "moving_mass must be above 0"), (True, "damping must be below 0.5"))
    Traceback (most recent call last):
    balancer.errors.InputError: the simulated stand: moving_mass must be above 0.
    """
    broken = [rule for holds, rule in rules if not holds]
    if broken:
        raise InputError(f"the simulated {owner}: {', '.join(broken)}")

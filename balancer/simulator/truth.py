"""What a simulated bench really was: the figures that a measurement should find."""

from __future__ import annotations

from dataclasses import dataclass

from balancer.core.masses import Mass, total_unbalance


@dataclass(frozen=True)
class Truth:
    """The truth of one run at its mean speed.

    Parameters
    ----------
    speed : float
        Shaft speed in rad/s.
    bell, propeller : complex
        Unbalance of the parts in kg m, both in the frame of the mark (the propeller as it is turned on the
        hub).
    masses : tuple of Mass
        What was fitted during the run.
    pull : complex
        Force in N that turned with the rotor, 0 with the power off.
    rotor_mass : float
        Bell and propeller in kg.
    channels : tuple of str
        Names of the sensor axes.
    influence : tuple of complex
        Of each axis, in (m/s^2)/(kg m): stand and sensor together.
    """

    speed: float
    bell: complex
    propeller: complex
    masses: tuple[Mass, ...]
    pull: complex
    rotor_mass: float
    channels: tuple[str, ...]
    influence: tuple[complex, ...]

    @property
    def rotor_unbalance(self) -> complex:
        """Unbalance of the rotor without the masses fitted, in kg m."""
        return self.bell + self.propeller

    @property
    def unbalance(self) -> complex:
        """Unbalance of the rotor and all masses fitted, in kg m."""
        return self.rotor_unbalance + total_unbalance(self.masses)

    @property
    def apparent_unbalance(self) -> complex:
        """What the stand feels at this speed in kg m: the unbalance, and the turning force taken as one."""
        return self.unbalance + self.pull / self.speed**2

    @property
    def vectors(self) -> tuple[complex, ...]:
        """The 1x vector of each axis in m/s^2, A exp(j lag)."""
        return tuple(h * self.apparent_unbalance for h in self.influence)

    @property
    def correction(self) -> complex:
        """Unbalance in kg m to add to what is fitted so that no 1x vibration is left at this speed."""
        return -self.apparent_unbalance

"""What the simulator's tests share: a small bench, and a least-squares fit on a known shaft angle."""

from collections.abc import Callable

import numpy as np
import pytest

from balancer.simulator.bench import Bench
from balancer.simulator.rotor import Rotor
from balancer.simulator.stand import Mode, Stand

Fit = Callable[..., np.ndarray]


@pytest.fixture
def stand() -> Stand:
    return Stand(
        moving_mass=0.25,
        first=Mode(22.0, 0.04),
        second=Mode(37.0, 0.06),
        axial=Mode(120.0, 0.03),
        turn=0.4,
        sensor_angle=0.9,
        coupling=0.07,
    )


@pytest.fixture
def bench(stand: Stand) -> Bench:
    """A bench without disturbances: a bell of 0.4 g mm and a propeller of 2 g mm."""
    rotor = Rotor(
        bell=0.4e-6 * np.exp(0.5j), propeller=2e-6 * np.exp(2.1j), index=0.3, propeller_mass=0.016, blades=2
    )
    return Bench(rotor, stand)


@pytest.fixture
def fit() -> Fit:
    """Fit orders to samples at known shaft angles; the vector of the asked order for each axis."""

    def fit_order(angle: np.ndarray, samples: np.ndarray, order: int = 1, others: tuple[int, ...] = ()):
        columns = [np.ones_like(angle)]
        for k in (order, *others):
            columns += [np.cos(k * angle), np.sin(k * angle)]
        found = np.linalg.lstsq(np.stack(columns, axis=1), samples.T, rcond=None)[0]
        return found[1] + 1j * found[2]  # A cos(angle - lag) = A cos(lag) cos(angle) + A sin(lag) sin(angle)

    return fit_order

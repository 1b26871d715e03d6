"""Where masses may go on a part: along its blades, round a ring, on screw heads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from balancer.errors import InputError

SANDED_FROM = 2 / 3
"""Sanding is allowed beyond this share of a blade's outer radius: the spar and the root carry the blade
(common practice, no source)."""

_SLACK = 1 - 1e-9  # two thirds, written in mm and read again, are two thirds


def evenly(count: int, first: float = 0.0) -> tuple[float, ...]:
    """Give so many angles in rad evenly round the shaft, beginning with the first.

    Examples
    --------
    >>> [round(math.degrees(angle)) for angle in evenly(4)]
    [0, 90, 180, 270]
    """
    return tuple(first + math.tau * k / count for k in range(count))


@dataclass(frozen=True)
class Blade:
    """A line along which strips lie on a blade, with their length along the radius.

    Parameters
    ----------
    name : str
        As in ``blade 1``.
    angle : float
        In rad from the mark, against the rotation.
    inner, outer : float
        Between which radii (m) tape may lie.
    usual : float, optional
        Radius in m where the person likes the middle of a strip best; the middle of the range by default.
    faces : {1, 2}, optional
        How many faces take tape.
    sanded_from : float, optional
        Radius in m beyond which the back may be sanded, up to `outer`; left out: no sanding.

    Raises
    ------
    InputError
        If the radii do not fit together, or sanding would reach the spar or the root.
    """

    name: str
    angle: float
    inner: float
    outer: float
    usual: float | None = None
    faces: int = 2
    sanded_from: float | None = None

    def __post_init__(self) -> None:
        _finite(self.name, self.angle, self.inner, self.outer, self.usual or 0.0, self.sanded_from or 0.0)
        if not 0 < self.inner < self.outer:
            raise InputError(
                f"tape on {self.name} must lie between two radii above 0, the inner one first",
                todo="check both radii",
            )
        if not self.inner <= self.usual_radius <= self.outer:
            raise InputError(
                f"the usual radius of tape on {self.name}, {1e3 * self.usual_radius:g} mm, lies outside the "
                f"allowed {1e3 * self.inner:g} to {1e3 * self.outer:g} mm",
                todo="check the radii",
            )
        if self.faces not in (1, 2):
            raise InputError("a blade has one face or two for tape", todo="give 1 or 2")
        if (
            self.sanded_from is not None
            and not _SLACK * SANDED_FROM * self.outer <= self.sanded_from < self.outer
        ):
            raise InputError(
                f"{self.name} may be sanded in its outer third only, never at the spar or the root",
                todo=f"sand from {1e3 * SANDED_FROM * self.outer:.0f} mm on, or not at all",
            )

    @property
    def usual_radius(self) -> float:
        """Radius in m where the middle of a strip goes if it serves."""
        return (self.inner + self.outer) / 2 if self.usual is None else self.usual


@dataclass(frozen=True)
class Slot:
    """An arc of a ring that takes masses.

    Parameters
    ----------
    angle : float
        Of its middle in rad from the mark, against the rotation.
    span : float
        Whole arc in rad, 0 to 2 pi; 0 is a single angle, where only a drop goes.
    """

    angle: float
    span: float

    def __post_init__(self) -> None:
        _finite("a slot", self.angle, self.span)
        if not 0 <= self.span <= math.tau:
            raise InputError("a slot spans between 0 and 360 degrees", todo="check its width")


@dataclass(frozen=True)
class Ring:
    """A hub or the rim of a bell, where strips bend round the shaft.

    Parameters
    ----------
    name : str
        As in ``hub`` or ``bell rim``.
    radius : float
        In m, above 0.
    slots : tuple of Slot, optional
        Where masses may go; empty: at any angle.
    removable : bool, optional
        Whether material may be taken off (a rim made to be drilled or filed).
    """

    name: str
    radius: float
    slots: tuple[Slot, ...] = ()
    removable: bool = False

    def __post_init__(self) -> None:
        _radius(self.name, self.radius)


@dataclass(frozen=True)
class Spots:
    """Single places such as screw heads or bolts, each for a drop or a washer.

    Parameters
    ----------
    name : str
        Of one of them, as in ``screw``; they are numbered from 1.
    radius : float
        In m, above 0.
    angles : tuple of float
        In rad from the mark, against the rotation.
    removable : bool, optional
        Whether material may be taken off there.
    """

    name: str
    radius: float
    angles: tuple[float, ...]
    removable: bool = False

    def __post_init__(self) -> None:
        _radius(self.name, self.radius)
        _finite(self.name, *self.angles)


@dataclass(frozen=True)
class Places:
    """All places of a part.

    Parameters
    ----------
    blades : tuple of Blade
        Empty for a bare bell.
    rings : tuple of Ring
        Usually one or none.
    spots : tuple of Spots
        Usually one set or none.
    blades_first : bool, optional
        Whether a ring takes no more than what the blades cannot. A strip on a blade sits at its angle by
        itself, one on a ring only as well as it is laid, and it needs more tape.

    Raises
    ------
    InputError
        If there is no place at all.
    """

    blades: tuple[Blade, ...] = ()
    rings: tuple[Ring, ...] = ()
    spots: tuple[Spots, ...] = ()
    blades_first: bool = True

    def __post_init__(self) -> None:
        if not (self.blades or self.rings or any(s.angles for s in self.spots)):
            raise InputError(
                "there is no place for a mass on this part", todo="name blades, a ring or screw heads"
            )

    @classmethod
    def of_propeller(  # noqa: PLR0913 - each is a fact of its own, and all but three go by name
        cls,
        blades: int,
        inner: float,
        outer: float,
        *,
        usual: float | None = None,
        first: float = 0.0,
        faces: int = 2,
        sanded_from: float | None = None,
        ring: Ring | None = None,
    ) -> Places:
        """Make the places of a propeller.

        Parameters
        ----------
        blades : int
            How many, 2 or more.
        inner, outer, usual, faces, sanded_from
            As in `Blade`.
        first : float, optional
            Angle of the first blade in rad; the others follow evenly.
        ring : Ring, optional
            The hub or the bell's rim below; left out: no mass may go there.

        Returns
        -------
        Places
            The places.

        Raises
        ------
        InputError
            If there are less than two blades or a number does not fit.
        """
        if blades < 2:
            raise InputError("a propeller has two blades or more", todo="give the number of blades")
        lines = tuple(
            Blade(f"blade {k + 1}", first + math.tau * k / blades, inner, outer, usual, faces, sanded_from)
            for k in range(blades)
        )
        return cls(lines, () if ring is None else (ring,))

    @classmethod
    def of_bell(
        cls,
        radius: float | None = None,
        *,
        slots: Sequence[Slot] = (),
        screws: Spots | None = None,
        name: str = "bell rim",
    ) -> Places:
        """Make the places of a bare bell: its rim (radius in m; None: it stays free), and screw heads."""
        rings = () if radius is None else (Ring(name, radius, tuple(slots)),)
        return cls((), rings, () if screws is None else (screws,))

    @property
    def radius(self) -> float:
        """Radius in m where a mass usually goes: on a blade, else on the ring, else on a screw head."""
        if self.blades:
            return self.blades[0].usual_radius
        return self.rings[0].radius if self.rings else self.spots[0].radius


def _finite(what: str, *values: float) -> None:
    if not all(math.isfinite(value) for value in values):
        raise InputError(f"radii and angles of {what} must be finite numbers", todo="check them")


def _radius(what: str, radius: float) -> None:
    _finite(what, radius)
    if radius <= 0:
        raise InputError(f"the radius of the {what} must be above 0", todo="give it in mm")

"""A part with all that is said of it, and where it is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from balancer.core.grade import DEFAULT_GRADE
from balancer.core.pieces import Piece
from balancer.core.places import Places
from balancer.errors import InputError
from balancer.history.records.kept import Kept, check_digest, check_id, check_name, check_words
from balancer.procedure.part import Hand, Kind, Part

LONGEST_LABEL = 12
"""Characters of a label: what can be written by hand on a strip of tape the length of a finger joint."""

State = Literal["fitted", "spare", "retired"]


@dataclass(frozen=True)
class PropellerSizes:
    """What a propeller is.

    Parameters
    ----------
    diameter : float
        In m, above 0.
    blades : int
        2 or more.
    hand : {"ccw", "cw"}
        How it turns, seen from the front.
    pitch : float or None
        In m, above 0; None when not known.
    material : str
        In the person's words.
    """

    diameter: float
    blades: int
    hand: Hand
    pitch: float | None = None
    material: str = ""

    def __post_init__(self) -> None:
        _above_0(diameter=self.diameter, pitch=self.pitch)
        check_words("the material", self.material)
        if not 2 <= self.blades <= 12:
            raise InputError(f"a propeller has 2 to 12 blades, not {self.blades}", todo="count them")
        if self.hand not in {"ccw", "cw"}:
            raise InputError(f'the hand of a propeller is ccw or cw, not "{self.hand}"', todo="correct it")


@dataclass(frozen=True)
class BellSizes:
    """What a motor bell is.

    Parameters
    ----------
    radius : float or None
        Of its rim in m, above 0; None when not known.
    motor : str
        Size of the motor in the maker's words.
    magnets : int or None
        How many.
    """

    radius: float | None = None
    motor: str = ""
    magnets: int | None = None

    def __post_init__(self) -> None:
        _above_0(radius=self.radius)
        check_words("the size of the motor", self.motor)
        if self.magnets is not None and not 2 <= self.magnets <= 200:
            raise InputError(f"a bell has 2 to 200 magnets, not {self.magnets}", todo="count them")


@dataclass(frozen=True)
class Location:
    """Where a part is now.

    Parameters
    ----------
    state : {"fitted", "spare", "retired"}
        On a machine, in the box, or no longer in use.
    machine : str or None
        Id of the machine it is fitted to.
    arm : int or None
        Number of the arm it is fitted to, 1 or more.
    turned : float or None
        Of a propeller on an arm: where its mark stands on the hub, from the mark of the bell against the
        rotation in rad, 0 to 2 pi. None where that is not known; it is then assumed to be in line.
    """

    state: State = "spare"
    machine: str | None = None
    arm: int | None = None
    turned: float | None = None

    def __post_init__(self) -> None:
        if self.state not in {"fitted", "spare", "retired"}:
            raise InputError(f"a part is fitted, spare or retired, not {self.state!r}", todo="correct it")
        if (self.state == "fitted") != (self.machine is not None and self.arm is not None) or (
            self.machine is None
        ) != (self.arm is None):
            raise InputError(
                "a part that is fitted is on an arm of a machine, and no other is",
                todo="give both machine and arm, or neither",
            )
        if self.machine is not None:
            check_id("machine", self.machine)
        if self.arm is not None and not 1 <= self.arm <= 99:
            raise InputError("arms are numbered from 1 to 99", todo="give the number of the arm")
        if self.turned is not None:
            self._check_turned(self.turned)

    def _check_turned(self, turned: float) -> None:
        if self.state != "fitted":
            raise InputError(
                "only a propeller on an arm is turned on a hub", todo="leave out how it is turned, or fit it"
            )
        if not 0 <= turned <= math.tau:
            raise InputError("a mark stands at 0 to 360 degrees on the hub", todo="correct the angle")


SPARE = Location()
RETIRED = Location("retired")


@dataclass(frozen=True, kw_only=True)
class PartRecord(Kept):
    """A part of the history.

    Parameters
    ----------
    label : str
        What is written on its tape: up to `LONGEST_LABEL` characters, unique among the parts in use.
    kind : {"propeller", "bell", "adapter"}
        What it is.
    mass : float or None
        In kg, above 0; None until it was weighed.
    sizes : PropellerSizes or BellSizes or None
        As the kind has them; None for an adapter.
    words : str
        What else the person says.
    photo : str
        Digest of a photo in the store; empty for none.
    where : Location
        Where it is now.
    places : Places or None
        Where masses may go; None until it was said.
    pieces : tuple of Piece
        What is on it now beyond the part as it was made.
    grade : float
        Balance quality grade asked for, in m/s.

    Raises
    ------
    InputError
        If something does not fit.
    """

    label: str
    kind: Kind
    mass: float | None = None
    sizes: PropellerSizes | BellSizes | None = None
    words: str = ""
    photo: str = ""
    where: Location = SPARE
    places: Places | None = None
    pieces: tuple[Piece, ...] = ()
    grade: float = DEFAULT_GRADE

    def __post_init__(self) -> None:
        super().__post_init__()
        check_name("the label", self.label, LONGEST_LABEL)
        check_words("what is said of the part", self.words)
        _above_0(mass=self.mass, grade=self.grade)
        if self.photo:
            check_digest("photo", self.photo)
        wanted = {"propeller": PropellerSizes, "bell": BellSizes, "adapter": type(None)}.get(self.kind)
        if wanted is None or not isinstance(self.sizes, wanted):
            raise InputError(
                f"these are not the sizes of part {self.label}, which is called a {self.kind}",
                todo="give diameter, blades and hand of a propeller, those of its motor for a bell",
            )
        if self.where.turned is not None and self.kind != "propeller":
            raise InputError(
                f"part {self.label} is called a {self.kind}, and only a propeller is turned on a hub",
                todo="leave out how it is turned",
            )
        if self.places is not None:
            self._check_blades(self.places)

    def _check_blades(self, places: Places) -> None:
        blades = self.sizes.blades if isinstance(self.sizes, PropellerSizes) else 0
        if len(places.blades) != blades:
            raise InputError(
                f"part {self.label} has {blades} blades, its places for masses {len(places.blades)}",
                todo="give a place on each blade",
            )

    def on_bench(self, hand: Hand = "ccw") -> Part:
        """Give the part as a job takes it.

        Parameters
        ----------
        hand : {"ccw", "cw"}
            How it turns, if it is no propeller.

        Returns
        -------
        Part
            With the label as its name.

        Raises
        ------
        InputError
            If its mass or its places for masses are not known.
        """
        if self.mass is None:
            raise InputError(f"the mass of part {self.label} is not known", todo="weigh it")
        if self.places is None:
            raise InputError(f"where masses may go on part {self.label} is not known", todo="say its places")
        turns = self.sizes.hand if isinstance(self.sizes, PropellerSizes) else hand
        return Part(self.kind, self.mass, self.places, self.label, turns, self.grade)


def _above_0(**sizes: float | None) -> None:
    for what, size in sizes.items():
        if size is not None and not 0 < size < math.inf:
            raise InputError(f"the {what} of a part must be a number above 0", todo="measure it")

"""One step of a job as data: what to do now and why. Words for it are in `wording.job`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from balancer.core.pieces import Piece
from balancer.core.placement import Placement
from balancer.core.stopping import Verdict
from balancer.findings import Finding
from balancer.procedure.solve import Solution
from balancer.procedure.trial import TrialAdvice
from balancer.procedure.trial_judgement import TrialJudgement

Action = Literal["acknowledge", "balance-bell", "check-sensor", "fit", "spin", "set-aside", "done", "stop"]


@dataclass(frozen=True)
class Step:
    """The one thing to do now.

    Parameters
    ----------
    action : str
        ``acknowledge`` the cautions, ``balance-bell`` first, ``check-sensor`` at rest, ``fit`` the pieces,
        ``spin`` and add the run, ``set-aside`` runs that do not belong, ``done`` or ``stop``.
    why : Finding
        The reason, with its figures.
    purpose : str
        Of the run that the step makes or leads to: ``as-is``, ``trial`` or ``check``; for pieces to fit
        ``trial``, ``correction``, ``trim`` or ``take-off``.
    pieces : tuple of Piece
        All that is to be on the rotor beyond the rotor as found, for ``fit`` and ``spin``.
    taken_off : tuple of Piece
        What is on now and comes off first.
    runs : tuple of int
        The runs in question, counted from 1.
    placements : tuple of Placement
        Of a correction: the one advised, then its alternatives.
    trial : TrialAdvice or None
        Of a trial: how its size was found.
    judged : TrialJudgement or None
        Of a correction: what the trial before it was worth.
    solution : Solution or None
        What is known of the rotor by now.
    verdict : Verdict or None
        What is left with the pieces that are on now, and whether that is good enough.
    findings : tuple of Finding
        What else was noticed on the way.
    """

    action: Action
    why: Finding
    purpose: str = ""
    pieces: tuple[Piece, ...] = ()
    taken_off: tuple[Piece, ...] = ()
    runs: tuple[int, ...] = ()
    placements: tuple[Placement, ...] = ()
    trial: TrialAdvice | None = None
    judged: TrialJudgement | None = None
    solution: Solution | None = None
    verdict: Verdict | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def stays(self) -> tuple[Piece, ...]:
        """What is on now and stays."""
        kept = [piece for placement in self.placements[:1] for piece in placement.kept]
        return tuple(piece for piece in self.pieces if any(piece is one for one in kept))

    @property
    def put_on(self) -> tuple[Piece, ...]:
        """What goes on: the pieces without those that stay."""
        return tuple(piece for piece in self.pieces if all(piece is not one for one in self.stays))

    @property
    def ends(self) -> bool:
        """Whether the job is over: done, or stopped for a reason."""
        return self.action in {"done", "stop"}

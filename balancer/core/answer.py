"""What the runs of a rotor amount to: its unbalance, how it answers, and what to add."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding

InfluenceFrom = Literal["runs", "known", "both"]


@dataclass(frozen=True)
class Answer:
    """The outcome of solving runs.

    Parameters
    ----------
    method : {"influence", "amplitude-only"}
        With or without phase.
    initial : tuple of UncertainComplex
        1x vector of the rotor as found, all listed masses off, one for each channel. Without phase its
        angle is 0 by choice.
    influence : tuple of UncertainComplex
        Influence coefficient H of each channel in reading per kg m. Without phase its angle is relative to
        `initial`.
    correction : UncertainComplex
        Unbalance in kg m to add to the rotor as found, all listed masses off.
    next_correction : UncertainComplex
        What to add to what is fitted in the last run.
    predicted : tuple of UncertainComplex
        1x vector that the fit expects with `correction` on: 0 for one channel, what the channels cannot
        agree on for several.
    alternatives : tuple of UncertainComplex
        Other corrections that fit the runs as well; not empty means that one more run must decide.
    consistency : float or None
        With phase: root mean square misfit of the runs over the largest effect of a fitted mass. Without:
        how far the effect of the trial mass found in two ways differs. None when no run is redundant.
    findings : tuple of Finding
        What was noticed.
    influence_from : {"runs", "known", "both"}
        Where the influence coefficient comes from: these runs, one known beforehand, or the two together.
    """

    method: str
    initial: tuple[UncertainComplex, ...]
    influence: tuple[UncertainComplex, ...]
    correction: UncertainComplex
    next_correction: UncertainComplex
    predicted: tuple[UncertainComplex, ...]
    alternatives: tuple[UncertainComplex, ...] = ()
    consistency: float | None = None
    findings: tuple[Finding, ...] = ()
    influence_from: InfluenceFrom = "runs"

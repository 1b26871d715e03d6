"""What changed during a job: a piece came off, the stand answers differently, or one run went wrong.

When the runs contradict each other (chi squared of V = V0 + H W), each explanation is tried and judged by the
chi squared that it leaves: one of the listed pieces missing from some run on, which takes no free number; all
vectors from some run on multiplied by one factor, or one run left out, which take one for each channel. The
explanation without free numbers goes first.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.optimize import least_squares
from scipy.special import chdtrc  # quicker to load than scipy.stats

from balancer.core.channel_fit import (
    ChannelFit,
    Floats,
    Known,
    fit_channel,
    fit_runs,
    masses_differ,
    unbalance_scale,
    with_phase,
)
from balancer.core.masses import Mass
from balancer.core.outliers import REPEATABILITY, redundancy, soften
from balancer.core.runs import Run
from balancer.findings import Finding
from balancer.units import degrees_0_360, g_from_kg

_FALSE_ALARM = 0.007  # in a job in which nothing changed
_FITS = 0.01  # probability of a chi squared so large, down to which an explanation fits
_RIVAL = 6.0  # chi squared: an explanation worse by less (a likelihood of 5 %) may be the true one
_LARGEST_FACTOR = 3.0  # a stand that moved answers differently, but not by more than this

Kind = Literal["piece_off", "influence", "run", "unclear"]


@dataclass(frozen=True)
class Change:
    """What explains why the runs contradict each other.

    Parameters
    ----------
    kind : {"piece_off", "influence", "run", "unclear"}
        A listed piece is missing; the stand answers differently; one run alone is off; it cannot be told.
    run : int
        Index, from 0, of the first run that it concerns; the last run when it is unclear.
    mass : Mass or None
        The missing piece.
    rivals : tuple of Mass
        Other pieces whose loss explains the runs about as well.
    ratio : tuple of complex
        New influence coefficient over the old one for each channel; empty unless the kind is ``influence``.
    channel : int
        The one that answers most, from 0.
    """

    kind: Kind
    run: int
    mass: Mass | None = None
    rivals: tuple[Mass, ...] = ()
    ratio: tuple[complex, ...] = ()
    channel: int = 0

    @property
    def finding(self) -> Finding:
        """The change with its figures (runs counted from 1), for words."""
        run = self.run + 1
        if self.mass is not None:
            grams, angle = g_from_kg(self.mass.mass), degrees_0_360(self.mass.angle)
            if self.rivals:
                count = len(self.rivals) + 1
                return Finding.of(
                    "one_of_pieces_off", "error", run=run, mass_g=grams, angle_deg=angle, count=count
                )
            return Finding.of("piece_off", "error", run=run, mass_g=grams, angle_deg=angle)
        if self.kind == "influence":
            main = self.ratio[self.channel]
            return Finding.of(
                "influence_changed_on_the_way",
                "error",
                run=run,
                size_percent=100 * abs(main),
                turn_deg=math.degrees(cmath.phase(main)),
            )
        if self.kind == "run":
            return Finding.of("run_off", "warning", run=run)
        return Finding.of("change_unclear", "warning", run=run)


@dataclass(frozen=True)
class _Explanation:
    change: Change
    misfit: float
    freedom: int

    @property
    def fits(self) -> bool:
        return self.freedom <= 0 or bool(chdtrc(self.freedom, self.misfit) > _FITS)


def find_change(
    runs: Sequence[Run], known: Known | None = None, *, repeatability: float = REPEATABILITY
) -> Change | None:
    """Look for what changed between the runs of a job.

    Parameters
    ----------
    runs : sequence of Run
        With phase, at one speed (`Run.at_speed`), in the order of time.
    known : sequence of UncertainComplex, optional
        Influence coefficient of each channel in reading per kg m, known beforehand.
    repeatability : float
        Share of each reading, and of the effect of the masses in it, added to its uncertainty.

    Returns
    -------
    Change or None
        None if the runs fit together, or none is redundant (three runs, or two with `known`, are needed; one
        more to tell a run that is off from a stand that changed).
    """
    if redundancy(runs, known) < 1 or (known is None and not masses_differ(runs)):
        return None
    soft = soften(runs, known, repeatability=repeatability)
    spare = 2 * len(runs[0].readings)
    freedom = spare * redundancy(runs, known)
    if chdtrc(freedom, _misfit(soft, known)) > _FALSE_ALARM:
        return None
    pieces = [e for e in _missing_pieces(soft, known, freedom) if e.fits]
    if pieces:
        return _likeliest_piece(pieces)
    others = [*_single_runs(soft, known, freedom - spare), *_turned(soft, known, freedom - spare)]
    best = sorted((e for e in others if e.fits), key=lambda e: e.misfit)
    rivals = [e for e in best[1:] if e.misfit - best[0].misfit < _RIVAL]
    return best[0].change if best and not rivals else Change("unclear", len(runs) - 1)


def _misfit(runs: Sequence[Run], known: Known | None) -> float:
    return sum(fit.misfit for fit in fit_runs(runs, known)[0])


def _missing_pieces(runs: Sequence[Run], known: Known | None, freedom: int) -> Iterator[_Explanation]:
    for start, run in enumerate(runs):
        for mass in (m for m in dict.fromkeys(run.masses) if m.mass > 0):  # what was removed stays so
            changed = list(runs)
            for index in range(start, len(runs)):
                if mass not in runs[index].masses:
                    break  # taken off by the person: it cannot be missing any more
                changed[index] = replace(runs[index], masses=_less(runs[index].masses, mass))
            if known is not None or masses_differ(changed):
                yield _Explanation(Change("piece_off", start, mass), _misfit(changed, known), freedom)


def _less(masses: tuple[Mass, ...], gone: Mass) -> tuple[Mass, ...]:
    position = masses.index(gone)
    return masses[:position] + masses[position + 1 :]


def _likeliest_piece(pieces: Sequence[_Explanation]) -> Change:
    best = min(pieces, key=lambda e: e.misfit)
    near = {e.change.mass for e in pieces if e.misfit - best.misfit < _RIVAL} - {best.change.mass}
    return replace(best.change, rivals=tuple(mass for mass in near if mass is not None))


def _single_runs(runs: Sequence[Run], known: Known | None, freedom: int) -> Iterator[_Explanation]:
    for index in range(len(runs)):
        others = [run for i, run in enumerate(runs) if i != index]
        if others and (known is not None or masses_differ(others)):
            yield _Explanation(Change("run", index), _misfit(others, known), freedom)


def _turned(runs: Sequence[Run], known: Known | None, freedom: int) -> Iterator[_Explanation]:
    """From some run on all vectors are multiplied by a factor; the last run alone would be a single run."""
    if known is not None and masses_differ(runs):
        fits, scale = fit_runs(runs)
        factors = tuple(f.effect / (h.value * scale) for f, h in zip(fits, known, strict=True))
        if _plausible(factors):
            change = Change("influence", 0, ratio=factors, channel=_strongest(fits))
            yield _Explanation(change, sum(f.misfit for f in fits), freedom)
    for start in range(1, len(runs) - 1):
        if known is None and not masses_differ(runs[:start]):
            continue
        found = [_turn(runs, known, start, channel) for channel in range(len(runs[0].readings))]
        factors = tuple(factor for factor, _ in found)
        if _plausible(factors):
            fits = [fit for _, fit in found]
            change = Change("influence", start, ratio=factors, channel=_strongest(fits))
            yield _Explanation(change, sum(fit.misfit for fit in fits), freedom)


def _strongest(fits: Sequence[ChannelFit]) -> int:
    return int(np.argmax([abs(fit.effect) for fit in fits]))


def _plausible(factors: Sequence[complex]) -> bool:
    return all(1 / _LARGEST_FACTOR <= abs(factor) <= _LARGEST_FACTOR for factor in factors)


def _turn(runs: Sequence[Run], known: Known | None, start: int, channel: int) -> tuple[complex, ChannelFit]:
    """Find the factor of one channel from the run `start` on; V0 and H are solved for at each try."""
    scale = unbalance_scale(runs, known)
    readings = [with_phase(run.readings[channel]) for run in runs]
    fitted = np.array([run.unbalance for run in runs], dtype=np.complex128) / scale
    effect = None if known is None else known[channel].times(scale)
    before = fit_channel(readings[:start], fitted[:start], effect)

    def fit(factor: complex) -> ChannelFit:
        return fit_channel(readings, fitted, effect, [1.0] * start + [factor] * (len(runs) - start))

    def whitened(p: Floats) -> Floats:
        return fit(complex(p[0], p[1])).whitened

    expected = np.array([before.predicted(complex(w)).value for w in fitted[start:]])
    seen = np.array([reading.value for reading in readings[start:]])
    guess = complex(np.vdot(expected, seen) / max(float(np.vdot(expected, expected).real), 1e-300))
    found = least_squares(whitened, (guess.real, guess.imag), method="lm")
    factor = complex(*found.x)
    return factor, fit(factor)

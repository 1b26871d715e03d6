"""Stored influence coefficients, and how far to trust them, in a line or two."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from balancer.units import degrees_0_360, rpm_from_rad_s
from balancer.wording.basics import finding_line, significant

if TYPE_CHECKING:
    from balancer.procedure.coefficients import StoredCoefficient
    from balancer.procedure.trust import Trust


def coefficient_lines(stored: StoredCoefficient) -> list[str]:
    """Describe a stored coefficient.

    Parameters
    ----------
    stored : StoredCoefficient
        Any.

    Returns
    -------
    list of str
        Where, when and how found; then one line for each channel.
    """
    set_up = stored.set_up
    of_jobs = "1 job" if stored.determinations == 1 else f"{stored.determinations} jobs"
    scatter = "" if stored.scatter is None else f", scatter {significant(100 * stored.scatter, 2)} %"
    hand = f", {set_up.hand}" if set_up.hand else ""
    day = "day unknown" if stored.when is None else stored.when.isoformat()
    lines = [
        f"influence coefficient of {set_up.stand} at {rpm_from_rad_s(stored.speed):.0f} rpm{hand} ({day}, "
        f"{of_jobs}, {stored.runs} runs{scatter})"
    ]
    for name, h in zip(set_up.channels, stored.influence, strict=True):
        size = f"{significant(h.amplitude * 1e-6)} {set_up.unit} per g mm"  # per kg m to per g mm
        share = 100 * h.sd_amplitude / h.amplitude
        turn = (
            f" at {degrees_0_360(h.lag):.0f} deg (± {significant(math.degrees(h.sd_lag), 2)})"
            if stored.has_phase
            else ", no phase"
        )
        lines.append(f"  {name}: {size} (± {significant(share, 2)} %){turn}")
    return lines


def trust_lines(trusted: Trust) -> list[str]:
    """Say whether and how far a stored coefficient serves: one line for each finding."""
    return [finding_line(finding) for finding in trusted.findings]

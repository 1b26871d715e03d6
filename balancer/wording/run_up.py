"""Words for run-ups and taps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from balancer.units import rpm_from_rad_s
from balancer.wording.basics import finding_line, significant

if TYPE_CHECKING:
    from balancer.core.decay import Decay
    from balancer.core.resonance import Resonance
    from balancer.procedure.run_up import Proposal, RunUp

SWEEP_CAUTIONS = (
    "A sweep passes resonances, where the stand shakes far more. Clamp it firmly and tug at it first.",
    "Stay out of the plane of the propeller and wear eye protection; keep everybody else away.",
    "Watch the stand, not the screen; a hand on the cut-off, which must not lie beyond the propeller.",
    "Cut the power at once if a part comes loose, tape lifts or the shaking frightens you.",
    "Do not stay at a resonance. Keep below the highest speed that the makers of motor and propeller allow.",
)


def run_up_lines(shown: RunUp) -> list[str]:
    """Describe a run-up or coast-down."""
    speeds = shown.track.speeds
    lines = [
        f"{shown.track.source or 'sweep'}: {rpm_from_rad_s(speeds.min()):.0f} to "
        f"{rpm_from_rad_s(speeds.max()):.0f} rpm, {speeds.size} vectors"
    ]
    lines += [f"  resonance at {resonance_text(mode)}" for mode in shown.resonances]
    for low, high in shown.avoid:
        lines.append(f"  keep out of {rpm_from_rad_s(low):.0f} to {rpm_from_rad_s(high):.0f} rpm")
    if shown.proposed is not None:
        lines.append(f"  {proposal_text(shown.proposed)}")
    return [*lines, *(f"  {finding_line(finding)}" for finding in shown.findings)]


def resonance_text(mode: Resonance) -> str:
    """Write a resonance with its uncertainties."""
    return (
        f"{mode.frequency:.2f} Hz (± {significant(mode.sd_frequency, 2)}; {60 * mode.frequency:.0f} rpm), "
        f"damping ratio {significant(mode.damping)} (± {significant(mode.sd_damping, 2)}), "
        f"amplification {mode.amplification:.0f}"
    )


def proposal_text(proposed: Proposal) -> str:
    """Propose a speed, with the reason."""
    reasons = []
    if proposed.nearest is not None and proposed.distance is not None:
        side = "above" if proposed.distance > 0 else "below"
        reasons.append(
            f"{100 * abs(proposed.distance):.0f} % {side} the resonance at "
            f"{60 * proposed.nearest.frequency:.0f} rpm"
        )
    if proposed.from_hover is not None:
        reasons.append(f"{100 * abs(proposed.from_hover):.0f} % from hover")
    reasons.append(f"1x is {significant(proposed.signal_to_noise, 2)} times its noise in a tenth of a second")
    return (
        f"balance at {round(rpm_from_rad_s(proposed.speed), -1):.0f} rpm: {', '.join(reasons)}; "
        f"1 % of speed changes the vector by {significant(proposed.swing_percent, 2)} %"
    )


def decay_lines(decay: Decay) -> list[str]:
    """Describe what rang after taps."""
    share = f"{100 * decay.explained:.0f} %"
    first = f"{len(decay.taps)} taps; what rings makes up {share} of the vibration after them"
    return [first, *(f"  {resonance_text(mode)}" for mode in decay.modes)]

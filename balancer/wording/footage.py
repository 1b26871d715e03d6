"""Words for what reaches the camera."""

from __future__ import annotations

from typing import TYPE_CHECKING

from balancer.units import um_from_m
from balancer.wording.basics import finding_line, significant

if TYPE_CHECKING:
    from balancer.procedure.footage import AtFrequency, Change, Footage, Shake


def footage_lines(shown: Footage) -> list[str]:
    """Describe what reaches the camera."""
    lines = [
        f"mount: {shown.mount.frequency:.1f} Hz, damping ratio {significant(shown.mount.damping)}; it "
        f"isolates above {shown.mount.isolates_from:.0f} Hz",
        f"  1x at {_passed(shown.once)}",
    ]
    if shown.blade_pass is not None:
        lines.append(f"  blade pass at {_passed(shown.blade_pass)}")
    if shown.forces:
        forces = ", ".join(significant(force, 2) for force in shown.forces)
        lines.append(f"  force of each arm at 1x: {forces} N")
    if shown.craft is not None and shown.camera is not None:
        lines += [f"  craft: {_shake(shown.craft)}", f"  camera: {_shake(shown.camera)}"]
    lines += [f"  {_change('softer', shown.softer)}", f"  {_change('harder', shown.harder)}"]
    return [*lines, *(f"  {finding_line(finding)}" for finding in shown.findings)]


def _passed(at: AtFrequency) -> str:
    return f"{at.frequency:.1f} Hz: {significant(100 * at.transmissibility)} % gets through"


def _shake(shake: Shake) -> str:
    return (
        f"{significant(shake.typical)} m/s^2 typical (arms at slightly different speeds), "
        f"{significant(shake.worst)} at the worst of the beat; "
        f"{significant(2 * um_from_m(shake.displacement), 2)} and "
        f"{significant(2 * um_from_m(shake.worst_displacement), 2)} um peak to peak"
    )


def _change(word: str, change: Change) -> str:
    share = significant(100 * change.factor)
    return f"{word} dampers ({change.mount.frequency:.1f} Hz): {share} % of the present 1x"

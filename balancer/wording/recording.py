"""Words for serial ports and for a recording in the making."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from balancer.units import rpm_from_rad_s
from balancer.wording.basics import angle_text, significant, vector_text

if TYPE_CHECKING:  # what is measured and recorded need not be loaded for words about it
    from balancer.live.ports import Port
    from balancer.live.status import Status


_SILENT = 2.0  # s


def port_hint(port: Port, found: Sequence[Port]) -> str:
    """Say what a serial port may be, seen among all that there are."""
    on_usb = [one for one in found if one.usb]
    if not port.usb:
        return "not on USB: built into this computer"
    if len(on_usb) == 1:
        return "the only one on USB, so probably the board"
    return "on USB: pull the board's plug and see which one goes"


def port_lines(found: Sequence[Port]) -> list[str]:
    """List serial ports with their hints."""
    if not found:
        return ["No serial port is there: plug the board in, and try another cable (some carry power only)."]
    lines = []
    for port in found:
        about = ", ".join(part for part in (port.device, port.description, port.usb) if part)
        lines += [port.source, f"  {about}", f"  {port_hint(port, found)}"]
    return [*lines, "Record with: balancer record --source NAME --out FILE.stream"]


def recording_text(status: Status) -> str:
    """Say in one short line how a recording stands."""
    if status.error:
        return status.error
    if status.age > _SILENT:
        return f"nothing has come for {status.age:.0f} s: is the board running?"
    doing = "waiting for a steady speed" if status.state == "waiting" else f"{status.seconds:.1f} s"
    now = status.now
    if now is None:
        return f"{doing}, no speed yet (no marks, or not turning)"
    steadiness = "steady" if status.steady else f"not steady ({100 * now.spread:.1f} %)"
    text = f"{doing}, {rpm_from_rad_s(now.speed):.0f} rpm, {steadiness}, {now.revolutions} revolutions"
    strongest = max(now.recent, key=lambda vector: vector.amplitude, default=None)
    if strongest is not None:
        text += f", 1x {strongest.channel} {significant(strongest.amplitude)} at {angle_text(strongest.lag)}"
    return text


def recording_lines(status: Status) -> list[str]:
    """Say what a recording that has ended holds."""
    if not status.samples:
        return [f"{status.file}: nothing was recorded."]
    lines = [
        f"{status.file}: {status.seconds:.1f} s, {status.samples} samples, gaps: {status.totals.gaps}, "
        f"damaged records: {status.totals.damaged}."
    ]
    if status.now is None:
        return [*lines, "No speed was found: there are no marks, or too few."]
    lines.append(
        f"{rpm_from_rad_s(status.now.speed):.0f} rpm at the end, {status.now.revolutions} revolutions; "
        "1x over all of them:"
    )
    return lines + [f"  {vector.channel}: {vector_text(vector, vector.unit)}" for vector in status.now.whole]

"""Words for what a recording is taken for and what it shows."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.units import rpm_from_rad_s
from balancer.wording.basics import Direction, finding_line, significant, vector_text

if TYPE_CHECKING:  # what is measured and recorded need not be loaded for words about it
    from balancer.procedure.check import Checked
    from balancer.procedure.measure import Measurement
    from balancer.recording.model import Recording


def measurement_lines(measured: Measurement, direction: Direction = "against") -> list[str]:
    """Describe a measurement: speed, each channel, findings."""
    speed, slowest, fastest = (
        rpm_from_rad_s(s) for s in (measured.speed, measured.slowest, measured.fastest)
    )
    lines = [
        f"{measured.source or 'recording'}: {speed:.0f} rpm ({slowest:.0f} to {fastest:.0f}), "
        f"{measured.revolutions:.0f} revolutions, {measured.duration:.1f} s at {measured.sample_rate:.0f} Hz"
    ]
    for channel in measured.channels:
        if channel.once is not None:
            once = vector_text(channel.once, channel.unit, direction)
        else:
            sd = significant(channel.amplitude.sd, 2)
            once = f"{significant(channel.amplitude.value)} {channel.unit} (± {sd}), no phase without marks"
        lines.append(
            f"  {channel.name}: 1x {once}; overall {significant(channel.overall)} {channel.unit} rms"
        )
    return lines + [f"  {finding_line(finding)}" for finding in measured.findings]


_STAMPS = MappingProxyType(
    {
        "even": "even time stamps",
        "rounded": "rounded time stamps, a fitted uniform rate used",
        "sensor": "uneven time stamps, kept",
        "arrival": "time stamps of arrival, a fitted uniform rate used",
        "unclear": "uneven time stamps, kept in doubt",
        "counted": "no time stamps, samples counted",
    }
)


def understood_lines(recording: Recording) -> list[str]:
    """Say what a recording was taken for, before anything is computed from it: columns, units, rate, gaps."""
    seen = recording.understood
    lost = sum(max(gap.lost, 0) for gap in recording.gaps)
    marks = "no marks" if recording.marks is None else f"{recording.marks.size} marks"
    gaps = f"{len(recording.gaps)} gaps ({lost} samples missing)" if recording.gaps else "no gaps"
    rate = recording.sample_rate if seen is None else seen.rate
    lines = [
        f"{recording.source or 'recording'}: {'stream of a board' if seen is None else seen.form}",
        f"  {recording.times.size} samples, {recording.duration:.2f} s at {rate:.2f} Hz, {gaps}, {marks}",
    ]
    if seen is None:
        names = ", ".join(f"{channel.name} in {channel.unit}" for channel in recording.channels)
        return [*lines, f"  channels: {names}"]
    if seen.stamps != "counted":
        lines.append(f"  {_STAMPS[seen.stamps]}; jitter {significant(seen.jitter * 1e6, 2)} us")
    else:
        lines.append(f"  {_STAMPS[seen.stamps]}")
    return [*lines, *(f"  {title!r}: {taken}" for title, taken in seen.columns)]


def checked_lines(checked: Checked) -> list[str]:
    """Say what a check showed: the findings with their severity in front, or that there are none."""
    lines = []
    if checked.measurement is not None:
        measured = checked.measurement
        lines.append(
            f"  {rpm_from_rad_s(measured.speed):.0f} rpm, {measured.revolutions:.0f} revolutions; 1x "
            + ", ".join(
                f"{c.name} {significant(c.amplitude.value)} ± {significant(c.amplitude.sd, 2)}"
                for c in measured.channels
            )
            + f" {measured.channels[0].unit}"
        )
    lines += [f"  {finding_line(finding)}" for finding in checked.findings]
    serious = any(finding.severity != "info" for finding in checked.findings)
    return [
        *lines,
        "  Something here needs a look." if serious else "  Nothing speaks against this recording.",
    ]

"""Results as plain data for scripts: the JSON objects of `--json`, in the trade's units.

Keys keep their names and meaning from version to version; new ones may be added.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from balancer.core.vectors import UncertainComplex
from balancer.findings import Finding
from balancer.units import degrees_0_360, g_from_kg, gmm_from_kgm, mm_from_m, rpm_from_rad_s
from balancer.wording import finding_text, port_hint

if TYPE_CHECKING:  # what is measured and recorded need not be loaded for words about it
    from balancer.live.ports import Port
    from balancer.live.status import Status
    from balancer.procedure.check import Checked
    from balancer.procedure.measure import ChannelResult, Measurement
    from balancer.procedure.solve import Solution
    from balancer.recording.model import Recording


def measurements_json(measurements: Sequence[Measurement]) -> dict[str, Any]:
    """Put measurements into the object of ``balancer measure --json``.

    Parameters
    ----------
    measurements : sequence of Measurement
        One for each file.

    Returns
    -------
    dict
        ``{"recordings": [...]}``; without marks ``phase_deg`` and ``sd_phase_deg`` are None.
    """
    return {"recordings": [_measurement(measured) for measured in measurements]}


def ports_json(found: Sequence[Port]) -> dict[str, Any]:
    """Put serial ports into the object of ``balancer ports --json``.

    Parameters
    ----------
    found : sequence of Port
        The ports.

    Returns
    -------
    dict
        ``{"ports": [{"source", "device", "description", "usb", "serial_number", "hint"}]}``.
    """
    return {
        "ports": [
            {
                "source": port.source,
                "device": port.device,
                "description": port.description,
                "usb": port.usb or None,
                "serial_number": port.serial_number or None,
                "hint": port_hint(port, found),
            }
            for port in found
        ]
    }


def status_json(status: Status) -> dict[str, Any]:
    """Put the end of a recording into the object of ``balancer record --json``: that of the status file."""
    return status.to_json()


def checks_json(pairs: Sequence[tuple[Recording, Checked]]) -> dict[str, Any]:
    """Put checks into the object of ``balancer check --json``.

    Parameters
    ----------
    pairs : sequence of (Recording, Checked)
        Each recording with what its check showed.

    Returns
    -------
    dict
        ``{"recordings": [...]}``, each with ``file``, ``still``, ``understood``, ``noise_density`` (in
        (m/s^2)/sqrt(Hz), of a still record), ``measurement`` (as in `measurements_json`, or None) and
        ``findings``.
    """
    return {
        "recordings": [
            {
                "file": checked.source,
                "still": checked.still,
                "understood": understood_json(recording),
                "noise_density": list(checked.density),
                "measurement": None if checked.measurement is None else _measurement(checked.measurement),
                "findings": findings_json(checked.findings),
            }
            for recording, checked in pairs
        ]
    }


def understood_json(recording: Recording) -> dict[str, Any]:
    """Put what a recording was taken for into an object.

    Parameters
    ----------
    recording : Recording
        Any.

    Returns
    -------
    dict
        ``form``, ``columns``, ``stamps`` and ``jitter_us`` are None for the project's own streams.
    """
    seen = recording.understood
    return {
        "form": None if seen is None else seen.form,
        "columns": None if seen is None else [{"title": t, "taken_for": what} for t, what in seen.columns],
        "stamps": None if seen is None else seen.stamps,
        "sample_rate_hz": recording.sample_rate if seen is None else seen.rate,
        "jitter_us": None if seen is None else seen.jitter * 1e6,
        "samples": recording.times.size,
        "gaps": [
            {"start_s": gap.start, "end_s": gap.end, "lost": gap.lost, "reason": gap.reason}
            for gap in recording.gaps
        ],
        "marks": None if recording.marks is None else recording.marks.size,
    }


def _measurement(measured: Measurement) -> dict[str, Any]:
    return {
        "file": measured.source,
        "sample_rate_hz": measured.sample_rate,
        "duration_s": measured.duration,
        "revolutions": measured.revolutions,
        "speed_rpm": {
            "mean": rpm_from_rad_s(measured.speed),
            "min": rpm_from_rad_s(measured.slowest),
            "max": rpm_from_rad_s(measured.fastest),
        },
        "channels": [_channel(channel) for channel in measured.channels],
        "findings": findings_json(measured.findings),
    }


def _channel(channel: ChannelResult) -> dict[str, Any]:
    once = channel.once
    return {
        "name": channel.name,
        "unit": channel.unit,
        "amplitude": channel.amplitude.value,
        "phase_deg": degrees_0_360(once.lag) if once else None,
        "sd_amplitude": channel.amplitude.sd,
        "sd_phase_deg": math.degrees(once.sd_lag) if once else None,
        "overall_rms": channel.overall,
    }


def findings_json(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Put findings into a list of code, severity and sentence."""
    return [
        {"code": finding.code, "severity": finding.severity, "text": finding_text(finding)}
        for finding in findings
    ]


def solution_json(solution: Solution) -> dict[str, Any]:
    """Put a solution into the object of ``balancer solve --json``.

    Parameters
    ----------
    solution : Solution
        A solved job.

    Returns
    -------
    dict
        ``correction`` is for the rotor as in the first run with all listed masses off, ``next`` is what to
        add to what is fitted in the last run, ``residual`` is what is left in the last run. ``initial`` and
        ``influence`` speak of the first channel; influence per g mm. Without phase their angles are None.
    """
    answer, residual = solution.answer, solution.residual
    with_phase = answer.method == "influence"
    initial, influence = answer.initial[0], answer.influence[0]
    return {
        "method": answer.method,
        "initial": {
            "amplitude": initial.amplitude,
            "phase_deg": degrees_0_360(initial.lag) if with_phase else None,
        },
        "influence": {
            "amplitude": influence.amplitude * 1e-6,  # per kg m to per g mm
            "phase_deg": degrees_0_360(influence.lag) if with_phase else None,
        },
        "correction": correction_json(answer.correction, solution.radius),
        "next": correction_json(answer.next_correction, solution.radius),
        "alternatives": [correction_json(other, solution.radius) for other in answer.alternatives],
        "residual": {
            "unbalance_gmm": gmm_from_kgm(residual.unbalance),
            "sd_unbalance_gmm": gmm_from_kgm(residual.sd),
            "grade_mm_s": None if residual.grade is None else residual.grade * 1e3,
            "permissible_gmm": None if residual.permissible is None else gmm_from_kgm(residual.permissible),
        },
        "consistency": answer.consistency,
        "findings": findings_json(solution.findings),
    }


def correction_json(unbalance: UncertainComplex, radius: float) -> dict[str, float]:
    """Put an unbalance to add (kg m) into mass, radius and angle.

    Parameters
    ----------
    unbalance : UncertainComplex
        In kg m.
    radius : float
        In m.

    Returns
    -------
    dict
        In g mm, g, mm and degrees.
    """
    return {
        "unbalance_gmm": gmm_from_kgm(unbalance.amplitude),
        "mass_g": g_from_kg(unbalance.amplitude / radius),
        "radius_mm": mm_from_m(radius),
        "angle_deg": degrees_0_360(unbalance.lag),
        "sd_unbalance_gmm": gmm_from_kgm(unbalance.sd_amplitude),
        "sd_angle_deg": math.degrees(unbalance.sd_lag),
    }

"""Sweeps and footage as plain data for scripts, in the trade's units."""

from __future__ import annotations

from cmath import phase
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from balancer.contract.basics import findings_json
from balancer.units import degrees_0_360, mm_from_m, rpm_from_rad_s, um_from_m

if TYPE_CHECKING:
    from balancer.core.decay import Decay
    from balancer.core.resonance import Resonance
    from balancer.procedure.footage import AtFrequency, Change, Footage, Shake
    from balancer.procedure.run_up import Proposal, RunUp
    from balancer.procedure.track import Track


def run_ups_json(shown: Sequence[RunUp]) -> dict[str, Any]:
    """Put sweeps into the object of ``balancer runup --json``.

    Parameters
    ----------
    shown : sequence of RunUp
        One for each file.

    Returns
    -------
    dict
        ``{"sweeps": [{"file", "speed_rpm", "resonances", "keep_out_rpm", "proposed", "growth", "curve",
        "findings"}]}``.
    """
    return {"sweeps": [_run_up(one) for one in shown]}


def _run_up(shown: RunUp) -> dict[str, Any]:
    speeds = shown.track.speeds
    growth = shown.growth
    return {
        "file": shown.track.source,
        "speed_rpm": {
            "min": rpm_from_rad_s(float(speeds.min())),
            "max": rpm_from_rad_s(float(speeds.max())),
        },
        "resonances": [resonance_json(mode) for mode in shown.resonances],
        "keep_out_rpm": [[rpm_from_rad_s(low), rpm_from_rad_s(high)] for low, high in shown.avoid],
        "proposed": None if shown.proposed is None else _proposal(shown.proposed),
        "growth": None
        if growth is None
        else {
            "exponent": growth.exponent(),
            "sd_exponent": growth.sd_exponent(),
            "constant_percent": 100 * abs(growth.constant),
            "at_rpm": rpm_from_rad_s(growth.reference),
            "misfit": growth.misfit,
        },
        "curve": _curve(shown.track),
        "findings": findings_json(shown.findings),
    }


def resonance_json(mode: Resonance) -> dict[str, float]:
    """Put a resonance into an object."""
    return {
        "frequency_hz": mode.frequency,
        "rpm": 60 * mode.frequency,
        "sd_frequency_hz": mode.sd_frequency,
        "damping_ratio": mode.damping,
        "sd_damping_ratio": mode.sd_damping,
    }


def _proposal(proposed: Proposal) -> dict[str, Any]:
    return {
        "rpm": rpm_from_rad_s(proposed.speed),
        "nearest_resonance_hz": None if proposed.nearest is None else proposed.nearest.frequency,
        "distance_percent": _percent(proposed.distance),
        "signal_to_noise": proposed.signal_to_noise,
        "from_hover_percent": _percent(proposed.from_hover),
        "change_per_percent_of_speed": proposed.swing_percent,
    }


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _curve(track: Track) -> dict[str, Any]:
    return {
        "time_s": track.times.tolist(),
        "rpm": [rpm_from_rad_s(speed) for speed in track.speeds.tolist()],
        "unit": track.unit,
        "channels": [
            {
                "name": name,
                "amplitude": [abs(value) for value in row.tolist()],
                "phase_deg": [degrees_0_360(phase(value)) for value in row.tolist()],
                "sd": sd.tolist(),
            }
            for name, row, sd in zip(track.channels, track.once, track.sd, strict=True)
        ],
    }


def footage_json(shown: Footage, decay: Decay | None = None) -> dict[str, Any]:
    """Put what reaches the camera into the object of ``balancer footage --json``.

    Parameters
    ----------
    shown : Footage
        The estimate.
    decay : Decay, optional
        The tap test that the mount came from.

    Returns
    -------
    dict
        ``{"mount", "once", "blade_pass", "arm_forces_n", "craft", "camera", "softer", "harder", "best",
        "tap", "findings"}``.
    """
    return {
        "mount": {
            "frequency_hz": shown.mount.frequency,
            "damping_ratio": shown.mount.damping,
            "isolates_from_hz": shown.mount.isolates_from,
        },
        "speed_rpm": rpm_from_rad_s(shown.speed),
        "once": _at(shown.once),
        "blade_pass": None if shown.blade_pass is None else _at(shown.blade_pass),
        "arm_forces_n": list(shown.forces),
        "craft": None if shown.craft is None else _shake(shown.craft),
        "camera": None if shown.camera is None else _shake(shown.camera),
        "softer": _change(shown.softer),
        "harder": _change(shown.harder),
        "best": _change(shown.best),
        "tap": None
        if decay is None
        else {"taps": len(decay.taps), "modes": [resonance_json(mode) for mode in decay.modes]},
        "findings": findings_json(shown.findings),
    }


def _at(at: AtFrequency) -> dict[str, float]:
    return {"frequency_hz": at.frequency, "transmissibility": at.transmissibility}


def _shake(shake: Shake) -> dict[str, float]:
    return {
        "typical_m_s2": shake.typical,
        "worst_m_s2": shake.worst,
        "typical_um_pp": 2 * um_from_m(shake.displacement),
        "worst_um_pp": 2 * um_from_m(shake.worst_displacement),
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "frequency_hz": change.mount.frequency,
        "sag_mm": mm_from_m(change.mount.sag),
        "once": change.once,
        "blade_pass": change.blade_pass,
        "factor": change.factor,
    }

"""What goes to the live picture: a header in JSON and the curves behind it as 32-bit numbers.

A message is the length of its header in bytes (32 bits, little-endian), the header, padded with spaces so
that the numbers begin at a multiple of four, and the numbers. The header's ``arrays`` lists name, rows and
columns of each block of numbers in their order.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from balancer.units import degrees_0_360, rpm_from_rad_s

if TYPE_CHECKING:
    from balancer.app.bench import BenchView
    from balancer.live.scope import Cloud, Curve, Frame, Spectra

Floats = npt.NDArray[np.float64]


def now_message(view: BenchView, frame: Frame | None) -> bytes:
    """Write how the bench stands and what changes with every frame.

    Parameters
    ----------
    view : BenchView
        How it stands.
    frame : Frame or None
        What there is to see.
    """
    header: dict[str, Any] = {
        "kind": "now",
        "state": view.state,
        "trouble": view.trouble,
        "age": round(view.age, 2) if math.isfinite(view.age) else None,
        "steady": view.steady,
        "still": round(view.still_for, 1),
        "number": 0 if frame is None else frame.number,
    }
    if frame is None:
        return pack(header, {})
    header |= {
        "axes": list(frame.axes),
        "rpm": None if frame.speed is None else round(rpm_from_rad_s(frame.speed), 1),
        "rms": [_short(value) for value in frame.rms.tolist()],
    }
    arrays: dict[str, Floats] = {}
    if frame.now is not None:
        arrays["now"] = np.stack([frame.now.real, frame.now.imag])
    if frame.folded is not None:
        header["turns"] = frame.folded.turns
        arrays |= {"mean": frame.folded.mean, "scatter": frame.folded.scatter}
    for k, curve in enumerate(frame.trace):
        arrays[f"trace{k}"] = _rows(curve)
    return pack(header, arrays)


def slow_message(frame: Frame) -> bytes:
    """Write what changes a few times a second: the spectrum and the cloud."""
    header: dict[str, Any] = {"kind": "slow", "number": frame.slow_number, "axes": list(frame.axes)}
    arrays: dict[str, Floats] = {}
    if frame.spectra is not None:
        header["spectra"] = _spectra(frame.spectra)
        arrays |= {f"spectrum{k}": _rows(curve) for k, curve in enumerate(frame.spectra.curves)}
    if frame.cloud is not None:
        header["cloud"] = _cloud(frame.cloud)
        arrays |= {"real": frame.cloud.vectors.real, "imag": frame.cloud.vectors.imag}
        arrays |= {"ages": frame.cloud.ages[np.newaxis], "same": frame.cloud.same[np.newaxis].astype(float)}
    return pack(header, arrays)


def _spectra(spectra: Spectra) -> dict[str, Any]:
    highest = [[round(where, 2), _short(height)] for where, height in spectra.highest]
    return {"by": spectra.by, "highest": highest, "seconds": round(spectra.seconds, 1)}


def _cloud(cloud: Cloud) -> dict[str, Any]:
    return {
        "amplitude": [_short(value) for value in np.abs(cloud.mean).tolist()],
        "lag": [round(degrees_0_360(value), 1) for value in np.angle(cloud.mean).tolist()],
        "sd_amplitude": [_short(value) for value in cloud.sd_amplitude.tolist()],
        "sd_lag": [_short(math.degrees(value)) for value in cloud.sd_lag.tolist()],
        "count": int(cloud.same.sum()),
        "seconds": round(float(cloud.ages[cloud.same].max(initial=0.0)), 1),
    }


def pack(header: Mapping[str, Any], arrays: Mapping[str, Floats]) -> bytes:
    """Write a message; every array has two dimensions.

    Examples
    --------
    >>> message = pack({"kind": "now"}, {"a": np.array([[1.0, 2.0]])})
    >>> len(message) % 4, message[-8:] == np.array([1, 2], "<f4").tobytes()
    (0, True)
    """
    shapes = [[name, *array.shape] for name, array in arrays.items()]
    text = json.dumps({**header, "arrays": shapes}, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    numbers = (np.ascontiguousarray(array, "<f4").tobytes() for array in arrays.values())
    return b"".join((struct.pack("<I", len(text)), text, *numbers))


def _rows(curve: Curve) -> Floats:
    return np.stack([curve.along, curve.values])


def _short(value: float) -> float | None:
    """Round to four digits; None for what is no number."""
    return float(f"{value:.4g}") if math.isfinite(value) else None

"""The records as plain data, every key with its unit: the same for rows, for the archive and back.

A key that is renamed or added here changes what stores and archives hold already: it needs a migration, and
a form of archives (see `archive_forms`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, get_args

from balancer.errors import InputError
from balancer.history.records.event import Event, EventKind
from balancer.history.records.machine import Arm, Machine
from balancer.history.records.part import BellSizes, Location, PartRecord, PropellerSizes
from balancer.history.records.run import JobRecord, RecordingRef, RunRecord
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.procedure.codec import (
    COUNT,
    DEGREES,
    GRADE,
    GRAMS,
    MILLIMETRES,
    NUMBER,
    RPM,
    TEXT,
    Codec,
    Many,
    Maybe,
    Plain,
    Record,
)
from balancer.procedure.coefficients import SetUp, StoredCoefficient
from balancer.procedure.job import Job
from balancer.procedure.job_codecs import JOB_RUN, PIECE, PLACES
from balancer.procedure.job_file import job_from_data, job_to_data
from balancer.recording.hints import Hints
from balancer.recording.model import Channel


class _Instant:
    """A point in time as UTC text of fixed width, which sorts as time does."""

    def out(self, value: datetime) -> str:
        return instant(value)

    def take(self, data: Any, path: str) -> datetime:
        try:
            found = datetime.fromisoformat(data)
        except (TypeError, ValueError):
            found = None
        if found is None or found.tzinfo is None:
            raise InputError(
                f"{path} must be a time such as 2026-05-31T12:00:00.000000Z, not {data!r}", todo="correct it"
            )
        return found


def instant(value: datetime) -> str:
    """Write a point in time as UTC text of fixed width."""
    return value.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


@dataclass(frozen=True)
class _OwnJson:
    """A value that has `to_json` and `from_json` of its own."""

    kind: type[SetUp] | type[StoredCoefficient]

    def out(self, value: SetUp | StoredCoefficient) -> dict[str, Any]:
        return value.to_json()

    def take(self, data: Any, path: str) -> SetUp | StoredCoefficient:
        if not isinstance(data, dict):
            raise InputError(f"{path} must be an object with named values", todo="correct it")
        try:
            return self.kind.from_json(data)
        except InputError as error:
            raise InputError(f"{path}: {error.what}", todo=error.todo) from None


class _Frame:
    """A job without its runs, as in a job file."""

    def out(self, value: Job) -> dict[str, Any]:
        return job_to_data(value)

    def take(self, data: Any, path: str) -> Job:
        try:
            return job_from_data(data)
        except InputError as error:
            raise InputError(f"{path}: {error.what}", todo=error.todo) from None


HAND = Plain(str, ("ccw", "cw"))
INSTANT = _Instant()
_NAME = Maybe(TEXT)

_PROPELLER = Record(
    PropellerSizes,
    {
        "diameter": ("diameter_mm", MILLIMETRES),
        "blades": ("blades", COUNT),
        "hand": ("hand", HAND),
        "pitch": ("pitch_mm", Maybe(MILLIMETRES)),
        "material": ("material", TEXT),
    },
)
_BELL = Record(
    BellSizes,
    {
        "radius": ("radius_mm", Maybe(MILLIMETRES)),
        "motor": ("motor", TEXT),
        "magnets": ("magnets", Maybe(COUNT)),
    },
)


class _Sizes:
    """The sizes of a propeller or of a bell."""

    def out(self, value: PropellerSizes | BellSizes) -> dict[str, Any]:
        return (_PROPELLER if isinstance(value, PropellerSizes) else _BELL).out(value)

    def take(self, data: Any, path: str) -> PropellerSizes | BellSizes:
        propeller = isinstance(data, dict) and "diameter_mm" in data
        found: PropellerSizes | BellSizes = (_PROPELLER if propeller else _BELL).take(data, path)
        return found


_KEPT: dict[str, tuple[str, Codec]] = {
    "id": ("id", TEXT),
    "edited": ("edited_at", INSTANT),
    "removed": ("removed_at", Maybe(INSTANT)),
}
LOCATION = Record(
    Location,
    {
        "state": ("state", Plain(str, ("fitted", "spare", "retired"))),
        "machine": ("machine", _NAME),
        "arm": ("arm", Maybe(COUNT)),
        "turned": ("turned_deg", Maybe(DEGREES)),
    },
)

PART = Record(
    PartRecord,
    {
        **_KEPT,
        "label": ("label", TEXT),
        "kind": ("kind", Plain(str, ("propeller", "bell", "adapter"))),
        "mass": ("mass_g", Maybe(GRAMS)),
        "sizes": ("sizes", Maybe(_Sizes())),
        "words": ("words", TEXT),
        "photo": ("photo", TEXT),
        "where": ("now", LOCATION),
        "places": ("places", Maybe(PLACES)),
        "pieces": ("pieces", Many(PIECE)),
        "grade": ("grade_mm_s", GRADE),
    },
)
MACHINE = Record(
    Machine,
    {
        **_KEPT,
        "name": ("name", TEXT),
        "arms": ("arms", Many(Record(Arm, {"number": ("number", COUNT), "hand": ("hand", HAND)}))),
        "words": ("words", TEXT),
    },
)
EVENT = Record(
    Event,
    {
        **_KEPT,
        "part": ("part", TEXT),
        "kind": ("kind", Plain(str, get_args(EventKind))),
        "at": ("at", INSTANT),
        "words": ("words", TEXT),
        "job": ("job", _NAME),
        "where": ("now", Maybe(LOCATION)),
    },
)
STAND = Record(
    StandRecord,
    {
        **_KEPT,
        "name": ("name", TEXT),
        "place": ("place", TEXT),
        "moving_mass": ("moving_mass_g", Maybe(GRAMS)),
        "set_up": ("set_up", Maybe(_OwnJson(SetUp))),
        "photo": ("photo", TEXT),
        "words": ("words", TEXT),
    },
)
COEFFICIENT = Record(
    CoefficientRecord,
    {
        **_KEPT,
        "stand": ("stand", TEXT),
        "coefficient": ("coefficient", _OwnJson(StoredCoefficient)),
        "job": ("job", _NAME),
    },
)
JOB = Record(
    JobRecord,
    {
        **_KEPT,
        "part": ("part", TEXT),
        "started": ("started_at", INSTANT),
        "frame": ("frame", _Frame()),
        "stand": ("stand", _NAME),
    },
)
_HINTS = Record(
    Hints,
    {
        "time_unit": ("time_unit", _NAME),
        "unit": ("unit", _NAME),
        "rate": ("rate_hz", Maybe(NUMBER)),
        "stamps": ("stamps", Maybe(Plain(str, ("sensor", "arrival")))),
        "wav_scale": ("wav_full_scale_m_s2", Maybe(NUMBER)),
        "mark_channel": ("mark_channel", Maybe(COUNT)),
    },
)
_RECORDING = Record(
    RecordingRef,
    {
        "file": ("file", TEXT),
        "name": ("name", TEXT),
        "digest": ("digest", TEXT),
        "hints": ("hints", _HINTS),
        "marks": ("marks_file", TEXT),
        "marks_name": ("marks_name", TEXT),
        "near": ("near_rpm", Maybe(RPM)),
    },
)
RUN = Record(
    RunRecord,
    {
        **_KEPT,
        "part": ("part", TEXT),
        "at": ("at", INSTANT),
        "item": ("item", JOB_RUN),
        "channels": ("channels", Many(Record(Channel, {"name": ("name", TEXT), "unit": ("unit", TEXT)}))),
        "stand": ("stand", _NAME),
        "job": ("job", _NAME),
        "number": ("number", COUNT),
        "recording": ("recording", Maybe(_RECORDING)),
        "software": ("software", TEXT),
    },
)

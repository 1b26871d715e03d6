"""What a click changes in a job: each a function from the job as it is kept to the new one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from balancer.app.guided.keeping import Kept
from balancer.app.guided.trainer import SimulatedPart
from balancer.core.pieces import Piece, Placement
from balancer.core.runs import Reading
from balancer.errors import InputError
from balancer.procedure.check import check_still
from balancer.procedure.facts import off_speed
from balancer.procedure.job import Below, Job, SensorCheck
from balancer.procedure.job_runs import run_of_reading, with_recording
from balancer.procedure.next_step import purpose_now
from balancer.recording.files import read_bytes
from balancer.recording.model import Recording
from balancer.units import rpm_from_rad_s

_NAME = 60  # characters of a file's name that are kept


@dataclass(frozen=True, eq=False)
class Upload:
    """A recording as handed in.

    Parameters
    ----------
    name : str
        The file's name: shown, never used as a path.
    recording : Recording
        What it holds.
    """

    name: str
    recording: Recording = field(repr=False)

    @classmethod
    def of(cls, name: str, data: bytes) -> Upload:
        """Read one; an `InputError` that names the file if it cannot be read."""
        return cls.of_recording(name, read_bytes(data, name[:_NAME]))

    @classmethod
    def of_recording(cls, name: str, recording: Recording) -> Upload:
        """Make one of a recording that was read already."""
        return cls(name[:_NAME], recording)

    @property
    def words(self) -> str:
        """What was understood, as a sentence without a full stop."""
        recording = self.recording
        axes = ", ".join(channel.name for channel in recording.channels)
        marks = "no marks" if recording.marks is None else f"{recording.marks.size} marks"
        rate = f"{recording.sample_rate:.0f} samples a second"
        return f"{self.name}: {recording.duration:.1f} s of {axes}, {rate}, {marks}"


def acknowledged(kept: Kept) -> Job:
    """Note that the cautions were read."""
    return replace(kept.job, acknowledged=True)


def bell_said(kept: Kept, below: Below) -> Job:
    """Note what the person says about the bare bell below."""
    return replace(kept.job, below=below)


def check_skipped(kept: Kept) -> Job:
    """Go on without the check of the sensor."""
    return replace(kept.job, check=SensorCheck(skipped=True))


def checked(kept: Kept, upload: Upload | None = None) -> Job:
    """Check the sensor at rest: from a recording, or on the simulated bench."""
    recording = _simulated(kept).at_rest() if upload is None else upload.recording
    return replace(kept.job, check=SensorCheck(check_still(recording).findings))


def fitted_as_advised(kept: Kept, other: Placement | None = None) -> Job:
    """Note that the pieces are on as advised, or those of an alternative."""
    if kept.step.action != "fit":
        raise InputError("the next step is not to fit pieces", todo="look at the step that is shown now")
    return kept.job.with_fitted(kept.step.pieces if other is None else (*other.kept, *other.pieces))


def fitted_as_typed(kept: Kept, pieces: Sequence[Piece]) -> Job:
    """Note what is really on."""
    return kept.job.with_fitted(pieces)


def spun(kept: Kept) -> Job:
    """Spin on the simulated bench with what is on now, and add the run."""
    recording = _simulated(kept).spin(kept.job)
    name = f"simulated run {len(kept.job.runs) + 1}"
    return with_recording(kept.job, purpose_now(kept.job), recording, name)[0]


def recorded(kept: Kept, upload: Upload) -> Job:
    """Add the run of a recording."""
    return with_recording(kept.job, purpose_now(kept.job), upload.recording, upload.name)[0]


def captured(kept: Kept, upload: Upload) -> Job:
    """Add the run that was cut out of the stream of the bench, unless it turned at another speed.

    Raises
    ------
    InputError
        If the speed is off that of the job by more than runs of one job may be, or it cannot be measured.
    """
    job = recorded(kept, upload)
    wanted, made = kept.worked.facts.known_speed, job.runs[-1].run.speed
    if wanted is not None and made is not None and off_speed(made, wanted):
        raise InputError(
            f"the rotor turned at {rpm_from_rad_s(made):.0f} rpm, and the runs of this job are at "
            f"{rpm_from_rad_s(wanted):.0f} rpm",
            todo="bring it there and record again",
        )
    return job


def read_off(kept: Kept, reading: Reading) -> Job:
    """Add a reading that was typed in."""
    return kept.job.with_run(run_of_reading(kept.job, purpose_now(kept.job), reading, assumed=True))


def set_aside(kept: Kept, numbers: Sequence[int], reason: str) -> Job:
    """Let runs not count."""
    job = kept.job
    for number in numbers:
        job = job.set_aside(number, reason)
    return job


def taken_back(kept: Kept, number: int) -> Job:
    """Let a run count again."""
    return kept.job.taken_back(number)


def _simulated(kept: Kept) -> SimulatedPart:
    if kept.simulated is None:
        raise InputError("this part is not on the simulated bench", todo="add a recording or a reading")
    return kept.simulated

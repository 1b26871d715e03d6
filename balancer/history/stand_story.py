"""What was done on a stand: its coefficients put together, whether it drifted, the jobs made on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from balancer.core.vector_change import Change
from balancer.errors import InputError
from balancer.history.jobs import whole_job
from balancer.history.records.stand import CoefficientRecord, StandRecord
from balancer.history.stands import belonging, list_stands
from balancer.history.store import Store
from balancer.history.tables import COEFFICIENTS
from balancer.procedure.coefficients import StoredCoefficient, average
from balancer.procedure.drift import drift
from balancer.procedure.trial_judgement import Linearity, linearity
from balancer.procedure.trust import Trust, trust

_MOST_JOBS = 30


@dataclass(frozen=True)
class Listed:
    """A stand in the list.

    Parameters
    ----------
    stand : StandRecord
        The stand.
    coefficients : int
        How many influence coefficients were found on it.
    jobs : int
        How many jobs were made on it.
    last : datetime or None
        When the last of them was started.
    """

    stand: StandRecord
    coefficients: int
    jobs: int
    last: datetime | None


@dataclass(frozen=True)
class Group:
    """Influence coefficients that belong together: one set-up, one speed.

    Parameters
    ----------
    records : tuple of CoefficientRecord
        The latest first.
    together : StoredCoefficient
        Their mean with their scatter.
    trust : Trust
        How far it serves today.
    drift : Change or None
        The latest against those before it, by the strongest channel; None for a single one.
    channel : int
        The strongest channel.
    rotors : tuple of str
        For each record the part of the job that found it; empty where no job did.
    """

    records: tuple[CoefficientRecord, ...]
    together: StoredCoefficient
    trust: Trust
    drift: Change | None
    channel: int
    rotors: tuple[str, ...] = ()


@dataclass(frozen=True)
class StandJob:
    """A job that was made on a stand.

    Parameters
    ----------
    id : str
        Of the job.
    started : datetime
        When.
    part : str
        Label of the part.
    kind : str
        Of the part.
    runs : int
        How many.
    """

    id: str
    started: datetime
    part: str
    kind: str
    runs: int


def listed(store: Store) -> tuple[Listed, ...]:
    """List all stands with what was done on them."""
    with store.snapshot():
        return tuple(_listed(store, stand) for stand in list_stands(store))


def _listed(store: Store, stand: StandRecord) -> Listed:
    count = "SELECT COUNT(*) AS n FROM coefficients WHERE stand = ? AND removed_at IS NULL"
    jobs = "SELECT COUNT(*) AS n, MAX(started_at) AS last FROM jobs WHERE stand = ? AND removed_at IS NULL"
    found, made = store.row(count, (stand.id,)), store.row(jobs, (stand.id,))
    assert found is not None
    assert made is not None
    last = None if made["last"] is None else datetime.fromisoformat(made["last"])
    return Listed(stand, int(found["n"]), int(made["n"]), last)


def groups(store: Store, stand: str, today: date) -> tuple[Group, ...]:
    """Give the influence coefficients of a stand, those that belong together put together.

    Parameters
    ----------
    store : Store
        The history.
    stand : str
        Id of the stand.
    today : date
        For their age.

    Returns
    -------
    tuple of Group
        The one determined last first.
    """
    rows = store.rows(
        "SELECT jobs.id, parts.kind, parts.label FROM coefficients JOIN jobs ON jobs.id = coefficients.job "
        "JOIN parts ON parts.id = jobs.part WHERE coefficients.stand = ?",
        (stand,),
    )
    rotors = {row["id"]: f"{row['kind']} {row['label']}" for row in rows}
    return tuple(_group(records, rotors, today) for records in belonging(store, stand))


def _group(records: Sequence[CoefficientRecord], rotors: Mapping[str, str], today: date) -> Group:
    ordered = sorted(records, key=lambda one: (one.coefficient.when or date.min, one.edited), reverse=True)
    found = [one.coefficient for one in ordered]
    together = average(found)
    sizes = [h.amplitude for h in together.influence]
    channel = sizes.index(max(sizes))
    trusted = trust(together, together.set_up, together.speed, today, with_phase=together.has_phase)
    told = tuple(rotors.get(one.job or "", "") for one in ordered)
    return Group(tuple(ordered), together, trusted, drift(found, channel), channel, told)


def jobs_on(store: Store, stand: str) -> tuple[StandJob, ...]:
    """Give the last jobs that were made on a stand, the latest first."""
    rows = store.rows(
        "SELECT jobs.id, jobs.started_at, parts.label, parts.kind, "
        "(SELECT COUNT(*) FROM runs WHERE job = jobs.id AND removed_at IS NULL) AS runs "
        "FROM jobs JOIN parts ON parts.id = jobs.part "
        "WHERE jobs.stand = ? AND jobs.removed_at IS NULL ORDER BY jobs.started_at DESC, jobs.id LIMIT ?",
        (stand, _MOST_JOBS),
    )
    return tuple(
        StandJob(
            row["id"], datetime.fromisoformat(row["started_at"]), row["label"], row["kind"], int(row["runs"])
        )
        for row in rows
    )


def proportions(store: Store, stand: str) -> tuple[tuple[StandJob, Linearity], ...]:
    """Say of the last jobs on a stand whether the effect of masses grew in proportion to them.

    Parameters
    ----------
    store : Store
        The history.
    stand : str
        Id of the stand.

    Returns
    -------
    tuple of (StandJob, Linearity)
        Of the jobs whose runs tell it: with phase, the rotor as found and two sets of masses.
    """
    with store.snapshot():
        found = [(job, _proportion(store, job)) for job in jobs_on(store, stand) if job.runs > 2]
    return tuple((job, told) for job, told in found if told is not None)


def _proportion(store: Store, job: StandJob) -> Linearity | None:
    runs = [one.run for one in whole_job(store, job.id).runs if not one.set_aside]
    runs.sort(key=lambda run: bool(run.masses))  # the rotor as found comes first
    if not runs or runs[0].masses:
        return None
    try:
        return linearity(runs)
    except InputError:
        return None


def taken_out(store: Store, stand: str) -> tuple[CoefficientRecord, ...]:
    """Give the influence coefficients of a stand that count no more, the last one first."""
    rows = store.rows(
        "SELECT * FROM coefficients WHERE stand = ? AND removed_at IS NOT NULL ORDER BY removed_at DESC, id",
        (stand,),
    )
    return tuple(COEFFICIENTS.value(dict(row)) for row in rows)

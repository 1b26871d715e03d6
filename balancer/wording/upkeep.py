"""Words for the upkeep of the history: whether it is sound, backups, archives, removal, stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from balancer.units import rpm_from_rad_s
from balancer.wording.basics import counted, finding_line, significant
from balancer.wording.history import day
from balancer.wording.table import table_lines

if TYPE_CHECKING:  # what is done need not be loaded for words about it
    from balancer.history.archive import Exported, Imported
    from balancer.history.check import Health
    from balancer.history.merge import Conflict
    from balancer.history.recompute import Recomputed
    from balancer.history.records.stand import StandRecord
    from balancer.history.removal import Marked
    from balancer.history.store import BackedUp
    from balancer.procedure.coefficients import StoredCoefficient
    from balancer.procedure.trust import Trust

_TROUBLES: Mapping[str, str] = MappingProxyType(
    {
        "label": "the label is taken here, so the one that came is now {now}",
        "name": "the name is taken here, so the one that came is now {now}",
        "arm": "its arm is taken here, so it came as a spare",
        "number": "its number in the job is taken here, so it is now {now}",
        "measured": "it was measured otherwise here, and what is here stayed",
        "same-time": "it was edited otherwise here at the same moment, and what is here stayed",
    }
)


def health_lines(health: Health) -> list[str]:
    """Say whether a history is sound."""
    lines = [f"warning: the database says: {said}" for said in health.complaints]
    if health.dangling:
        lines.append(f"warning: {counted(health.dangling, 'record')} refer to records that are not there.")
    if health.missing:
        lines.append(f"warning: missing files: {len(health.missing)}, {_digests(health.missing)}.")
    if health.damaged:
        lines.append(f"warning: damaged files: {len(health.damaged)}, {_digests(health.damaged)}.")
    if health.extra:
        lines.append(f"note: files that nothing refers to, which do no harm: {len(health.extra)}.")
    if health.sound:
        return ["The history is sound: every record and every file is there and whole.", *lines]
    return ["The history is NOT sound; restore what is missing from a backup.", *lines]


def _digests(digests: Sequence[str]) -> str:
    return ", ".join(one[:12] for one in digests[:5]) + (" ..." if len(digests) > 5 else "")


def recomputed_lines(found: Sequence[Recomputed], labels: Mapping[str, str]) -> list[str]:
    """Say which stored recordings now come out otherwise, given the labels of the parts by id."""
    lines = []
    for one in (one for one in found if not one.same):
        name = f"{labels.get(one.run.part, 'a part')}, run of {day(one.run.at)}"
        name += f", number {one.run.number}" if one.run.number else ""
        if one.problem is not None:
            lines.append(f"{name}: {one.problem}")
        elif one.changed:
            most = max(one.changed, key=lambda changed: changed.share)
            lines.append(f"{name}: {most.channel} differs by {significant(100 * most.share, 2)} %.")
        else:
            lines.append(f"{name}: the file is read as another recording now.")
    differ = len(lines)
    total = counted(len(found), "stored recording")
    end = "all come out as they are kept" if not differ else f"{differ} come out otherwise"
    return [*lines, f"{total} measured again: {end}."]


def backed_up_lines(done: BackedUp) -> list[str]:
    """Say what a backup holds."""
    lines = [f"{done.folder}: the history with {counted(done.files, 'file')}; open it with --home."]
    if done.damaged:
        lines.append(f"warning: damaged already before: {_digests(done.damaged)}; see an older backup.")
    return lines


def exported_lines(done: Exported) -> list[str]:
    """Say what an archive holds."""
    lines = [f"{done.path}: {_counts(done.rows)}, {counted(done.files, 'file')}."]
    if done.missing:
        lines.append(f"warning: files that the history has lost: {_digests(done.missing)}.")
    return lines


def imported_lines(done: Imported) -> list[str]:
    """Say what an import came to."""
    lines = [
        f"{title}: {_counts(counts)}."
        for title, counts in (
            ("New", done.added),
            ("Brought up to date", done.updated),
            ("The same already", done.unchanged),
            ("Newer here, left as it is", done.older),
        )
        if any(count for _, count in counts)
    ]
    lines.append(f"{counted(done.files, 'new file')}.")
    lines += [_conflict(one) for one in done.conflicts]
    if done.missing:
        lines.append(f"warning: files that neither has: {_digests(done.missing)}.")
    if done.ignored:
        lines.append(f"note: {counted(len(done.ignored), 'name')} in the archive belong to no history.")
    return lines


def _conflict(one: Conflict) -> str:
    return f"warning: {one.what} {one.name}: {_TROUBLES[one.trouble].format(now=one.now)}."


def marked_lines(marked: Marked, *, gone: bool = False) -> list[str]:
    """Say what is marked as removed and would be deleted, or was."""
    if not marked.total:
        return ["Nothing is marked as removed that could be deleted."]
    said = "Deleted for good" if gone else "Marked as removed, to be deleted for good by purge"
    return [f"{said}: {_counts(marked.rows)}, {counted(len(marked.files), 'file')}."]


def names_lines(names: Sequence[tuple[str, str]]) -> list[str]:
    """List what can be restored by its name."""
    return [f"  {what} {name}" for what, name in names]


def stands_lines(
    stands: Sequence[tuple[StandRecord, Sequence[tuple[StoredCoefficient, Trust]]]],
) -> list[str]:
    """Show stands with their influence coefficients, and whether each is still to be trusted."""
    if not stands:
        return ["No stands in the history; `balancer history stands add` adds one."]
    lines = []
    for stand, stored in stands:
        mass = "" if stand.moving_mass is None else f", {significant(stand.moving_mass * 1e3)} g moving"
        place = f", sensor {stand.place}" if stand.place else ""
        lines.append(f"{stand.name}{mass}{place}")
        if not stored:
            lines.append("  no influence coefficients yet; a finished job brings one")
            continue
        rows = [_coefficient_row(one, trusted) for one, trusted in stored]
        head = ("day", "rpm", "turns", "moving", "jobs", "scatter", "one run leaves", "trust")
        lines += [f"  {line}" for line in table_lines(head, rows)]
        # the age shows in the table, and the last finding is the trust
        noticed = (f for _, trusted in stored for f in trusted.findings[:-1] if f.code != "coefficient_old")
        said = dict.fromkeys(finding_line(finding) for finding in noticed)
        lines += [f"  {line}" for line in said]
    return lines


def _coefficient_row(stored: StoredCoefficient, trusted: Trust) -> tuple[str, ...]:
    mass = stored.set_up.moving_mass
    return (
        "-" if stored.when is None else stored.when.isoformat(),
        f"{rpm_from_rad_s(stored.speed):.0f}",
        stored.set_up.hand or "-",
        "-" if mass is None else f"{1e3 * mass:.0f} g",
        str(stored.determinations),
        "-" if stored.scatter is None else f"{significant(100 * stored.scatter, 2)} %",
        f"{100 * trusted.expected_left:.0f} %",
        trust_word(trusted),
    )


def trust_word(trusted: Trust) -> str:
    """Say in a word or two what a coefficient still serves for."""
    if not trusted.usable:
        return "not any more"
    if any(finding.code == "coefficient_weak" for finding in trusted.findings):
        return "sizes a trial only"
    return "yes"


def _counts(counts: Iterable[tuple[str, int]]) -> str:
    told = [f"{count} {name if count != 1 else name.removesuffix('s')}" for name, count in counts if count]
    return ", ".join(told) or "nothing"

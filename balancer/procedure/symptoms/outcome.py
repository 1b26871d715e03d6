"""What one look at a recording found: for unbalance, against it, and not to be told."""

from __future__ import annotations

from dataclasses import dataclass

from balancer.findings import Finding


@dataclass(frozen=True)
class Outcome:
    """Findings sorted by what they say about "is it unbalance?".

    Parameters
    ----------
    good : tuple of Finding
        What speaks for unbalance.
    bad : tuple of Finding
        What speaks against it, or for something else beside it.
    untold : tuple of Finding
        What the data cannot tell.
    """

    good: tuple[Finding, ...] = ()
    bad: tuple[Finding, ...] = ()
    untold: tuple[Finding, ...] = ()

    def plus(self, other: Outcome) -> Outcome:
        """Put two looks together."""
        return Outcome(self.good + other.good, self.bad + other.bad, self.untold + other.untold)

    def has(self, *codes: str) -> bool:
        """Tell whether anything of these codes speaks against unbalance."""
        return any(finding.code in codes for finding in self.bad)

    def without(self, *codes: str) -> Outcome:
        """Leave out what speaks against unbalance under these codes: something else explains it."""
        return Outcome(self.good, tuple(f for f in self.bad if f.code not in codes), self.untold)

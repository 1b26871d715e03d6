"""What was noticed about a measurement, as data: a code, how serious it is, and the figures behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["info", "warning", "error"]
Figure = float | int | str


@dataclass(frozen=True)
class Finding:
    """One thing noticed; `wording.finding_text` makes a sentence of it.

    Parameters
    ----------
    code : str
        Stable name in lower case with underscores, such as ``marks_missed``.
    severity : {"info", "warning", "error"}
        info: nothing to do; warning: the answer is less sure; error: do not use the answer.
    figures : tuple of (str, float or int or str)
        The evidence, each figure by a name that carries its unit.
    """

    code: str
    severity: Severity
    figures: tuple[tuple[str, Figure], ...] = ()

    @classmethod
    def of(cls, code: str, severity: Severity, **figures: Figure) -> Finding:
        """Make a finding with its figures as keyword arguments.

        Parameters
        ----------
        code : str
            As in the class.
        severity : {"info", "warning", "error"}
            As in the class.
        **figures : float or int or str
            The evidence.

        Returns
        -------
        Finding
            The finding.
        """
        return cls(code, severity, tuple(figures.items()))

    def about(self, recording: str) -> Finding:
        """Give the same finding with the name of the recording that it speaks of."""
        return Finding(self.code, self.severity, (*self.figures, ("recording", recording)))

    def figure(self, name: str) -> Figure:
        """Return one figure by its name.

        Parameters
        ----------
        name : str
            The figure's name.

        Returns
        -------
        float or int or str
            Its value.

        Raises
        ------
        KeyError
            If the finding has no such figure.
        """
        return dict(self.figures)[name]

"""What stands behind the pages: the person's data, one store for all who look; knows no Streamlit."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from balancer.errors import OperationError
from balancer.history.store import DATABASE, Store, default_home

if TYPE_CHECKING:
    from balancer.app.bench import Bench

_benches: dict[Path, Bench] = {}
_making = Lock()


class MovedError(OperationError):
    """What a click was to change has gone on since: in another tab, or by a click before it."""

    def __init__(self, what: str = "this job") -> None:
        super().__init__(f"{what} had gone on already", todo="look at what is shown now")


def home_of(arguments: Sequence[str]) -> Path:
    """Give the folder of the person's data: what follows ``--home``, else where the system wants it."""
    if "--home" in arguments[:-1]:
        return Path(arguments[arguments.index("--home") + 1])
    return default_home()


class _Stores:
    """The histories that are open, one for each folder and all tabs."""

    def __init__(self) -> None:
        self._open: dict[Path, tuple[Store, tuple[int, int] | None]] = {}

    def __call__(self, home: Path) -> Store:
        """Give the history in a folder; it is made if there is none.

        One that was replaced meanwhile, as by a backup, is opened anew: what the old connection wrote would
        go into a file that is no longer there.

        Raises
        ------
        InputError, OperationError
            If it cannot be opened; the next call tries again.
        """
        found = self._open.get(home)
        if found is None or found[1] is None or found[1] != _which(home / DATABASE):
            opened = Store.open(home)
            found = self._open[home] = opened, _which(home / DATABASE)
        return found[0]

    def cache_clear(self) -> None:
        """Forget all; whoever uses one still may go on."""
        self._open.clear()


def _which(file: Path) -> tuple[int, int] | None:
    """Tell which file goes by a name now; None where there is none."""
    try:
        facts = file.stat()
    except OSError:
        return None
    return facts.st_dev, facts.st_ino


store = _Stores()


def bench(home: Path) -> Bench:
    """Give the bench that records into a folder: one for all tabs."""
    # late, so that the first page need not wait for what only a running bench needs
    from balancer.app.bench import Bench  # noqa: PLC0415

    with _making:
        if home not in _benches:
            _benches[home] = Bench(home)
        return _benches[home]


def close_benches() -> None:
    """End what is being recorded, because the server ends; what came is on the disk."""
    with _making:
        while _benches:
            _benches.popitem()[1].close()

"""Starts writers by forking, because importing all anew for each would take longer than the test.

Each line it reads holds a home, the name of the file in which a writer says what it has kept, and how many
runs it is to keep; the writer's process id comes back.
"""

import os
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from balancer.history.parts import add_part
from balancer.history.records.kept import new_id
from balancer.history.records.run import RecordingRef
from balancer.history.runs import add_run
from balancer.history.store import Store
from tests.history import makers


def write(home, said, count):
    """Keep runs with their recordings, and say so of each once it is kept."""
    with Store.open(home) as store, Path(said).open("a") as out:
        part = makers.part(f"P{new_id()[:8]}", id=new_id())
        add_part(store, part)
        for number in range(count):
            file = store.files.keep(f"{part.id} {number}\n".encode() * 500)
            run = makers.run(part, id=new_id(), recording=RecordingRef(file, f"{number}.stream", file))
            add_run(store, run)
            out.write(f"{run.id}\n")
            out.flush()


def main():
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # whoever started this kills them; none is waited for
    for line in iter(sys.stdin.readline, ""):
        home, said, count = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            write(home, said, int(count))
            os._exit(0)
        print(child, flush=True)


if __name__ == "__main__":
    main()

"""Starts recorders by forking, because importing all anew for each would take longer than the test.

Run as ``python forker.py FILE OUT...``: records the file, replayed at real speed, into each OUT in a process
of its own, and prints their process ids.
"""

import os
import signal
import sys

from balancer.live.recorder import Plan, Recorder
from balancer.live.replay import FileSource


def main():
    # whoever started this kills the children; none is left to wait for
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for out in sys.argv[2:]:
        child = os.fork()
        if child == 0:
            with FileSource(sys.argv[1]) as source:
                Recorder(source, out, Plan()).run()
            os._exit(0)
        print(child, flush=True)
    sys.stdin.readline()


if __name__ == "__main__":
    main()

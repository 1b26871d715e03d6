"""A board on a pseudo terminal, in a process of its own: sends a file at the pace of its own clock.

Run as ``python feeder.py FILE LINK BYTES_PER_SECOND SECONDS``: makes a terminal, links its name to LINK,
sends the file over and over, and at the end prints how many bytes were sent and how many found no room.
"""

import os
import select
import sys
import time
import tty


def feed(master, data, rate, seconds):
    """Send for so long; when nobody reads, bytes are dropped and counted, as a real line does."""
    begun, sent, dropped = time.monotonic(), 0, 0
    os.set_blocking(master, False)
    while (elapsed := time.monotonic() - begun) < seconds:
        due = min(int(elapsed * rate), sent + dropped + 2000) - sent - dropped
        if due > 0:
            start = (sent + dropped) % len(data)
            piece = data[start : start + due]
            try:
                done = os.write(master, piece)
            except BlockingIOError:
                done = 0
            sent, dropped = sent + done, dropped + len(piece) - done
        ready, _, _ = select.select([master], [], [], 0.004)
        if ready:
            os.read(master, 100)  # what the host asks later
    return sent, dropped


def main():
    path, link, rate, seconds = sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4])
    with open(path, "rb") as file:
        data = file.read()
    master, slave = os.openpty()
    tty.setraw(slave)
    os.symlink(os.ttyname(slave), link)
    os.read(master, 100)  # begin when the host asks for the hello, as a board begins when its port is opened
    sent, dropped = feed(master, data, rate, seconds)
    print(sent, dropped, flush=True)
    sys.stdin.readline()  # hang up when told


if __name__ == "__main__":
    main()

"""kill -9 in the middle of commits: what was acknowledged is there, and rows and files agree."""

import os
import random
import signal
import time

from balancer.history.check import check
from balancer.history.store import Store


def kill_often(writers, home, times, seed):
    """Kill a writer at a random moment and look at the store, again and again; gives the number of runs."""
    moments = random.Random(seed)
    said = home.parent / "said"
    total = 0
    for _ in range(times):
        writer = writers.start(home, said)
        writers.wait_for_more(said)
        time.sleep(moments.uniform(0, 0.03))
        os.kill(writer, signal.SIGKILL)
        writers.wait_for_end(writer)
        total = look_at(home, said, total)
    return total


def look_at(home, said, before):
    with Store.open(home) as store:
        health = check(store)
        kept = {row["id"] for row in store.rows("SELECT id FROM runs")}
    # the last line may be cut off by the kill: that run was not acknowledged
    acknowledged = {line for line in said.read_text().split("\n")[:-1] if len(line) == 36}
    assert health.sound, health
    assert acknowledged <= kept
    assert len(acknowledged) > before
    return len(acknowledged)


def test_twenty_kills(writers, home):
    assert kill_often(writers, home, 20, seed=5) >= 20

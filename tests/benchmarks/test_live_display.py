"""What the live picture costs the server: processor time for a second of stream, so the share of one core."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from balancer.app.bench import BenchView
from balancer.app.live.message import now_message, slow_message
from balancer.live.decoder import StreamDecoder
from balancer.live.running import RunningOrders
from balancer.live.scope import Scope
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller

RATE, SECONDS = 3200.0, 20
LOOKS, FRAMES = 22, 15  # in a second: how often the follower looks at the file, how often a picture is made


@pytest.fixture(scope="module")
def pieces(tmp_path_factory):
    """Some seconds of a stream of three axes, cut as the follower reads it."""
    bench = coastal_propeller(1)
    bench = replace(bench, sensor=replace(bench.sensor, rate=RATE, bandwidth=RATE / 2))
    file = tmp_path_factory.mktemp("stream") / "run.stream"
    write(bench.record(speed=COASTAL_SPEED, duration=float(SECONDS), seed=1), file)
    data = file.read_bytes()
    size = len(data) // (SECONDS * LOOKS) + 1
    return [data[start : start + size] for start in range(0, len(data), size)]


def shown(pieces):
    """Decode, keep the 1x vectors up to date and make pictures, as the server does; give their number."""
    decoder, running, scope, made = StreamDecoder(), RunningOrders(), Scope(), 0
    for number, piece in enumerate(pieces):
        for block in decoder.feed(piece):
            running.add(block)
            scope.add(block)
        if (number + 1) * FRAMES // LOOKS > number * FRAMES // LOOKS:
            frame = scope.frame()
            if frame is not None:
                made += bool(now_message(BenchView("running"), frame) and slow_message(frame))
    return made


@pytest.mark.benchmark(group="live")
def test_a_live_picture_takes_no_more_than_a_sixth_of_a_core(benchmark, pieces):
    made = benchmark.pedantic(shown, (pieces,), rounds=1)
    assert made > 0.9 * FRAMES * SECONDS
    if benchmark.disabled:
        pytest.skip("speed is measured with --benchmark-enable only")
    shares = []
    for _ in range(3):
        begun = time.process_time()
        shown(pieces)
        shares.append((time.process_time() - begun) / SECONDS)
    print(f"\nlive: {100 * min(shares):.1f} % of one core at {RATE:.0f} Hz and {FRAMES} pictures a second")
    assert min(shares) <= 0.15

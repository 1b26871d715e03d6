"""A table of a million rows: the reader against `pandas.read_csv` of the same bytes, a ratio in one run."""

import io
import time

import numpy as np
import pandas as pd
import pytest

from balancer.recording.files import read_bytes

ROWS, RATE = 1_000_000, 1600.0
MOST = 2.0


def table():
    rng = np.random.default_rng(1)
    columns = np.column_stack((np.arange(ROWS) / RATE, rng.normal(size=(ROWS, 3)), np.arange(ROWS) % 20 == 0))
    out = io.StringIO()
    out.write("time_s,x_g,y_g,z_g,mark\n")
    np.savetxt(out, columns, fmt="%.6f,%.5f,%.5f,%.5f,%d")
    return out.getvalue().encode()


def best_of(count, work):
    times = []
    for _ in range(count):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.benchmark(group="a million rows")
def test_a_million_rows(benchmark):
    if not benchmark.enabled:
        pytest.skip("a speed is measured with --benchmark-enable only")
    data = table()
    yardstick = best_of(3, lambda: pd.read_csv(io.BytesIO(data)))
    recording = benchmark.pedantic(read_bytes, (data, "a.csv"), rounds=5, warmup_rounds=1)
    assert recording.times.size == ROWS
    ratio = benchmark.stats.stats.min / yardstick
    benchmark.extra_info["ratio"] = ratio
    assert ratio < MOST

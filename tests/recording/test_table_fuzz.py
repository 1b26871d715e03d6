"""Damaged tables: a recording or a refusal, never a traceback, whatever is cut out or put in."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.recording.files import read_bytes
from balancer.recording.mark_file import read_mark_times
from tests.recording.test_dialects import CASES

FILES = [b"\n".join(case.make().split(b"\n")[:40]) for case in CASES]
PIECES = [
    b",",
    b";",
    b"\n",
    b'"',
    b"\t",
    b"nan",
    b"1e999",
    b"-",
    b"\0",
    b"#",
    b" ",
    b"9" * 20,
    b"2026-01-01",
    b"\xb2",
]


@settings(max_examples=600)
@given(
    st.sampled_from(FILES),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 30), st.sampled_from([b"", *PIECES])), max_size=6),
)
def test_damage_is_survived(data, damages):
    for place, cut, piece in damages:
        at = int(place * len(data))
        data = data[:at] + piece + data[at + cut :]
    for reader in (read_bytes, read_mark_times):
        try:
            made = reader(data, "a.csv")
        except InputError:
            continue
        assert np.all(np.diff(made.times) >= 0)

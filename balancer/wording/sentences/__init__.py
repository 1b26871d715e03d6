"""The sentence for each code of a finding, with places for its figures."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from balancer.wording.sentences import (
    change,
    footage,
    foreign,
    history,
    indexing,
    job,
    matching,
    measuring,
    placement,
    run_up,
    several_runs,
    signal,
    solving,
    stream,
    symptoms,
    trial,
)

_TOPICS = (
    change,
    footage,
    foreign,
    history,
    indexing,
    job,
    matching,
    measuring,
    placement,
    run_up,
    several_runs,
    signal,
    solving,
    stream,
    symptoms,
    trial,
)

SENTENCES: Mapping[str, str] = MappingProxyType(
    {code: sentence for topic in _TOPICS for code, sentence in topic.SENTENCES.items()}
)
"""What `wording.finding_text` fills in; every code that is made has one."""

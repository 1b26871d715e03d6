"""Sentences about what is not unbalance."""

SENTENCES: dict[str, str] = {}

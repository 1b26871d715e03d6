"""Sentences about pieces and where they go."""

SENTENCES: dict[str, str] = {}

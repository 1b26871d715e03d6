"""Sentences about the trial mass."""

SENTENCES: dict[str, str] = {}

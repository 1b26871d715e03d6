"""Sentences about a job and its steps."""

SENTENCES: dict[str, str] = {}

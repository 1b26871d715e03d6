"""Sentences about turning one part on the other."""

SENTENCES: dict[str, str] = {}

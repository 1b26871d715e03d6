"""Sentences about run-ups, resonances and free decays."""

SENTENCES: dict[str, str] = {}

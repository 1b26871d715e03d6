"""Sentences about several runs and stored influence coefficients."""

SENTENCES: dict[str, str] = {}

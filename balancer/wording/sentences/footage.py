"""Sentences about what reaches the camera."""

SENTENCES: dict[str, str] = {}

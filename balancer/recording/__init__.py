"""Recordings and the files they live in: one door (`files`), a module per format."""

"""The page of recordings: what a file holds and what it shows."""

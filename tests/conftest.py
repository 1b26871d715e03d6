"""Settings that hold for every test."""

from hypothesis import settings

# the same examples in every run, and no clock: the suite is deterministic on a busy machine, too
settings.register_profile("suite", derandomize=True, deadline=None, database=None)
settings.load_profile("suite")

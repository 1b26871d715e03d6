"""Pure functions and frozen value objects: numpy and scipy only, no files, no clock."""

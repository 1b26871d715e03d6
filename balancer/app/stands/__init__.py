"""Stands: their sensors, their influence coefficients, the check of the bench."""

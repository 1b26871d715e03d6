"""Matching: which propeller belongs on which motor of a machine, and turned how."""

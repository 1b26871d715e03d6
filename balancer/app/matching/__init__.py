"""Matching: which propeller belongs on which motor of a machine, and turned how.

service    the question, its answer from the history, and what "done so" keeps
words      sentences of the page
state      what the page remembers, and what its clicks do
ask, show  the question asked; the answer shown
"""

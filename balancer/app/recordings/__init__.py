"""The page of recordings: what a file holds and what it shows.

service         bytes and answers in, findings and thinned curves out
slow_readings   what takes seconds: a sweep, taps
stored          recordings of the history and of the bench
examples        recordings of an invented build
state           what was handed in, kept for this session
sources, ask    where recordings come from; what a file leaves open
show            findings, figures, charts
"""

"""Stands: their sensors, their influence coefficients, the check of the bench.

service        stands and coefficients as values, and changes of them
sensor_check   the sensor at rest
bench_check    whether the stand itself is fit: repeatability, resonance, proportion
captures       recordings from the bench that the checks take
items, work    what is checked; the checks themselves, done beside the page
words          sentences of the page
state          what the page remembers, and what its clicks do
show,          the parts of the page
check_show
"""

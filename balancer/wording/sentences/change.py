"""Sentences about what changed since last time, and what is due."""

SENTENCES = {
    "part_changed": (
        "It has changed since last time: by {change_gmm:.3g} g mm (± {sd_gmm:.2g}) at {angle_deg:.0f} deg; "
        "chance makes such a difference in {chance_percent:.2g} % of cases."
    ),
    "no_sign_of_change": (
        "There is no sign of a change: chance makes such a difference in {chance_percent:.0f} % of cases. A "
        "change of {detectable_gmm:.2g} g mm would have been seen nine times in ten."
    ),
    "change_cannot_be_told": (
        "It cannot be told whether it changed: only {detectable_gmm:.2g} g mm or more would have been seen "
        "nine times in ten (chance makes the difference found in {chance_percent:.0f} % of cases). Record "
        "longer, or mount it several times and take the mean."
    ),
    "readings_changed": (
        "The vibration has changed, most in channel {channel}, by {ratio:.1f} times its uncertainty; chance "
        "makes such a difference in {chance_percent:.2g} % of cases."
    ),
    "readings_unchanged": (
        "The vibration shows no sign of a change: chance makes such a difference in {chance_percent:.0f} % "
        "of cases."
    ),
    "trend_seen": (
        "It drifts: by {year_gmm:.2g} g mm a year (± {sd_gmm:.2g}) towards {angle_deg:.0f} deg; chance makes "
        "such a drift in {chance_percent:.2g} % of cases."
    ),
    "no_trend": (
        "No drift is seen over {years:.1f} years: a drift is known to ± {sd_gmm:.2g} g mm a year, and chance "
        "makes the one found in {chance_percent:.0f} % of cases."
    ),
    "raw_left_out": (
        "{count:.0f} left out, for want of an influence coefficient: {names}. Raw vibration of different "
        "stands cannot be compared."
    ),
    "several_stands": (
        "Measured on {count:.0f} stands; compared in g mm, each by its own stand's influence coefficient."
    ),
    "several_marks": (
        "The angles count from {count:.0f} different marks: sizes can be compared, directions cannot."
    ),
    "due_after_crash": "Due for a check: it crashed {days:.0f} days ago and was not checked since.",
    "due_after_repair": "Due for a check: it was repaired {days:.0f} days ago and not checked since.",
    "due_after_move": "Due for a check: it was moved {days:.0f} days ago and not checked since.",
    "due_never_checked": "Due for a check: it was never balanced or checked.",
    "due_by_time": "Due for a check by time: it fell due {days:.0f} days ago.",
    "event_in_future": (
        "{count:.0f} of its events are dated in the future and count for nothing: correct their dates."
    ),
}
"""What `wording.finding_text` fills in; every code that is made has one."""

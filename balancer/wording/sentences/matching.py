"""Sentences about which propeller belongs on which motor."""

SENTENCES = {
    "match_leave_as_is": (
        "Leave it as it is: the best arrangement of all would take {gain_percent:.0f} % away (at most "
        "{upper_percent:.0f} %), which is not worth it or no more than the measurements can tell."
    ),
    "match_would_gain": (
        "Another arrangement would take {gain_percent:.0f} % away, {lower_percent:.0f} % at the least."
    ),
    "match_gains": (
        "Takes {gain_percent:.0f} % away from what is fitted now, {lower_percent:.0f} % at the least."
    ),
    "match_gain_unsure": (
        "May take {gain_percent:.0f} % away from what is fitted now, but anything from {lower_percent:.0f} "
        "to {upper_percent:.0f} % is possible: the gain is no larger than its uncertainty. Measure the parts "
        "more closely before you unscrew anything for it."
    ),
}
"""What `wording.finding_text` fills in; every code that is made has one."""

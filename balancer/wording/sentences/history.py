"""Sentences about what the history can and cannot tell."""

SENTENCES = {
    "own_not_measured": (
        "Left out: {names}, for no job in the history tells its own unbalance; check it on the stand and "
        "keep the job."
    ),
    "own_disturbed": (
        "Left out: {names}, for it crashed or was repaired after it was last measured; check it on the stand."
    ),
    "own_bell_not_named": (
        "Left out: {names}, for its last job does not say on which bell it stood; keep the next one with "
        "--on BELL."
    ),
    "own_bell_not_measured": (
        "Left out: {names}, for the bell {text} below it had not been measured alone by then, so the share "
        "of the propeller is not known."
    ),
    "own_not_weighed": "Left out: {names}, for its mass is not known; weigh it.",
    "arm_without_bell": "Left out: {names}, for the history knows no bell on it.",
    "arm_left_out": "So {names} is left as it is.",
    "change_mounting_unknown": (
        "Only the noise of the runs counts in this: a part that was taken off and put back may differ a "
        "little by that alone."
    ),
}
"""What `wording.finding_text` fills in; every code that is made has one."""

"""Sentences about runs and what was solved from them."""

SENTENCES = {
    "speeds_differ": (
        "The runs differ in speed by {spread_percent:.1f} %: phase and amplitude are only "
        "comparable at one speed, so repeat the odd run."
    ),
    "speed_not_as_stated": "The speed was {off_percent:.0f} % off the one stated in the runs file.",
    "reading_uncertainty_assumed": (
        "The uncertainty of the typed readings was taken from their last digit, which is the "
        "least it can be: add sd_amplitude and sd_phase_deg if you know better."
    ),
    "trial_effect_unclear": (
        "The effect of the trial mass is known to {doubt_percent:.0f} % only: do not use this "
        "answer, repeat with a larger trial mass or longer runs."
    ),
    "trial_effect_small": (
        "The trial mass changed the vibration by {effect_percent:.0f} % of the as-is vector, "
        "less than 30 % or 30 degrees: a larger one gives a surer answer."
    ),
    "runs_disagree": (
        "The runs scatter {ratio:.1f} times more than their noise: look for a piece that came "
        "off, a loose stand, another speed; the uncertainty was widened accordingly."
    ),
    "channel_left_over": (
        "One unbalance cannot explain all channels: {share_percent:.0f} % of channel "
        "{channel} will stay. Part of this vibration is not unbalance."
    ),
    "two_candidates": (
        "{candidates:.0f} corrections fit these readings equally well: one more run, with the "
        "trial mass at another place or with one candidate fitted, decides."
    ),
    "amplitudes_disagree": (
        "The amplitudes fit together only to {mismatch_percent:.0f} %: repeat the runs at one "
        "speed, without moving the stand."
    ),
}

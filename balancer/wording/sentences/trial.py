"""Sentences about the trial mass."""

SENTENCES = {
    "as_is_past_limit": (
        "The vibration as found, {amplitude:.1f} m/s^2, is already past the limit of {limit:.1f}: fit no "
        "trial mass, choose a lower speed, or look for what else is wrong."
    ),
    "trial_below_noise": (
        "To stand clear of the noise the trial would have to be {needed_gmm:.3g} g mm, but the limit allows "
        "only {allowed_gmm:.3g}: record longer, choose another speed, or raise the limit if that is safe."
    ),
    "trial_held_back": (
        "The limit holds the trial to {share_percent:.0f} % of the size that was aimed at: it may turn out "
        "too small."
    ),
    "trial_two_candidates": (
        "Masses can go to two places only, so amplitudes alone will leave two candidates for the correction, "
        "mirror images of each other: one more run with one of them fitted decides."
    ),
    "trial_usable": (
        "The trial mass changed the vibration by {effect_percent:.0f} % of the as-is vector, {ratio:.0f} "
        "times its uncertainty: usable. Noise may leave about {residual_percent:.2g} % after the correction."
    ),
    "trial_too_small": (
        "The trial mass changed the vibration by {effect_percent:.0f} % of the as-is vector, {ratio:.1f} "
        "times its uncertainty: too little, noise may leave about {residual_percent:.0f} % after the "
        "correction. Take about {next_gmm:.3g} g mm instead."
    ),
    "trial_too_large": (
        "The trial mass changed the vibration by {effect_percent:.0f} % of the as-is vector: more than is "
        "needed or allowed. Take it off, and about {next_gmm:.3g} g mm instead."
    ),
    "effect_not_proportional": (
        "The effect does not grow with the mass: {large_gmm:.3g} g mm do {difference_percent:.0f} % more or "
        "less than in proportion to {small_gmm:.3g} g mm, {ratio:.1f} times the uncertainty. Look for a "
        "loose stand, a piece that moved, or a sensor at its limit."
    ),
}

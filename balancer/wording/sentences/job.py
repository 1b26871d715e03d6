"""Sentences about a job: why a step is the next one."""

SENTENCES: dict[str, str] = {
    "cautions_first": "Read the cautions and acknowledge them before anything turns.",
    "bell_first": (
        "Balance the bare bell first, then the propeller on it: otherwise the blades get tape for what "
        "the bell has, and it follows the propeller to the next motor."
    ),
    "sensor_unchecked": (
        "Record the sensor alone at rest for some seconds: it shows a loose cable, a wrong scale or mains"
        " hum before they cost a run."
    ),
    "sensor_check_failed": "The sensor at rest did not pass its check: mend that first, then check again.",
    "run_unusable": "Run {number:.0f} cannot be used: mend what is named below and make it again.",
    "run_without_phase": (
        "Run {number:.0f} has no phase, but the runs before have one: check the pick-up and the mark, and"
        " make it again."
    ),
    "run_with_phase": (
        "Run {number:.0f} has a phase, but the runs before have none: go on without the mark, or set the "
        "others aside and begin again with it."
    ),
    "run_off_speed": (
        "Run {number:.0f} was {off_percent:.1f} % off the speed of this job: make it again at that speed,"
        " since phase and amplitude change with it."
    ),
    "recordings_unusable": (
        "The last {count:.0f} runs could not be used: this bench does not measure yet. Mend what is named"
        " below."
    ),
    "not_unbalance": (
        "Every as-is run shows a sign of something else than unbalance, which no mass cures: look for "
        "what is named below, then begin again."
    ),
    "as_is_run": "Spin the rotor as found: everything else is measured against this run.",
    "as_is_again": "Spin it once more as found: two runs that agree show that the bench repeats.",
    "as_is_apart": (
        "The {count:.0f} as-is runs differ by {apart_percent:.0f} % of their amplitude. Look for a loose "
        "clamp, adapter or sensor, let the motor get warm, hold the speed, and spin once more as found."
    ),
    "as_is_never_agree": (
        "No two of {count:.0f} as-is runs agree, they differ by {apart_percent:.0f} %: something moves. "
        "No mass cures that: look at clamp, adapter, bearings, sensor and mark."
    ),
    "as_is_first": "Take the pieces off: the as-is runs are made with the rotor as found.",
    "nothing_to_see": (
        "1x does not stand out of the noise: there is no unbalance that this bench could see, so leave "
        "the part alone. A longer run or a softer stand would see less."
    ),
    "trial_run": "Spin with the trial piece on: its effect tells how the stand answers to a mass.",
    "check_run": "Spin with these pieces on and see what is left.",
    "trial_next": (
        "A trial piece of {unbalance_gmm:.3g} g mm shifts the vibration by about its own size. At this "
        "speed it pulls with {force_n:.2g} N, {weights:.0f} times its own weight: press it down firmly."
    ),
    "trial_next_of_several": (
        "Trial place {number:.0f} of {of:.0f}: without phase the piece is tried at several places. It "
        "makes {unbalance_gmm:.3g} g mm and pulls with {force_n:.2g} N, {weights:.0f} times its own "
        "weight: press it down firmly."
    ),
    "trial_larger": (
        "The trial changed the vibration by {effect_percent:.0f} % only: take a larger one of "
        "{unbalance_gmm:.3g} g mm."
    ),
    "no_effect": (
        "Even the largest trial that the limits allow changes the vibration by {effect_percent:.0f} % "
        "only: the stand does not answer to masses, or what shakes it is not unbalance."
    ),
    "cannot_be_solved": "These runs cannot be solved: {text}.",
    "nothing_needed": "The part is good as it came: take the trial piece off.",
    "angles_mirrored": (
        "The runs fit if the pieces were laid the other way round, first in run {run:.0f}. Angles count "
        "against the rotation, seen from the front: look which way the part turns, and lay the pieces "
        "anew."
    ),
    "correction_next": (
        "{left_gmm:.3g} g mm are left with what is on now; these pieces leave {then_gmm:.2g}."
    ),
    "trim_next": "{left_gmm:.3g} g mm are still left; with these pieces {then_gmm:.2g} g mm should be.",
    "pieces_too_coarse": (
        "{left_gmm:.3g} g mm are left, and no pieces at these places leave clearly less ({best_gmm:.2g})."
        " Permissible are {permissible_gmm:.2g} g mm: a finer tape, another place, or a milder grade."
    ),
    "not_converging": (
        "After {count:.0f} check runs {left_gmm:.3g} g mm are still left: the answers do not fit the "
        "pieces. Check the sense in which angles count, what is really on the rotor, and what moves."
    ),
}

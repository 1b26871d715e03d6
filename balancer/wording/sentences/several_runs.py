"""Sentences about several runs, stored influence coefficients and when to stop."""

SENTENCES: dict[str, str] = {
    "influence_changed": (
        "These runs show an influence coefficient of {size_percent:.0f} % of the stored one, turned by "
        "{turn_deg:.0f} degrees, more than chance explains. The stored one was left out: look whether "
        "stand, sensor or pick-up were moved, and whether the trial mass stayed on."
    ),
    "gain_changed": (
        "These runs show {size_percent:.0f} % of the effect of a mass that the stored coefficient tells. It"
        " was left out: look whether stand or sensor were moved, and whether the trial mass stayed on."
    ),
    "coefficient_unclear": (
        "The stored coefficient tells the effect of a mass to {doubt_percent:.0f} % only: do not use this "
        "answer, make a run with a trial mass."
    ),
    "run_outlying": (
        "Run {run:.0f} is {distance:.1f} standard deviations away from what the other runs expect: set it "
        "aside and repeat it, or look what was different."
    ),
    "outlier_unclear": (
        "The runs contradict each other (by {distance:.1f} standard deviations), and it cannot be told "
        "which of runs {names} is off: repeat one of them, or make one more run."
    ),
    "piece_off": (
        "From run {run:.0f} on the readings fit if the piece of {mass_g:.3g} g at {angle_deg:.0f} degrees "
        "({way} the rotation) is missing: unplug the battery, look whether it came off, and take it off "
        "the list or put it on anew."
    ),
    "one_of_pieces_off": (
        "From run {run:.0f} on the readings fit if one of {count:.0f} pieces is missing, most likely that "
        "of {mass_g:.3g} g at {angle_deg:.0f} degrees ({way} the rotation): unplug the battery, look "
        "which came off, and take it off the list or put it on anew."
    ),
    "influence_changed_on_the_way": (
        "From run {run:.0f} on the stand answers differently: {size_percent:.0f} % as strongly, turned by "
        "{turn_deg:.0f} degrees. Look whether stand, sensor or pick-up were moved; set the earlier runs "
        "aside and go on from run {run:.0f}."
    ),
    "run_off": (
        "Run {run:.0f} does not fit the others. Repeat it: if the new one agrees with them, set run "
        "{run:.0f} aside; if it agrees with run {run:.0f}, the stand, the sensor or a mass has changed "
        "since."
    ),
    "change_unclear": (
        "The runs contradict each other and do not tell why. Look at every piece, the stand and the sensor,"
        " then repeat run {run:.0f}."
    ),
    "residual_inside": (
        "Leave it alone: the residual is below {claim_gmm:.3g} g mm with 95 % certainty, inside the "
        "permissible {permissible_gmm:.3g} g mm."
    ),
    "residual_inside_unsure": (
        "The residual of {size_gmm:.3g} g mm is inside the permissible {permissible_gmm:.3g} g mm, with "
        "{certainty_percent:.0f} % certainty: it may be up to {claim_gmm:.3g} g mm. A longer run tells "
        "more."
    ),
    "residual_bench_limit": (
        "What is left cannot be told from nothing on this bench: it is below {claim_gmm:.3g} g mm, and "
        "{certainty_percent:.0f} % certain to be inside the permissible {permissible_gmm:.3g} g mm. A "
        "further correction would be a guess; longer runs or a better sensor tell more."
    ),
    "residual_not_seen": (
        "Leave it alone: what is left cannot be told from nothing on this bench. It is below "
        "{claim_gmm:.3g} g mm with 95 % certainty."
    ),
    "residual_above": (
        "The residual of {size_gmm:.3g} g mm (below {claim_gmm:.3g} with 95 % certainty) is above the "
        "permissible {permissible_gmm:.3g} g mm: correct again."
    ),
    "residual_seen": (
        "The residual of {size_gmm:.3g} g mm is more than the {limit_gmm:.2g} g mm that this bench can tell"
        " from nothing, so a further correction helps. Say mass and grade of the rotor to see whether it is"
        " needed."
    ),
    "coefficient_serves": (
        "The stored coefficient fits this job: one run and it will leave about {left_percent:.0f} % of the "
        "vibration, and the check run shows it."
    ),
    "coefficient_size_serves": (
        "The stored coefficient fits this job and holds without phase: it saves one place of the trial "
        "mass, known to {left_percent:.0f} %."
    ),
    "coefficient_weak": (
        "The stored coefficient fits this job, but one run and it would leave about {left_percent:.0f} % of"
        " the vibration: make a trial run as well."
    ),
    "coefficient_other_set_up": (
        "The stored coefficient is of another set-up ({names}) and was not used: make a trial run."
    ),
    "coefficient_contradicted": (
        "A run contradicts the stored coefficient, which was not used: the sensor's axes answer in another "
        "proportion than they did then. Does the rotor turn the way you said, and do sensor and clamp sit as "
        "they did? Make a trial run."
    ),
    "coefficient_without_phase": (
        "The stored coefficient was found without phase and cannot tell a direction: make a trial run."
    ),
    "coefficient_other_speed": (
        "The stored coefficient holds at {speed_rpm:.0f} rpm, {off_percent:.0f} % away ({band_percent:.0f} "
        "% is the most), and was not used: run at that speed, or make a trial run."
    ),
    "coefficient_unchecked": (
        "Not known of both set-ups, so not compared: {names}. If one of them is different now, do not use "
        "the stored coefficient."
    ),
    "coefficient_undated": ("The day of the stored coefficient is not known; it was taken for a year old."),
    "coefficient_old": (
        "The stored coefficient is {days:.0f} days old: rubber ages and screws settle, so it counts as less"
        " sure."
    ),
    "coefficient_other_mass": (
        "The moving mass differs by {off_percent:.0f} % from that of the stored coefficient, so it counts "
        "as that much less sure."
    ),
    "coefficient_other_range": (
        "The sensor's range differs from that of the stored coefficient: its scale may be off by some "
        "percent."
    ),
    "coefficient_scatters": (
        "The {count:.0f} jobs behind the stored coefficient differ by {scatter_percent:.0f} %: something on"
        " this stand is not the same each time. Look at clamps, feet, and how the sensor is fixed."
    ),
    "coefficient_speed_off": (
        "A good part of the doubt comes from the speed, {off_percent:.1f} % off that of the stored "
        "coefficient: run at its speed for a surer answer."
    ),
}

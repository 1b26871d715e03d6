"""Sentences about the signal itself: range, rate, noise, neighbouring lines."""

SENTENCES = {
    "clipped": (
        "Channel {channel} is cut off at {level_m_s2:.3g} m/s^2 in {count:.0f} samples ({percent:.2g} "
        "%): choose a larger range, or a lower speed."
    ),
    "values_held": (
        "{percent:.0f} % of the samples repeat the one before in every channel: the board reads "
        "faster than the sensor makes new values. Lower the rate, or open the sensor's filter."
    ),
    "scale_off": (
        "The mean of the three axes is {mean_m_s2:.3g} m/s^2, {ratio:.3g} times gravity: check the "
        "unit (0.102: g taken for m/s^2; 9.81: the other way round) and the range setting (factors of "
        "2)."
    ),
    "gravity_taken_out": (
        "The mean of the three axes is {mean_m_s2:.2g} m/s^2: gravity was taken out of this signal, "
        "so its scale cannot be checked against it. Raw acceleration is better, if the app offers it."
    ),
    "rate_too_low": (
        "{rate_hz:.0f} samples a second are few for {speed_rpm:.0f} rpm: use {wanted_hz:.0f} or more, "
        "or a lower speed."
    ),
    "alias_above_nyquist": (
        "{rate_hz:.0f} samples a second cannot show {speed_rpm:.0f} rpm, it appears as "
        "{apparent_rpm:.0f} rpm: use a higher rate or a lower speed."
    ),
    "alias_on_1x": (
        "At {rate_hz:.0f} samples a second order {names} of {speed_rpm:.0f} rpm appears at once per "
        "rev: change the speed by 3 %, and believe 1x only if it stays."
    ),
    "speed_alias": (
        "At {rate_hz:.0f} samples a second {speed_rpm:.0f} rpm looks like {others_rpm} rpm: say the "
        "expected speed (--rpm), and use a higher rate if it is one of the others."
    ),
    "noise_usual": (
        "The noise floor of channel {channel} is {density_ug:.0f} ug/sqrt(Hz), usual for its class "
        "({low_ug:.0f} to {high_ug:.0f} in data sheets)."
    ),
    "noise_high": (
        "The noise floor of channel {channel} is {density_ug:.0f} ug/sqrt(Hz), against {low_ug:.0f} to "
        "{high_ug:.0f} in data sheets of usual sensors: check supply, wiring, and that nothing shakes."
    ),
    "noise_low": (
        "The noise floor of channel {channel} is {density_ug:.2g} ug/sqrt(Hz), below the {low_ug:.0f} "
        "to {high_ug:.0f} of usual sensors: a filter, or a wrong scale, unless yours is a quiet one."
    ),
    "marks_too_few": (
        "Only {count:.0f} marks came in {duration_s:.1f} s: set the pick-up nearer, or clean the mark."
    ),
    "not_measured": "No 1x vector comes from this recording: {text}.",
    "too_few_revolutions": (
        "The 1x amplitude of channel {channel} is known to {have_percent:.2g} %, not to the "
        "{want_percent:.2g} % asked for: record about {needed:.0f} revolutions instead of "
        "{revolutions:.0f}."
    ),
    "mains_beside_1x": (
        "Channel {channel} has a line of {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz, a multiple "
        "of the mains, beside 1x at {once_hz:.1f} Hz ({share_percent:.0f} % of it): run on battery, "
        "lay the wires apart, or change the speed."
    ),
    "line_beside_1x": (
        "Channel {channel} has a line of {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz beside 1x at "
        "{once_hz:.1f} Hz ({share_percent:.0f} % of it) that does not turn with the shaft: look for "
        "another machine, or change the speed."
    ),
    "mains_at_rest": (
        "At rest channel {channel} shows {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz, a multiple "
        "of the mains: run on battery, and lay the wires apart."
    ),
    "line_at_rest": (
        "At rest channel {channel} shows {amplitude_m_s2:.2g} m/s^2 at {line_hz:.1f} Hz: look for what "
        "is running nearby."
    ),
}

"""Sentences about marks, speed and the fitted 1x."""

SENTENCES = {
    "marks_missed": ("Marks that did not come and were bridged: {count:.0f} (beside {of:.0f} that did)."),
    "marks_doubled": ("Double edges taken out of the marks: {count:.0f} (beside {of:.0f} good ones)."),
    "marks_not_countable": (
        "Turns could not be counted between the marks at {count:.0f} places; the samples there were left out."
    ),
    "marks_unreliable": (
        "{percent:.0f} % of the marks are missing or false: clean the mark, set the pick-up "
        "nearer and record again."
    ),
    "marks_jitter": (
        "The marks jitter by {jitter_deg:.1f} degrees: shade the pick-up from other light and fix it firmly."
    ),
    "zero_mark_unknown": (
        "The marks are so evenly spaced that none can be told from the others, so phases of "
        "different runs do not belong together: use one mark, or make one space wider."
    ),
    "mark_resolution_coarse": (
        "The mark is known to one sample step only, {step_deg:.0f} degrees at this speed: 1x reads "
        "about {low_percent:.1f} % low and phases scatter. Use a higher rate, or a mark stamped by "
        "its own edge."
    ),
    "speed_unsteady": (
        "The speed varied by {spread_percent:.0f} % during the run: hold the throttle still and record again."
    ),
    "few_revolutions": "Only {revolutions:.0f} revolutions: record longer for a surer answer.",
    "noise_near_1x": (
        "Channel {channel} is {ratio:.0f} times as unsure as its noise elsewhere would make "
        "it: something shakes at nearly the shaft speed, or the speed wanders near a "
        "resonance of the stand. A speed 3 % higher or lower may be quieter."
    ),
    "channel_flat": "Channel {channel} never changes: check the sensor.",
    "speed_from_spectrum": ("There are no marks: {speed_rpm:.0f} rpm is the strongest line of the spectrum."),
    "speed_from_multiple": (
        "1x does not stand out of the noise, as on a rotor that is balanced well; the speed, {speed_rpm:.0f} "
        "rpm, was found from the line at {order:.0f} times it, near the one said."
    ),
    "speed_ambiguous": (
        "Other lines are nearly as strong ({others_rpm} rpm): if {speed_rpm:.0f} rpm is not "
        "the speed, say the right one."
    ),
}

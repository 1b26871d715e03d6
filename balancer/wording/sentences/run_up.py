"""Sentences about run-ups, resonances and free decays."""

SENTENCES: dict[str, str] = {
    "resonance_outside": "A resonance seems to lie near {frequency_hz:.0f} Hz ({rpm:.0f} rpm), outside the "
    "speeds swept: too far to be measured. Sweep through it if it matters.",
    "resonance_uncertain": "There is something like a resonance near {frequency_hz:.1f} Hz ({rpm:.0f} rpm, "
    "± {sd_hz:.1g} Hz), but this sweep cannot tell its damping. Sweep past it on both sides, more slowly.",
    "no_resonance_in_range": "No resonance shows in 1x between {slowest_rpm:.0f} and {fastest_rpm:.0f} rpm.",
    "no_speed_away_from_resonance": "Every speed of this sweep is too near to a resonance to balance at. "
    "Make the stand softer or stiffer, or sweep farther.",
    "hover_not_swept": "The craft hovers at {hover_rpm:.0f} rpm, but the sweep goes from {slowest_rpm:.0f} "
    "to {fastest_rpm:.0f} rpm.",
    "hover_near_resonance": "At hover ({hover_rpm:.0f} rpm) the stand is too near to a resonance: keep out "
    "of {low_rpm:.0f} to {high_rpm:.0f} rpm, where a small change of speed turns the vector.",
    "sweep_quick": "Past {frequency_hz:.1f} Hz the speed changed by {rate_rpm_s:.0f} rpm a second; the curve "
    "itself is true only up to {allowed_rpm_s:.0f}, so its peak is late and too low. The fitted values allow "
    "for that.",
    "growth_as_unbalance": "1x grows as unbalance does: with the resonances taken out, force goes with speed "
    "to the power of {exponent:.2f} ± {sd_exponent:.2f} (unbalance: 2); a part that does not grow is at most "
    "a small share ({constant_percent:.0f} % at {rpm:.0f} rpm).",
    "growth_not_unbalance": "1x does not grow as unbalance alone does: force goes with speed to the power of "
    "{exponent:.2f} ± {sd_exponent:.2f} (unbalance: 2). A part of {constant_percent:.0f} % of the unbalance "
    "force at {rpm:.0f} rpm does not grow with speed. Magnet pull does so and vanishes without power: "
    "compare a coast-down. A resonance below the slowest speed can look like it.",
    "growth_not_told": "Whether 1x grows as unbalance does cannot be told from this sweep: that takes a "
    "resonance inside it and none below {slowest_rpm:.0f} rpm. Sweep from a lower speed.",
}

"""Sentences about what is not unbalance, each with what to look at."""

SENTENCES = {
    "nothing_against": (
        "Nothing in this recording speaks against unbalance: go on balancing, and let the check run "
        "confirm it."
    ),
    "once_dominates": (
        "1x carries {share_percent:.0f} % of the vibration's power ({own_percent:.0f} % in channel "
        "{channel}, where it is largest): unbalance is the first thing to look for."
    ),
    "once_minor": (
        "1x carries only {share_percent:.0f} % of the vibration's power; other multiples of the shaft "
        "speed carry {orders_percent:.0f} % (the strongest is {strongest_order:g}x), what does not turn "
        "with the shaft {rest_percent:.0f} %. Either the rotor is well balanced already, or something "
        "else shakes it: adding mass will not help much."
    ),
    "once_reduced": (
        "Balancing has taken 1x down to {left_percent:.0f} % of what it was, so it was unbalance; it now "
        "carries only {share_percent:.0f} % of the vibration's power, and more balancing will not help "
        "much. Everything else here is compared with what 1x was."
    ),
    "second_order": (
        "2x is {share_percent:.0f} % of 1x, and with {blades:.0f} blades it is not the blade pass. Look "
        "for a bent shaft, a worn or unround bearing and play on the shaft: with the battery unplugged "
        "turn the rotor by hand, feel for rough or stiff places and rock it gently."
    ),
    "second_order_unclear": (
        "2x is {share_percent:.0f} % of 1x. With two blades that is the blade pass, with others a sign of "
        "a bent shaft or of play: say how many blades there are (--blades)."
    ),
    "blade_pass_strong": (
        "The blade pass ({blades:.0f}x) is {ratio:.3g} times 1x: air, not mass (or 1x is small already). "
        "Look for what stands close behind or before the blades (arm, clamp, guard, wall), for blades "
        "that do not run in one track or differ in pitch, and for a damaged one. Balancing does not "
        "change it."
    ),
    "blade_pass_amplified": (
        "The blade pass ({blades:.0f}x) is {ratio:.3g} times 1x, but it changes so fast with speed that "
        "the stand makes it about {times:.0f} times as large as its force: whether the air's force is "
        "unusual shows at another speed only."
    ),
    "electric_orders": (
        "{order:.0f}x, a pole-pair or magnet order, is {share_percent:.0f} % of 1x: it is electrical or "
        "magnetic, not unbalance. Look for a loose or cracked magnet, a damaged winding, and the speed "
        "controller's timing and settings; at another throttle or with the power cut it should change."
    ),
    "harmonics_many": (
        "Many multiples of the shaft speed, whole or half, stand out ({count:.0f} of them, together "
        "{share_percent:.0f} % of 1x): something is loose or strikes once a turn. Check the propeller nut "
        "and adapter, the motor's screws and circlip, the clamp of the stand and the sensor's fixing "
        "before any balancing."
    ),
    "half_orders": (
        "Half multiples of the shaft speed stand out ({count:.0f} of them, together {share_percent:.0f} % "
        "of 1x): something repeats every second turn only, as loose parts and worn bearings do. Check "
        "what is screwed and what is pressed on."
    ),
    "axial_strong": (
        "Along the shaft (channel {channel}) 1x is {axial_percent:.0f} % of the strongest across it. "
        "Unbalance shakes across: look for a bent shaft, a propeller that does not sit flat on its "
        "adapter, and blade tips that do not run in one track. Which of them it is the data cannot tell."
    ),
    "blade_suspect": (
        "One blade seems to differ from the others: along the shaft (channel {channel}) 1x is "
        "{axial_percent:.0f} % of the strongest across it, and {names} beside the blade pass stand out "
        "({share_percent:.1f} % of 1x). Look for nicks, cracks, a bent or twisted tip, and for tips out "
        "of track; a damaged blade is replaced, not balanced. Part of its 1x is air and comes back at "
        "another speed or air density."
    ),
    "once_radial": (
        "Along the shaft (channel {channel}) 1x is only {axial_percent:.0f} % of the strongest across it, "
        "as with unbalance."
    ),
    "once_steady": (
        "1x stayed the same through the run (scatter {scatter_percent:.1f} %), as with unbalance."
    ),
    "once_unsteady": (
        "1x wanders by {scatter_percent:.0f} % during the run, against {noise_percent:.1f} % from noise, "
        "and neither speed nor a trend explains it: look for a loose propeller, adapter, magnet or stand, "
        "for something that rubs, and for gusts. Until it is steady no correction holds."
    ),
    "once_drifts": (
        "1x changed by {change_percent:.0f} % of its size in the course of the run: a bell that warms up, "
        "or an adapter that creeps. Let it cool and repeat: if it goes the same way again it is warmth, "
        "so always measure at the same temperature; if not, check how the propeller is held."
    ),
    "once_stepped": (
        "1x changed by {change_percent:.0f} % of its size at once, {at_s:.1f} s into the run: a piece of "
        "tape came off, the propeller slipped on its adapter, or the stand moved. Look for what is "
        "missing, tighten, and repeat the run."
    ),
    "near_resonance": (
        "At {speed_rpm:.0f} rpm 1x changes by {amplitude_percent:.0f} % and {phase_deg:.0f} degrees with "
        "each percent of speed (channel {channel}), far more than unbalance alone does: this is near a "
        "resonance of the stand, or little more than forces that nearly cancel. Choose another speed; a "
        "run-up shows which."
    ),
    "magnet_pull": (
        "When the current was cut at {speed_rpm:.0f} rpm, 1x jumped by {jump_percent:.0f} % of its size, "
        "which unbalance cannot: the magnets pull to one side. Look for a bell that is not centred (bent "
        "shaft, worn bearing), a loose or weak magnet and a damaged winding. If the throttle was only "
        "lowered, this does not hold."
    ),
    "pull_absent": (
        "When the speed began to fall at {speed_rpm:.0f} rpm, 1x went on without a jump "
        "({jump_percent:.0f} %): if the current was cut there, no pull of the magnets is in it."
    ),
    "magnet_pull_between": (
        "With current and without it 1x differs by {apart_percent:.0f} % at about the same speed, which "
        "unbalance does not: the magnets pull to one side. Look for a bell that is not centred (bent "
        "shaft, worn bearing), a loose or weak magnet and a damaged winding."
    ),
    "pull_absent_between": (
        "With current and without it 1x is the same but for {apart_percent:.0f} %: no pull of the magnets "
        "shows."
    ),
    "mountings_scatter": (
        "{runs:.0f} runs with the same masses differ by up to {apart_percent:.0f} %, more than their "
        "noise and the usual {limit_percent:.0f} %: how the propeller seats changes from run to run. Look "
        "at the adapter, the bore and the nut, always fit it at the same angle, and check the clamp of "
        "the stand and of the sensor."
    ),
    "mountings_agree": (
        "{runs:.0f} runs with the same masses agree (largest difference {apart_percent:.0f} %, up to "
        "{limit_percent:.0f} % or what noise explains is usual)."
    ),
    "resonance_between": (
        "Between {low_rpm:.0f} and {high_rpm:.0f} rpm 1x grows with a power of speed {power:.0f} away "
        "from the second that unbalance has: a resonance of the stand is near. Make a run-up and choose "
        "another speed."
    ),
    "strongest_line": (
        "The strongest line, at {speed_rpm:.0f} rpm, carries {share_percent:.0f} % of the vibration's "
        "power: if that is the shaft's speed, unbalance is the first thing to look for."
    ),
    "untold_once": (
        "1x does not stand out of the noise here, so nothing more can be said about it: there is no "
        "unbalance that this bench could see."
    ),
    "untold_change": (
        "1x is so small, or so noisy (it scatters by {noise_percent:.0f} %), that changes during the run "
        "do not show."
    ),
    "untold_marks": (
        "There are no marks, so nothing can be said about phase, multiples of the shaft speed or changes: "
        "record with the pick-up."
    ),
    "untold_short": (
        "The recording is too short for a change during the run to be told from noise, or holds too "
        "little to look at: record for 6 s or more at one speed."
    ),
    "untold_speed": (
        "The speed varied by {spread_percent:.0f} %, so what the speed does and what else changes cannot "
        "be told apart: hold the throttle, or cut it after some steady seconds."
    ),
    "untold_axial": (
        "Which channel lies along the shaft was not said, or none does: a bent shaft and blade track stay "
        "unseen. With one that does, name it (--axial z)."
    ),
    "untold_blade": (
        "A single blade that drags or lifts differently pulls once per rev and with the square of the "
        "speed, as unbalance does: one recording cannot tell the two apart. Compare the blades by eye, "
        "weight and track."
    ),
    "untold_blades": (
        "How many blades there are was not said, so the blade pass could not be judged: say it (--blades)."
    ),
    "untold_electric": (
        "Pole-pair and magnet orders could not be looked at: say the number of magnets (--magnets), and "
        "use a sample rate that shows them."
    ),
    "untold_resonance": (
        "The speed was too steady, or 1x too unsteady, to tell whether a resonance is near: a run-up "
        "shows it."
    ),
    "untold_pull": (
        "Whether the magnets pull to one side shows only when the current is cut: record some steady "
        "seconds, then cut the throttle and go on recording until the propeller stops."
    ),
    "untold_pull_unclear": (
        "The coast-down is too short or too noisy to tell whether the magnets pull to one side: repeat it."
    ),
    "untold_one_run": (
        "How well the part seats shows only in several runs with the same masses, taken off and fitted "
        "anew in between."
    ),
}

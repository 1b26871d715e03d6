"""Sentences about turning one part on the other."""

SENTENCES = {
    "seating_scatter_untold": (
        "With these runs the scatter of seating the part anew cannot be told, and the uncertainties leave it "
        "out: take the part off, seat it again at one of these positions, and run once more."
    ),
    "seating_scatter_large": (
        "Seating the part anew changes the unbalance by about {scatter_percent:.0f} % of what the parts have "
        "themselves. It belongs to neither part: cure the seat first (bore, adapter, hub face, tightening)."
    ),
    "part_not_seen": "Too small an unbalance to be told from 0 with these runs: {names}.",
    "positions_alike": (
        "The positions cannot be told apart with certainty: leave the part where it sits best for other "
        "reasons."
    ),
    "index_without_influence": (
        "Without an influence coefficient the parts come out as vibration, not as unbalance: name a runs "
        "file with a trial run, or type the coefficient in."
    ),
    "influence_uncertainty_assumed": (
        "The uncertainty of the influence coefficient was taken from its last digit, which is the least it "
        "can be: add sd_influence_amplitude and sd_influence_phase_deg if you know better."
    ),
    "influence_speed_differs": (
        "The influence coefficient was found at a speed {off_percent:.0f} % off that of these runs: sizes "
        "and angles may be wrong, so repeat its runs at this speed."
    ),
}

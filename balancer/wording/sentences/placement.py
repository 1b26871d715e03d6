"""Sentences about pieces and where they go."""

SENTENCES: dict[str, str] = {
    "placement_across": (
        "{across_gmm:.2g} g mm lie across all places where masses may go and will be left: allow the hub or "
        "the rim of the bell, or another place in that direction."
    ),
    "placement_no_room": (
        "There is no room for enough: {left_gmm:.2g} of {wanted_gmm:.2g} g mm will be left. Take wider or "
        "heavier tape, or allow longer strips, more layers or more pieces."
    ),
    "tape_too_heavy": (
        "The smallest piece makes {smallest_gmm:.2g} g mm where {wanted_gmm:.2g} g mm are needed, too coarse "
        "for such steps and for a hand: take narrower or lighter tape, or go to a smaller radius."
    ),
    "hands_coarse": (
        "A usual error of the hand (1 mm in cutting, 5 degrees on a ring) makes about {error_gmm:.2g} g mm, "
        "more than the {enough_gmm:.2g} g mm that may be left: cut and lay with care, or take lighter tape."
    ),
}

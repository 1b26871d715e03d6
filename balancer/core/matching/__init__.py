"""Which propeller on which motor, and turned how on the hub, so that the whole machine shakes least.

hub: what fits where, and the best turn of a pair; taping: with tape; pairs: all of them; assignment: who goes
where; front: with how few moves; gain: what it brings and how sure that is; arrangement: all of it together.
"""

from balancer.core.matching.arrangement import Match, Pairing, choose, match
from balancer.core.matching.assignment import Goal
from balancer.core.matching.gain import Gain
from balancer.core.matching.hub import Fitted, Hand, Hub, Motor, Propeller
from balancer.core.matching.pairs import Measure
from balancer.core.matching.taping import Taping

__all__ = [
    "Fitted",
    "Gain",
    "Goal",
    "Hand",
    "Hub",
    "Match",
    "Measure",
    "Motor",
    "Pairing",
    "Propeller",
    "Taping",
    "choose",
    "match",
]

"""The part in hand: a reader turns, cuts and deforms a solved part and asks it for values, in any page, without a
network.

>>> from fem.telling.hand import hand_html, hand_head, part_in_hand
>>> page = hand_head() + hand_html(part_in_hand(scene, findings))          # doctest: +SKIP
"""

from fem.telling.hand.gather import part_in_hand
from fem.telling.hand.kept import read_hand, surface_of, write_hand
from fem.telling.hand.nouns import Hand, Mark
from fem.telling.hand.page import hand_head, hand_html
from fem.telling.hand.surface_only import surface_in_hand

__all__ = [
    "Hand",
    "Mark",
    "hand_head",
    "hand_html",
    "part_in_hand",
    "read_hand",
    "surface_in_hand",
    "surface_of",
    "write_hand",
]

"""Where the beads of a cell are stressed most, and which mean stress of the cell they bear.

A place is a piece of bead, judged by its mean stress in the bead's own axes (`bead_mean`): bending within a bead's
section and the peaks of notches between beads are averaged, as they are in the coupons that its strengths come from.

A place uses up the share 1 / lam of its strength, lam being the factor at which the stress, grown from zero, first
meets a criterion that decides (fem/criteria).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fem.criteria.reserve import largest_utilisation, utilisations
from fem.criteria.strength import Strength
from fem.printing.infill.bead_mean import Places
from fem.printing.infill.mesh import Index
from fem.tensors import Array

MOST_POINTS = 120
"""At most so many critical points are kept."""
CLOSE = 0.01
"""A kept point stands for places whose utilisation is at most this much larger, where so few points can."""


def worst(found: Places, *, states: Array, strength: Strength) -> tuple[Array, Index]:
    """The largest utilisation (m,) over all places under mean stresses `states` (m, 6) [MPa], and the place (m,)."""
    return largest_utilisation(found.stress, states, strength)


def unit_states() -> Array:
    """Mean stresses (9, 6) of 1 MPa: three tensions, three compressions, three shears 23, 13, 12."""
    one = np.eye(6)
    return np.concatenate([one[:3], -one[:3], one[3:]])


def cell_strength(found: Places, *, strength: Strength) -> Array:
    """Mean stress (9,) [MPa] that the beads bear in each of the nine unit states; a shear fails in the worse of its
    ways.
    """
    states = unit_states()
    ways = np.concatenate([states, -states[6:]])
    used, _ = worst(found, states=ways, strength=strength)
    return 1 / np.concatenate([used[:6], np.maximum(used[6:9], used[9:])])


def critical(found: Places, *, strength: Strength, scale: Array) -> tuple[NDArray[np.intp], float]:
    """The few places (k,) that decide in every direction of mean stress, and by how much they may understate it.

    Directions are spread over the sphere of stresses divided by `scale` (6,) [MPa], axes and pairs of axes among
    them. The places are chosen so that in each direction one of them has nearly the minimum reserve of all: within 1
    % where `MOST_POINTS` suffice, else as near as so many can. The second number is the largest shortfall of their
    utilisation, relative, in directions that took no part in the choice.
    """
    chance = np.random.default_rng(20)
    one = np.eye(6)
    pairs = [a * one[i] + b * one[j] for i in range(6) for j in range(i) for a in (-1, 1) for b in (-1, 1)]
    fixed = np.concatenate([one, -one, np.array(pairs)]) * scale
    found, kept = _decisive(found, fixed, strength)
    directions = np.concatenate([fixed, chance.standard_normal((400, 6)) * scale])
    most, where = worst(found, states=directions, strength=strength)
    chosen = _cover(found, where, directions, most, strength)
    missed = 1.0
    for _ in range(4):
        more = chance.standard_normal((300, 6)) * scale
        most_there, where_there = worst(found, states=more, strength=strength)
        missed = 1 - float((_used(found, chosen, more, strength).max(axis=0) / most_there).min())
        if missed <= CLOSE:
            break
        directions, most = np.concatenate([directions, more]), np.concatenate([most, most_there])
        where = np.concatenate([where, where_there])
        chosen = _cover(found, where, directions, most, strength)
    return kept[chosen], missed


def _decisive(found: Places, states: Array, strength: Strength) -> tuple[Places, Index]:
    """The places that come near the worst in some of the states (m, 6), and their numbers (k,): the others never
    decide.
    """
    used = _used(found, np.arange(len(found.stress)), states, strength)
    kept = np.flatnonzero((used / used.max(axis=0)).max(axis=1) > 0.7)
    return Places(found.hexahedron[kept], found.bead[kept], found.at[kept], found.stress[kept]), kept


def _used(found: Places, chosen: Index, states: Array, strength: Strength) -> Array:
    """Utilisation (k, m) of the chosen places under mean stresses (m, 6)."""
    return utilisations(found.stress[chosen], states, strength)


def _cover(found: Places, where: Index, states: Array, most: Array, strength: Strength) -> Index:
    """The least set of places, found greedily, one of which is nearly the worst in every state; no larger than
    allowed.
    """
    able = np.unique(where)
    share = _used(found, able, states, strength) / most
    chosen: list[int] = []
    for nearly in (CLOSE / 2, CLOSE, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.13, 0.16, 0.2):
        within = share >= 1 - nearly
        left = np.ones(len(states), dtype=bool)
        chosen = []
        while left.any() and len(chosen) < MOST_POINTS:
            chosen.append(int(within[:, left].sum(axis=1).argmax()))
            left &= ~within[chosen[-1]]
        if not left.any():
            break
    return able[np.array(sorted(chosen), dtype=np.intp)]

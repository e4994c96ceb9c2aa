"""What a draft takes a body to stand on and to bear until its user says: guesses, and told as such."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.part.faces import FaceQuery
from fem.part.naming import round_directions
from fem.part.solid import Solid
from fem.study.drafting.offers import LARGE, Offer, whole_face
from fem.tensors import Array

FORCE = 100.0
"""The size [N] of every guessed load."""
UPRIGHT = 0.25
"""A part that ends in a flat below is taken to stand on it if this is no smaller a share of its largest flat."""
END = 0.15
"""Share of the height at either end of a part without flats that is held and loaded."""


@dataclass(frozen=True)
class Guess:
    """A body's guessed support, load and build direction: names of faces, `force` (3,) [N], `up` a direction. `added`
    are offers that the guess brings along, `cuts` the queries of patches where no whole faces serve.
    """

    held: str
    loaded: str
    force: tuple[float, float, float]
    up: tuple[float, float, float]
    added: tuple[Offer, ...] = ()
    cuts: tuple[tuple[str, FaceQuery], ...] = ()


def guess_of(solid: Solid, offers: Sequence[Offer], *, body: str | None) -> Guess:
    """It stands on its largest flat, or on its bottom if that is nearly as large; the farthest face is pushed."""
    flats = [offer for offer in offers if offer.normal is not None]
    if not flats:
        return _ends_of(solid, body)
    held = max(flats, key=lambda offer: offer.area)
    bottom = next((offer for offer in flats if offer.name == "bottom"), held)
    held = bottom if bottom.area >= UPRIGHT * held.area else held
    assert held.normal is not None
    loaded, added = _farthest(solid, offers, held)
    way = held.normal if loaded.normal is None else -loaded.normal
    return Guess(held.name, loaded.name, _force(way), round_directions(-held.normal)[0], added)


def _farthest(solid: Solid, offers: Sequence[Offer], held: Offer) -> tuple[Offer, tuple[Offer, ...]]:
    """The flat farthest from what is held, small ones aside; else a hole or boss, else the largest other face."""
    surface = sum(face.area for face in solid.faces)
    others = [offer for offer in offers if not set(offer.faces) & set(held.faces)]
    flats = [offer for offer in others if offer.normal is not None and offer.area >= LARGE * surface]
    candidates = flats or [offer for offer in others if offer.area >= LARGE * surface] or others
    if candidates:
        return max(candidates, key=lambda offer: float(np.linalg.norm(offer.centre - held.centre))), ()
    rest = [i for i in range(len(solid.faces)) if i not in held.faces]
    face = whole_face(solid, max(rest, key=lambda i: solid.faces[i].area), name="outside")
    return face, (face,)


def _ends_of(solid: Solid, body: str | None) -> Guess:
    """A part without flats: the lowest and the highest piece of its surface."""
    low, high = solid.box
    margin = 0.1 * solid.size
    down, up = low - margin, high + margin
    rise = float(high[2] - low[2])
    below, above = up.copy(), down.copy()
    below[2], above[2] = low[2] + END * rise, high[2] - END * rise

    def patch(cut: tuple[Array, Array]) -> FaceQuery:
        (a, b), (c, d) = (tuple(map(_three, pair)) for pair in ((down, up), cut))
        return FaceQuery(body=body, low=a, high=b, cut=(c, d))

    cuts = (("lower_end", patch((down, below))), ("upper_end", patch((above, up))))
    return Guess("lower_end", "upper_end", _force(np.array([0.0, 0, -1])), (0.0, 0.0, 1.0), cuts=cuts)


def _force(way: Array) -> tuple[float, float, float]:
    return _three(FORCE * way, digits=1)


def _three(v: Array, digits: int = 2) -> tuple[float, float, float]:
    x, y, z = (round(float(c), digits) + 0.0 for c in v)
    return x, y, z

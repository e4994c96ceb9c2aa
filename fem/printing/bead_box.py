"""The piece of bead over which stress is averaged before it is judged.

A stress at a point is no measure of what a bead bears: at a notch between two beads it rises without limit in the
model, and falls without limit when the model is refined otherwise, whereas a melt joint is rounded, and a coupon
never measures less than a whole bead. So strength belongs to the mean stress of a piece of the real bead: its whole
section, one layer high, by a length along it. That length is a property of the material; where none is known it is
one bead width (common practice: a length of the size of the structure, as in the average-stress criterion of J. M.
Whitney and R. J. Nuismer, J. Compos. Mater. 8 (1974) 253).

Infill cells and parts computed bead by bead use the same piece, so that their strengths can be compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.tensors import Array


@dataclass(frozen=True)
class BeadBox:
    """A piece of bead: `length` along it, `width` across it in the layer, `height` up the build [mm].

    Errors: InputError unless all three are positive and finite.
    """

    length: float
    width: float
    height: float

    def __post_init__(self) -> None:
        for name, value in (("length", self.length), ("width", self.width), ("height", self.height)):
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"{name} {value:g} mm of the piece of bead that is judged must be positive.")

    @property
    def reach(self) -> Array:
        """How far (3,) [mm] from its middle a place is looked for along, across and up.

        Across it is the whole width, not half of it: what is found there is still to be of the same bead, which then
        counts with its whole section wherever in it the middle lies.
        """
        return np.array([self.length / 2, self.width, self.height / 2])

    def holds(self, away: Any) -> NDArray[np.bool_]:
        """Whether places `away` (..., 3) [mm, bead axes] from the middle lie within reach, borders counted; (...)."""
        return np.asarray((np.abs(np.asarray(away, dtype=float)) <= self.reach * (1 + 1e-9)).all(axis=-1))


def bead_box(*, bead_width: float, bead_height: float, length: float | None = None) -> BeadBox:
    """The piece of a bead `bead_width` by `bead_height` [mm] that is judged: `length` [mm] long, by default as long
    as the bead is wide. Errors: InputError as for BeadBox.
    """
    return BeadBox(bead_width if length is None else length, bead_width, bead_height)
